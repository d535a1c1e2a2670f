"""Do the fins flutter? The speed at which each set does, along every drawn flight, against the margin that measured flutter demands."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.ensemble.request import whole
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.landing.strata import fly_failing
from sixdof.study.reading.result import is_ensemble, mission_of, need_result
from sixdof.study.structure.flutter_flights import Fins
from sixdof.study.structure.flutter_speed import REQUIRED_MACH, REQUIRED_MARGIN
from sixdof.study.structure.flutter_summary import by_branch, summary
from sixdof.study.sweep.sweep import fly_drawn
from sixdof.study.sweep.timelines import each_flight

RATE = 50.0  # Hz, of the timelines that are looked at: a peak of q between two rows is missed by some 0.3 %


def flutter(
    mission: Mission | xr.Dataset,
    flights: int = 40,
    *,
    seed: int = 0,
    required: float | Sequence[Sequence[float]] | None = None,
    failing: int = 3,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Return how far every set of fins stays from flutter over whole drawn flights, and what thickness or material would be enough.

    Fixed fins after NACA TN 4197 (Martin 1958) as printed, at the pressure and sound speed that the flight meets at each time. Control fins with a
    `hinge_stiffness` besides as panels that bend and turn about their hinge: divergence, flutter, and what free play (`hinge_play`) makes of it.

    Parameters
    ----------
    mission : Mission, or an ensemble as `sixdof.disperse` returns it, which is then flown again.
    flights : drawn flights 0, 1, ... of `seed`, failures and draws of the mission's own numbers included.
    required : margin V_f/V that is demanded: a number, or (Mach numbers, margins); None: `REQUIRED_MARGIN` over Mach, above measured flutter.
    failing : so many further flights with each `[[failure]]` made certain, which show what rare branches do; they count in `branch_reserve` alone.
    seed, threads, progress, guidance, control : as in `sixdof.disperse`.

    Returns
    -------
    Dataset
        Dims fins, flight. `flutter_margin`: least V_f/V of the flight, of the plate or about the hinge, whichever is less; `plate_margin`,
        `hinge_flutter_margin`, `hinge_divergence_margin` (NaN without a hinge stiffness, inf where there is none). `flutter_reserve`: the least of
        all three over the margin demanded at that Mach number (1: just enough), with `worst_kind` (plate, hinge, divergence), `worst_time` (s),
        `worst_mach`, `worst_height` (m), `worst_airspeed`, `worst_speed` (m/s; the flutter speed then). `shear_modulus` (Pa), `cycle_amplitude` (rad, of
        the limit cycle that free play allows; 0: none).
        By fins: `critical_pressure` (Pa), `reserve_spread`, `margin_spread` (share, fins), `short_share` and `flutter_share` (of flights, short of the
        margin demanded and beyond the flutter speed itself) with the scatter of a typical shear modulus (`modulus_scatter`), `thickness`,
        `thickness_needed` (m) and `shear_modulus_needed` (Pa) for a reserve of 1 in 95 % of flights, `hinge_frequency` (fins, motion; Hz), `control`.
        Over `time`: `airspeed_band`, `flutter_speed_band`, `margin_band` (share, fins, time). Of the flight with the least reserve, along `row`:
        `track_time`, `track_mach`, `track_height`, `track_airspeed`, `track_flutter_speed`, `track_required` (m/s; below it the airspeed should stay),
        and `fastest` (fins), its number. `required_margin` (mach). `branch_reserve` (branch, fins): the least reserve by what failed. Notes on what is not
        known in the attribute `notes`.

    Raises
    ------
    TypeError, ValueError
        For what is no mission or ensemble, numbers that make no sense, a vehicle without fins or of whose fins no shear modulus is known.
    MissionError, FlightError, LawError
        As `sixdof.disperse`.

    Examples
    --------
    >>> found = sixdof.workshop.flutter(mission, 2, progress=False)
    >>> bool((found.flutter_reserve > 1.0).all())
    True
    """
    how = {"threads": threads, "progress": progress, "guidance": guidance, "control": control}
    ensemble = ensemble_of(mission, flights, "flutter", seed=seed, **how)
    asked = demanded(required)
    studies = [Fins(one, asked) for one in (ensemble, *failing_of(ensemble, failing, "flutter", **how))]
    found = [each_flight(one.ensemble, one.of_flight, rate=RATE, **how) for one in studies]
    study, found = studies[0], [found[0], [flight for more in found[1:] for flight in more]]
    ds = summary(study, ensemble, found[0])
    rare = np.array([[one.reserve for one in flight] for flight in found[1]]).reshape(-1, ds.sizes["fins"])
    names = [str(name) for one in studies[1:] for name in one.ensemble["branch"].values]
    ds = ds.assign(by_branch([*ds["flight_branch"].values, *names], np.concatenate([ds["flutter_reserve"].values, rare]), "branch_reserve", "fins", "1"))
    at, margins = asked
    ds["required_margin"] = ("mach", margins, {"units": "1", "long_name": "flutter margin that is demanded"})
    ds = ds.assign_coords(mach=("mach", at, {"units": "1", "long_name": "Mach number"}))
    attrs = {"title": study.mission.title, "mission": ensemble.attrs["mission"], "seed": str(ensemble.attrs.get("seed", seed)), "flights": len(found[0])}
    if "hinge_moment_max" in ensemble:
        attrs["hinge_moment_max"] = float(np.nanmax(np.append(ensemble["hinge_moment_max"].values, 0.0)))
    return ds.assign_attrs(attrs, notes="\n".join(study.notes), own_margin=int(required is not None))


def ensemble_of(what, flights, who: str, **how) -> xr.Dataset:
    """Return the ensemble that a study is of: what is given, or flown of a mission."""
    if isinstance(what, xr.Dataset):
        need_result(what, who, "status")
        if not is_ensemble(what):
            raise ValueError(f"{who} takes a mission or many flights, and this is one flight; sixdof.disperse(mission, 40) flies some")
        return what
    check_mission(what, who)
    return fly_drawn(what, whole(flights, f"{who}: flights", 1), **how)


def failing_of(ensemble: xr.Dataset, failing: int, who: str, **how) -> list[xr.Dataset]:
    """Return an ensemble for each failure that may happen, made certain in so many flights."""
    if not whole(failing, f"{who}: failing", 0):
        return []
    first, seed = int(ensemble["flight"].max()) + 1, int(ensemble.attrs.get("seed", 0))
    return fly_failing(mission_of(ensemble, who), failing, first=first, seed=seed, **how)


def demanded(required) -> tuple[np.ndarray, np.ndarray]:
    """Return Mach numbers and the margins demanded at them. Raises ValueError for what is no margin."""
    if required is None:
        return np.array(REQUIRED_MACH), np.array(REQUIRED_MARGIN)
    try:
        mach, margin = ([0.0, 5.0], [required] * 2) if np.ndim(required) == 0 else required
        mach, margin = np.asarray(mach, dtype=float), np.asarray(margin, dtype=float)
        shapes = mach.ndim == 1 and mach.size > 0 and mach.shape == margin.shape
        sound = shapes and bool((np.diff(mach) > 0.0).all() and (margin >= 1.0).all() and np.isfinite(margin).all())
    except (TypeError, ValueError):
        sound = False
    if not sound:
        raise ValueError(f"flutter: required = {shown(required)} must be a margin of 1 or more, or rising Mach numbers and margins, ([0.0, 0.9], [1.3, 1.6])")
    return mach, margin


# ---------------------------------------------------------------- measures


def flutter_margin(ds: xr.Dataset) -> xr.DataArray:
    """Return the measure of an ensemble: least flutter speed over airspeed of every set of fins, (flight, fins)."""
    return flutter(ds, progress=False)["flutter_margin"]


def flutter_reserve(ds: xr.Dataset) -> xr.DataArray:
    """Return the measure of an ensemble: least margin over the margin demanded of every set of fins, (flight, fins)."""
    return flutter(ds, progress=False)["flutter_reserve"]


def hinge_divergence_margin(ds: xr.Dataset) -> xr.DataArray:
    """Return the measure of an ensemble: least divergence speed over airspeed of every set of hinged fins, (flight, fins)."""
    return flutter(ds, progress=False)["hinge_divergence_margin"]
