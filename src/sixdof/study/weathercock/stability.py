"""The static margin as flown: over time and Mach number of the flight, over incidence, at the events that matter, and how it spreads."""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.draws.numbers import check_numbers
from sixdof.flight.fly import fly
from sixdof.flight.model import build_model
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.results.status import FlightError
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.study.reading.result import QUANTILES, climb
from sixdof.study.weathercock.drawn import climb_events, without_paths
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import mass_at, mass_table

SLOWEST = 5.0  # m/s through the air: below it a static margin means nothing
TIMES, MACHS = 200, 60  # points of the bands
INCIDENCES = np.radians([0.25, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.5, 15.0, 20.0, 25.0])
ROLLS = np.linspace(0.0, 2.0 * math.pi, 24, endpoint=False)  # directions of the cross flow among which the least margin is looked for
STATES = ("loaded", "burnt")
FLOWN = ("unlit", "burning", "burnt out")
_MARGIN = {"units": "1", "long_name": "static margin, calibres"}
_SHARE = {"units": "1", "long_name": "static margin as a share of the length of what flies together"}


def stability(mission: Mission, flights: int = 40, *, seed: int = 0, mach=None, incidence=INCIDENCES, guidance=None, control=None) -> xr.Dataset:
    """Return the static margin as flown, over time, Mach number and incidence, with its spread over drawn flights.

    The margin is the kernel's own: distance from the centre of mass to the centre of pressure at small incidence, in the plane of
    incidence where it is least, downwash included, over the largest diameter of what flies together (calibres). `..._share` is the same
    distance over the length of what flies together.

    Parameters
    ----------
    flights : drawn flights 0, 1, ... of `seed`, as `sixdof.disperse` draws them; draws of the mission's own numbers (paths) are left as written.
    mach : at which the margin over incidence is asked; float or None: that at rail departure.
    incidence : (n,) rad, above 0 and below 90 deg.
    guidance, control : as in `sixdof.fly`.

    Returns
    -------
    Dataset
        Of the flight as written, along `time` from 5 m/s through the air to apogee: `margin`, `margin_share`, `mach_number`, `centre_of_mass` and
        `centre_of_pressure` (m aft of the nose tip). `margin_band`, `margin_share_band` (share, time): quantiles over the drawn flights, NaN where
        fewer than half are still climbing. `margin_over_mach` (configuration, motor, mach) and `band_over_mach` (share, ...): before ignition,
        with the last stage's motor burning, and burnt out.
        `margin_at`, `margin_share_at`, `time_at` (event) and `band_at`, `share_band_at` (share, event): at rail departure, burnout, separation,
        ignition. `margin_over_incidence` (configuration, state, incidence): -C_m/C_N about the centre of mass in the direction of cross flow where it
        is least, calibres, fins at neutral. `configuration` names what flies together, front stage first, then each aft stage alone; `calibres_long`
        (configuration), its length over its diameter, turns calibres into a share of the length. `flights_used`; attributes say how.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission, numbers of flights or a seed that make no sense, incidences beyond the range, and a flight that never climbs
        faster than 5 m/s through the air.
    MissionError, FlightError
        As `sixdof.fly`.

    Examples
    --------
    >>> found = sixdof.preflight.stability(mission, 4)
    >>> bool((found.margin_at > 1.0).all())
    True
    """
    check_mission(mission, "stability")
    check_numbers("stability", None, seed)
    if isinstance(flights, bool) or not isinstance(flights, int) or flights < 1:
        raise ValueError(f"stability: flights = {shown(flights)} must be a whole number from 1 on")
    angles = np.atleast_1d(np.asarray(incidence, dtype=float))
    if not (np.isfinite(angles).all() and (angles > 0.0).all() and (angles < 0.5 * math.pi).all()):
        raise ValueError("stability: incidence must lie above 0 and below 90 deg (pi/2 rad)")
    laws = {"guidance": guidance, "control": control}
    nominal = fly(mission, **laws)
    plain, left_out = without_paths(mission)
    drawn = [one for one in (_drawn_flight(plain, number, seed, laws) for number in range(flights)) if one is not None]
    mach = _exit_mach(nominal) if mach is None else float(mach)
    found = {**_over_time(mission, nominal, drawn), **_over_mach(mission, nominal, drawn), **_at_events(mission, nominal, drawn)}
    found |= _over_incidence(mission, angles, mach)
    attrs = {"title": mission.title, "seed": str(seed), "flights": flights, "incidence_mach": mach, "left_as_written": ", ".join(left_out)}
    ds = xr.Dataset(found, {"share": ("share", list(QUANTILES), {"long_name": "quantile"})}, attrs)
    ds["flights_used"] = ((), len(drawn), {"units": "1", "long_name": "drawn flights that the bands are of"})
    return ds.assign_attrs(mission=mission.to_toml())


def _drawn_flight(mission: Mission, number: int, seed: int, laws: dict) -> xr.Dataset | None:
    """Return the climb of a drawn flight, None of one that diverged."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # how it ends is no matter here
        try:
            return fly(mission, flight=number, seed=seed, **laws)
        except FlightError:
            return None


def _exit_mach(ds: xr.Dataset) -> float:
    """Return the Mach number at rail departure, to two digits, at least 0.05."""
    at = float(ds["event_mach"].isel(body=0).sel(event="rail_departure"))
    return max(round(at, 2), 0.05) if math.isfinite(at) else 0.3


def climbing(ds: xr.Dataset) -> xr.Dataset:
    """Return the part of a flight's timeline that climbs faster than 5 m/s through the air. Raises ValueError where there is none."""
    part = ds.sel(time=climb(ds))
    part = part.isel(time=((part["airspeed"] > SLOWEST) & (part["phase"] > 0) & (part["phase"] < 4)).values)
    if part.sizes["time"] < 2:
        raise ValueError("stability needs a climb faster than 5 m/s through the air, and this flight has none")
    return part


# ---------------------------------------------------------------- what flies together


def configurations(mission: Mission) -> dict[str, tuple[int, ...]]:
    """Return what may fly together by name, the whole vehicle first: the front stages, then each aft stage alone."""
    names = [stage.name or f"stage {k + 1}" for k, stage in enumerate(mission.stage)]
    together = [tuple(range(last + 1)) for last in range(len(names) - 1, -1, -1)]
    return {" + ".join(names[i] for i in one): one for one in [*together, *((k,) for k in range(1, len(names)))]}


def _last_stage(ds: xr.Dataset, times: np.ndarray) -> np.ndarray:
    """Return the number of the last stage that flies with the front one at each time (n,)."""
    joints = np.atleast_1d(ds["separation_time"].values) if "separation_time" in ds else np.zeros(0)
    return np.min([np.where(times >= t, k, len(joints)) for k, t in enumerate(joints)] or [np.zeros(len(times), dtype=int)], axis=0)


def _sizes(mission: Mission) -> np.ndarray:
    """Return largest diameter and length (m) of the front stages 0 .. last, (stages, 2)."""
    shapes = [shape_of(list(mission.stage[: last + 1])) for last in range(len(mission.stage))]
    return np.array([(shape.diameter, shape.length) for shape in shapes])


def _thickness(mission: Mission, ds: xr.Dataset, times: np.ndarray) -> np.ndarray:
    """Return the largest diameter over the length of what flies with the front stage at each time (n,): what makes a share of a margin in calibres."""
    diameter, length = _sizes(mission)[_last_stage(ds, times)].T
    return diameter / length


# ---------------------------------------------------------------- over time and Mach


def _over_time(mission: Mission, nominal: xr.Dataset, drawn: Sequence[xr.Dataset]) -> dict:
    part = climbing(nominal)
    slender = _thickness(mission, nominal, part["time"].values)
    margin = part["static_margin"].values
    grid = part["time"].values[np.unique(np.linspace(0, part.sizes["time"] - 1, TIMES).astype(int))]
    climbs = [climbing(one) for one in drawn]
    rows = np.array([np.interp(grid, one["time"], one["static_margin"], left=np.nan, right=np.nan) for one in climbs]).reshape(-1, len(grid))
    shares = rows * np.array([_thickness(mission, one, grid) for one in drawn]).reshape(-1, len(grid))
    at = np.searchsorted(part["time"].values, grid)
    whole = {
        "margin": (margin, _MARGIN),
        "margin_share": (margin * slender, _SHARE),
        "mach_number": (part["mach"].values, {"units": "1", "long_name": "Mach number"}),
        "centre_of_mass": (part["cg"].values, {"units": "m", "long_name": "station of the centre of mass, aft of the nose tip"}),
        "centre_of_pressure": (
            part["cg"].values + margin * _sizes(mission)[_last_stage(nominal, part["time"].values), 0],
            {"units": "m", "long_name": "station of the centre of pressure, aft of the nose tip"},
        ),
    }
    found = {name: ("time", values[at], attrs) for name, (values, attrs) in whole.items()}
    found["margin_band"] = (("share", "time"), _bands(rows), {**_MARGIN, "long_name": "static margin, quantiles over drawn flights, calibres"})
    found["margin_share_band"] = (("share", "time"), _bands(shares), {**_SHARE, "long_name": f"{_SHARE['long_name']}, quantiles over drawn flights"})
    return found | {"time": ("time", grid, {"units": "s", "long_name": "time since ignition"})}


def _bands(rows: np.ndarray) -> np.ndarray:
    """Return quantiles (shares, ...) of rows (flights, ...), NaN where fewer than half of the flights have a value."""
    if not len(rows):
        return np.full((len(QUANTILES), *rows.shape[1:]), np.nan)
    enough = np.isfinite(rows).mean(axis=0) >= 0.5
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # where no flight has a value
        return np.where(enough, np.nanquantile(rows, QUANTILES, axis=0), np.nan)


def _over_mach(mission: Mission, nominal: xr.Dataset, drawn: Sequence[xr.Dataset]) -> dict:
    top = max(float(climbing(one)["mach"].max()) for one in (nominal, *drawn))
    grid = np.linspace(0.0, top, MACHS)
    flown = [name for name, stages in configurations(mission).items() if stages[0] == 0]
    dims = ("configuration", "motor", "mach")
    rows = np.array([_by_mach(one, grid, len(flown)) for one in drawn]).reshape(-1, len(flown), len(FLOWN), MACHS)
    alone = [[[math.nan] * MACHS] * len(FLOWN)] * (len(configurations(mission)) - len(flown))  # aft stages: no track of a margin of their own
    one, bands = _by_mach(nominal, grid, len(flown)), _bands(rows)
    pad = np.array(alone).reshape(-1, len(FLOWN), MACHS)
    shapes = [shape_of([mission.stage[k] for k in stages]) for stages in configurations(mission).values()]
    calibres = [shape.length / shape.diameter for shape in shapes]
    return {
        "margin_over_mach": (dims, np.concatenate([one, pad]), _MARGIN),
        "band_over_mach": (("share", *dims), np.array([np.concatenate([band, pad]) for band in bands]), {**_MARGIN, "long_name": "static margin, calibres"}),
        "calibres_long": (
            "configuration",
            calibres,
            {"units": "1", "long_name": "length over largest diameter: a margin in calibres over it is its share of the length"},
        ),
        "configuration": ("configuration", list(configurations(mission)), {"long_name": "what flies together"}),
        "motor": ("motor", list(FLOWN), {"long_name": "motor"}),
        "mach": ("mach", grid, {"units": "1", "long_name": "Mach number"}),
    }


def _by_mach(ds: xr.Dataset, grid: np.ndarray, stages: int) -> np.ndarray:
    """Return a flight's margin over Mach (configurations, motor, n), the whole stack first, NaN where it did not fly so."""
    part = climbing(ds)
    last, burning = _last_stage(ds, part["time"].values), part["thrust"].values > 0.0
    lit = np.array([np.maximum.accumulate(burning & (last == k)) for k in range(stages)])
    mach, margin = part["mach"].values, part["static_margin"].values
    found = np.full((stages, len(FLOWN), len(grid)), np.nan)
    for k in range(stages):
        own = lit[stages - 1 - k]
        for j, when in enumerate((~own, burning, own & ~burning)):
            use = np.flatnonzero((last == stages - 1 - k) & when)
            if use.size > 1:
                order = use[np.argsort(mach[use], kind="stable")]
                found[k, j] = np.interp(grid, mach[order], margin[order], left=np.nan, right=np.nan)
    return found


# ---------------------------------------------------------------- at events, over incidence


def _at_events(mission: Mission, nominal: xr.Dataset, drawn: Sequence[xr.Dataset]) -> dict:
    names = climb_events(nominal)

    def column(ds: xr.Dataset, name: str) -> np.ndarray:
        return ds[f"event_{name}"].isel(body=0).sel(event=names).values

    time, margin = column(nominal, "time"), column(nominal, "static_margin")
    before = 1e-9  # s: as a joint separates the margin is still that of all ahead of it and behind
    rows = np.array([column(one, "static_margin") for one in drawn]).reshape(-1, len(names))
    shares = rows * np.array([_thickness(mission, one, column(one, "time") - before) for one in drawn]).reshape(-1, len(names))
    return {
        "time_at": ("event", time, {"units": "s", "long_name": "time since ignition"}),
        "margin_at": ("event", margin, _MARGIN),
        "margin_share_at": ("event", margin * _thickness(mission, nominal, time - before), _SHARE),
        "band_at": (("share", "event"), _bands(rows), {**_MARGIN, "long_name": "static margin, quantiles over drawn flights, calibres"}),
        "share_band_at": (("share", "event"), _bands(shares), {**_SHARE, "long_name": f"{_SHARE['long_name']}, quantiles over drawn flights"}),
        "event": ("event", names, {"long_name": "event"}),
    }


def _over_incidence(mission: Mission, angles: np.ndarray, mach: float) -> dict:
    found = np.array([margins_at_incidence(mission, stages, angles, mach) for stages in configurations(mission).values()])
    attrs = {**_MARGIN, "long_name": "static margin at finite incidence, -C_m/C_N about the centre of mass, calibres"}
    return {
        "margin_over_incidence": (("configuration", "state", "incidence"), found, attrs),
        "state": ("state", list(STATES), {"long_name": "propellant of the last stage"}),
        "incidence": ("incidence", angles, {"units": "rad", "long_name": "incidence"}),
    }


def margins_at_incidence(mission: Mission, stages: Sequence[int], incidence, mach: float) -> np.ndarray:
    """Return -C_m/C_N about the centre of mass, calibres, in the direction of cross flow where it is least, (2, n): loaded and burnt out.

    incidence : (n,) rad, above 0. The propellant is that of the last of the stages; those ahead are full.
    """
    model, mass = build_model(mission, stages=stages), mass_table(mission, stages)
    angle, roll = xr.DataArray(np.asarray(incidence, dtype=float), dims="incidence"), xr.DataArray(ROLLS, dims="roll")
    side, down = np.sin(roll), np.cos(roll)
    found = []
    for unburnt in (1.0, 0.0):
        cg = float(mass_at(mass, unburnt)[1][0])
        flow = wind_tunnel(mission, stages=stages, mach=mach, incidence=angle, roll=roll, cg=cg, model=model)
        moment = flow["C_m"] * down - flow["C_n"] * side  # about the axis across the plane of incidence, nose away from the flow positive
        force = flow["C_Z"] * down + flow["C_Y"] * side  # along the cross flow's own direction: negative, the air pushes back
        found.append((moment / force).min("roll").values)
    return np.array(found)
