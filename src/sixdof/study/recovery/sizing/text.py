"""The page about how large a canopy must be, in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import plural
from sixdof.study.recovery.deployment_text import CAUTIONS, all_of
from sixdof.study.recovery.sizing.canopy_size import need_sizes
from sixdof.study.recovery.sizing.flights import Limits

USUAL = (4.6, 6.1)  # m/s, 15 to 20 ft/s: common practice under a main
_WORTH = (
    "What flies is the kernel's: masses as drawn and as they hang, the air and the wind of each flight, the airframe and every other canopy that is out. The "
    "canopy's own mass and packed size stay as written: a larger one weighs more, so weigh it and run this again. A drag coefficient is on the disc of the "
    "diameter; makers' numbers on a projected or inflated area are not comparable, and typical ones are good to 10 %. Gusts, thermals and swings below the "
    "canopy at touch-down are left out unless the mission has them."
)


def sizing_text(ds: xr.Dataset) -> str:
    """Return the page about what `canopy_size` returned. Raises ValueError for anything else."""
    need_sizes(ds, "sizing_text")
    lines = [ds.attrs.get("title", "untitled"), "How large a canopy must be", *wrapped(_flown(ds)), ""]
    for name in ds["canopy"].values:
        one = ds.sel(canopy=name)
        lines += [f"{name} ({one['stage'].item()})", *indented(list(_answers(one, ds))), *table(list(_rows(one))), *indented([_COLUMNS]), ""]
    return "\n".join([*lines, "What this is worth", *indented([_WORTH, _practice(ds)]), "Cautions", *indented([CAUTIONS]), "", LAST_LINE])


_COLUMNS = "5, 50 and 95 % of the flights that land under it; shares of these flights"


def _flown(ds: xr.Dataset) -> str:
    said = ds.attrs
    more = f", {said['failing']} more with each failure made certain" if "failure" in ds.dims else ""
    return (
        f"{_wanted(said)}, in {_percent(said['share'])} of the flights; {plural(said['flights'])} with each of {ds.sizes['size']} diameters, on the same "
        f"draws, seed {said['seed']}{more}; {said.get('source', 'source unknown')}"
    )


def _wanted(said) -> str:
    far = f" and drift at most {said['drift']:.0f} m from apogee to the ground" if math.isfinite(said["drift"]) else ""
    light = f", land with at most {said['landing_energy']:.3g} J" if math.isfinite(said["landing_energy"]) else ""
    return f"asked for: down at most {said['descent_speed']:.3g} m/s{light}{far}"


def _limits(said) -> Limits:
    return Limits(said["descent_speed"], said["landing_energy"], said["drift"])


def _soft(said) -> str:
    """Return what a landing is to keep beside the drift: "6 m/s", "6 m/s and 75 J"."""
    light = f" and {said['landing_energy']:.3g} J" if math.isfinite(said["landing_energy"]) else ""
    return f"{said['descent_speed']:.3g} m/s{light}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.3g} %"


def _cm(metres: float) -> str:
    return f"{100.0 * metres:.1f} cm"


def _at_least(metres: float) -> str:
    """Return a diameter rounded up: what is told to be taken must be enough."""
    return f"{math.ceil(1e3 * metres - 1e-6) / 10.0:.1f} cm"


# ---------------------------------------------------------------- one canopy


def _answers(one: xr.Dataset, ds: xr.Dataset) -> Iterator[str]:
    """Yield the sentences about one canopy, the answer first."""
    name, said = str(one["canopy"].values), one.attrs
    need, largest, taken = (float(one[f"{what}_diameter"]) for what in ("needed", "largest", "taken"))
    written = float(one["written_diameter"])
    if not math.isfinite(need):
        top = float(one["diameter"][-1])
        yield (
            f"No diameter that was flown is enough: with {_cm(top)} {_percent(float(one['speed_share'][-1]))} of the flights keep "
            f"{_soft(said)}; fly larger ones (sizes)."
        )
        return
    both = math.isfinite(said["drift"])
    if not both or float(one["best_share"]) >= said["share"] - 1e-9:
        area = 0.25 * math.pi * taken**2
        yield f"Take {_at_least(taken)} ({area:.3f} m^2), or more{_upto(largest) if both else ''}; as written it is {_cm(written)}: {_as_written(one)}."
    else:
        yield _apart(one, need, largest)
    yield from _notes(one, need, taken)
    yield from _failures(one)
    yield from _cures(ds, name)


def _upto(largest: float) -> str:
    return f", up to {_cm(largest)} for the drift" if math.isfinite(largest) else "; no size flown drifts too far"


def _as_written(one: xr.Dataset) -> str:
    said, opened = one.attrs, one["written_opened"].values > 0
    slow = _limits(said).soft({name: one[f"written_{name}"].values[opened] for name in ("descent_speed", "landing_energy")})
    text = f"{int(slow.sum())} of {plural(int(opened.sum()))} that land under it come down softly enough"
    if not math.isfinite(said["drift"]):
        return text
    near = one["written_drift"].values[opened] <= said["drift"]
    return f"{text}, {int(near.sum())} near enough"


def _apart(one: xr.Dataset, need: float, largest: float) -> str:
    """Return that speed and drift cannot be kept together, and by how much they are apart."""
    said = one.attrs
    if need <= largest:
        why = f"each by itself could be, from {_cm(need)} to {_cm(largest)}, but not in the same flights (windy ones drift and land hard)"
    else:
        allowed = "no diameter flown keeps the drift" if largest <= 0.0 else f"the drift allows {_cm(largest)} at most"
        why = f"{_soft(said)} needs {_cm(need)} at least, and {allowed}"
    return (
        f"Both cannot be kept together: {why}; the best diameter keeps both in {_percent(float(one['best_share']))} of the flights. The soft landing comes "
        f"first, so that {_at_least(need)} is taken here, and the drift has to be cured otherwise."
    )


def _span(values: xr.DataArray, decimals: int = 1) -> str:
    known = values.values[np.isfinite(values.values)]
    low, high = np.quantile(known, [0.05, 0.95])
    return f"{low:.{decimals}f} to {high:.{decimals}f}"


def _notes(one: xr.Dataset, need: float, taken: float) -> Iterator[str]:
    """Yield what the diameter to take does, and where the numbers come from."""
    mass, density, guess = float(one["taken_hanging_mass"].median()), float(one["taken_ground_density"].median()), float(one["first_guess"])
    asks = "the energy and the flights' spread ask" if math.isfinite(one.attrs["landing_energy"]) else "the flights' spread asks"
    more = "less is needed, for what else hangs there drags too" if need < guess else f"{asks} for more"
    yield (
        f"With {_at_least(taken)} it comes down at {_span(one['taken_descent_speed'])} m/s, lands with {_span(one['taken_landing_energy'], 0)} J, "
        f"{_span(one['taken_drift'], 0)} m from its apogee (5 to 95 % of the flights). The closed form of a steady fall (Knacke 1992) under the canopy alone, "
        f"{mass:.2f} kg as it hangs in air of {density:.3f} kg/m^3, gives {_cm(guess)}: {more}."
    )
    before, drift = float(one["taken_drift_before"].median()), float(one["taken_drift"].median())
    if math.isfinite(one.attrs["drift"]) and before > 0.1 * drift:
        yield f"Of the drift, {drift:.0f} m in the median flight, {before:.0f} m are there before it comes out, and no size of it changes those."
    closed = int((one["taken_opened"].values == 0).sum())
    if closed:
        lost = f"In {closed} of {plural(one.sizes['flight'])} as drawn it does not bring its body down (a failure)"
        yield f"{lost}: no size cures that, and they count in no share."


def _failures(one: xr.Dataset) -> Iterator[str]:
    """Yield what a failure made certain does to the descent, where it is more than the limit allows."""
    if "failure" not in one.dims:
        return
    limits, found = _limits(one.attrs), []
    for failure in one["failure"].values:
        here = one.sel(failure=failure)
        opened = here["failing_opened"].values > 0
        hard = limits.hardness({key: here[f"failing_{key}"].values for key in ("descent_speed", "landing_energy")})
        if not opened.any():
            found.append(f"with {failure} {one['stage'].item()} does not land under it")
        elif np.nanmedian(hard) > 1.0:
            mass = float(here["failing_hanging_mass"].median())
            found.append(f"with {failure} {mass:.2f} kg come down at {_span(here['failing_descent_speed'])} m/s")
    text = "; ".join(found)
    sound = "With each failure but its own made certain alone it still comes down softly enough in most flights."
    yield f"{text[0].upper()}{text[1:]}." if found else sound


def _cures(ds: xr.Dataset, name: str) -> Iterator[str]:
    """Yield what was flown to keep both, the first that does first."""
    if "cure" not in ds.dims:
        return
    rows = [k for k in range(ds.sizes["cure"]) if str(ds["cure_canopy"][k].values) == name]
    if not rows:
        return
    good = [k for k in rows if float(ds["cure_both_share"][k]) >= ds.attrs["share"] - 1e-9]
    rows.sort(key=lambda k: (-float(ds["cure_both_share"][k]), float(ds["cure_drift"][k])))
    lines = [f"{ds['cure'][k].item()}: {_cured(ds, k)}" for k in (good[:1] or rows[:2])]
    best = "Flown, and it keeps both" if good else f"None of the {len(rows)} cures flown keeps both; the nearest"
    yield f"{best}: {'; '.join(lines)}."


def _cured(ds: xr.Dataset, k: int) -> str:
    speed, drift = (_percent(float(ds[f"cure_{what}_share"][k])) for what in ("speed", "drift"))
    down = float(ds["cure_opened_share"][k])
    lost = "" if down > 0.999 else f", {_percent(1.0 - down)} do not land under it"
    return f"{speed} softly enough, {drift} near enough (95 % within {float(ds['cure_drift'][k]):.0f} m){lost}"


def _rows(one: xr.Dataset) -> Iterator[list[str]]:
    drift = math.isfinite(one.attrs["drift"])
    yield ["diameter cm", "area m^2", "down m/s: 5 %", "50 %", "95 %", "energy J, 95 %", "drift m, 95 %", "soft %", *(["near %", "both %"] if drift else [])]
    for k in range(one.sizes["size"]):
        here, d = one.isel(size=k), float(one["diameter"][k])
        speed = here["descent_speed"].values
        cells = [f"{value:.1f}" for value in np.nanquantile(speed, [0.05, 0.5, 0.95])] if np.isfinite(speed).any() else ["-", "-", "-"]
        tops = [f"{np.nanquantile(here[name].values, 0.95):.0f}" if np.isfinite(here[name].values).any() else "-" for name in ("landing_energy", "drift")]
        shares = [f"{100.0 * float(here[f'{what}_share']):.0f}" for what in (("speed", "drift", "both") if drift else ("speed",))]
        yield [f"{100.0 * d:.1f}", f"{0.25 * math.pi * d * d:.3f}", *cells, *tops, *shares]


def _practice(ds: xr.Dataset) -> str:
    shown = f"If all of {plural(ds.attrs['flights'])} hold, more than {_percent(all_of(ds.attrs['flights']))} of all flights do (90 % confidence). "
    return f"{shown}Common practice lets a vehicle land under its main with {USUAL[0]:g} to {USUAL[1]:g} m/s (15 to 20 ft/s)."
