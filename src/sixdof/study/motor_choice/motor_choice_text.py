"""The page of a choice of motors: the answer first, then why, what must change with it, one table, what it rests on and where it is weak."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, side_by_side, wrapped
from sixdof.study.motor_choice.deciding import BEST, FAILS, MEETS, OPEN, STANDINGS, UNFIT, UNKNOWN
from sixdof.study.motor_choice.facts import DELAY_SCATTER, given_columns
from sixdof.study.motor_choice.settings import STATES
from sixdof.study.motor_choice.thrust_to_weight import LEAST, RATIOS, USUAL
from sixdof.study.motor_choice.words import number_text, spread_text
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.practice import LEAST_MARGIN, MOST_MARGIN
from sixdof.study.reading.result import event_values, fact, outcomes, plural
from sixdof.study.variants.comparison_text import share_text
from sixdof.study.variants.judging import VERDICTS, ensembles

MOST_FLIPS = 3  # measurements that are named
_PLAIN = {BEST: "the best", MEETS: "meets all criteria", OPEN: "undecided", FAILS: "fails", UNFIT: "does not fit", UNKNOWN: "not known"}


def choice_text(ds: xr.Dataset) -> str:
    """Return the page of what `choose_motor` returned. Raises ValueError for anything else."""
    need_choice(ds, "choice_text")
    flown = "variant" in ds.dims
    lines = [ds.attrs.get("title") or "untitled", *wrapped(_heading(ds)), "", *_answer(ds), "", *_whys(ds)]
    if flown:
        lines += ["", *_measurements(ds), "", *_settings(ds)]
    lines += ["", *_table(ds), "", *_footing(ds)]
    return "\n".join([*lines, "", LAST_LINE])


def need_choice(ds: xr.Dataset, who: str) -> None:
    """Raise ValueError for what is not a choice of motors; `who` asks."""
    if not isinstance(ds, xr.Dataset) or "standing" not in ds or "fits" not in ds:
        raise ValueError(f"{who} takes a choice of motors (dim motor), as sixdof.preflight.choose_motor returns it")


def standings_of(ds: xr.Dataset) -> dict[str, str]:
    """Return what became of every motor, a word of STANDINGS."""
    return {str(name): STANDINGS[int(word)] for name, word in zip(ds["motor"].values, ds["standing"].values, strict=True)}


def short_why(ds: xr.Dataset, motor: str) -> str:
    """Return why a motor won or lost without what explains the numbers further, for a figure."""
    why = str(ds["why"].sel(motor=motor).values)
    parts = [part.split(" (")[0].split(", write ")[0] for part in why.split("; ")]
    return "; ".join(part for part in parts if not part.startswith("write comments"))


def _heading(ds: xr.Dataset) -> str:
    count, flown = ds.sizes["motor"], ds.sizes.get("variant", 0)
    seed = f", seed {ds.attrs['seed']}" if "seed" in ds.attrs else ""
    each = f", {plural(ds.sizes['flight'])} each on the same draws{seed}" if flown else ""
    return f'motor of the stage "{ds.attrs["stage"]}": {count} looked at, {flown} of them fit and are flown{each}; {ds.attrs.get("source", "nothing flown")}'


# ---------------------------------------------------------------- the answer


def _answer(ds: xr.Dataset) -> list[str]:
    best, standings = ds.attrs["best"], standings_of(ds)
    if "variant" not in ds.dims:
        return indented(["ANSWER: no motor. None of them fits the mount."])
    if not best:
        words = set(standings.values())
        if MEETS in words or OPEN in words:
            those = [name for name, word in standings.items() if word == (MEETS if MEETS in words else OPEN)]
            return indented([f"ANSWER: {', '.join(those)} stand alike; say what you prefer to have one of them."])
        return indented([f"ANSWER: no motor. Every one that fits fails{' a criterion' if 'criterion' in ds.dims else ''}."])
    why = dict(zip(ds["motor"].values.astype(str), ds["why"].values.astype(str), strict=True))[best]
    criteria = ds.sizes.get("criterion", 0)
    verdicts = [VERDICTS[int(v)] for v in ds["verdict"].sel(variant=best).values] if criteria else []
    open_ = [k for k, word in enumerate(verdicts) if word != VERDICTS[0]]
    met = "meets the criterion" if criteria == 1 else "meets both criteria" if criteria == 2 else f"meets all {criteria} criteria"
    if open_:
        more = max(int(ds["more_flights"].sel(variant=best).values[k]) for k in open_)
        which = f"criterion {open_[0] + 1} is" if len(open_) == 1 else f"criteria {', '.join(str(k + 1) for k in open_)} are"
        met = f"fails none, but {which} undecided (at least {more} more flights decide)"
    return indented([f"ANSWER: {best}. It {met if criteria else 'fits'}; {why}."])


def _whys(ds: xr.Dataset) -> list[str]:
    best = ds.attrs["best"]
    rows = zip(ds["motor"].values.astype(str), ds["why"].values.astype(str), standings_of(ds).values(), strict=True)
    said = [f"{name}: {why}" for name, why, word in rows if name != best and (best or word in (FAILS, UNFIT, UNKNOWN, OPEN))]
    return ["Why not the others" if best else "Why none", *indented(said)] if said else ["There is no other motor."]


# ---------------------------------------------------------------- what would change it


def _measurements(ds: xr.Dataset) -> list[str]:
    """Return the measurements that would change the best motor, or where there is none those that would turn a verdict."""
    title = "Which single measurement would change the answer"
    every = [ds.isel(measurement=k) for k in range(ds.sizes.get("measurement", 0))]
    found = [one for one in every if not str(one["flip_verdict"].values)]
    if found:
        return [title, *indented([_flip(one) for one in found[:MOST_FLIPS]])]
    none = f"none of the {ds.attrs['measurements']} asked about, each alone and as far as it is drawn (from the 1 % to the 99 % quantile)"
    need, flights = ds.attrs["measurements_need"], ds.sizes["flight"]
    if "criterion" not in ds.dims and not ds.attrs["prefer"]:
        none = "not asked: without a criterion and a preference no number decides"
    elif flights < need:
        none = f"not asked: {need} flights or more tell what is drawn apart, and {flights} were flown"
    elif not ds.attrs["measurements"]:
        none = "none can be asked about: the mission disperses nothing that can be measured"
    return [title, *indented([none, *(_flip(one) for one in every[:MOST_FLIPS])])]


def _flip(one: xr.Dataset) -> str:
    units = str(one["flip_units"].values)
    value, middle = (number_text(float(one[name]), units) if units != "1" else f"{float(one[name]):.3f} times" for name in ("flip_value", "flip_middle"))
    to, verdict = str(one["flip_to"].values), str(one["flip_verdict"].values)
    then = f"a verdict turns: {verdict}" if verdict else f"{to} is the best" if to else "no motor is the best"
    known = "flown" if bool(one["flip_flown"]) else "estimated along straight lines, not flown"
    name = f"{one['measurement'].item()} ({one['flip_how'].item()})"
    if value == middle:
        return f"{name}: known at all, even as what it is drawn about ({middle}), {then} ({known})"
    way = "or less" if bool(one["flip_below"]) else "or more"
    share = 100.0 * float(one["flip_share"])
    return f"{name}: at {value} {way} (drawn about {middle}; {share:.0f} % of the draws) {then} ({known})"


# ---------------------------------------------------------------- settings


def _settings(ds: xr.Dataset) -> list[str]:
    """Return the settings that must change, of the best motor first."""
    title = "Altimeter and delay settings that must change with the motor"
    if "setting" not in ds.dims:
        return [title, *indented(["the mission has none that depend on the motor"])]
    names = [str(name) for name in ds["variant"].values]
    order = sorted(names, key=lambda name: name != ds.attrs["best"])
    said = [text for name in order if (text := _changes(ds.sel(variant=name), name))]
    if ds.attrs.get("adjusted"):
        said.append("flown with settings put right: " + "; ".join(ds.attrs["adjusted"].splitlines()))
    return [title, *indented(said or ["none: what the mission says is right for all of them"])]


def _changes(one: xr.Dataset, name: str) -> str:
    wrong = [k for k, state in enumerate(one["setting_state"].values) if state]
    return f"{name}: {'; '.join(_change(one.isel(setting=k)) for k in wrong)}" if wrong else ""


def _change(one: xr.Dataset) -> str:
    unit, state = str(one["setting_units"].values), STATES[int(one["setting_state"])]
    now, right = (f"{float(one[name]):g} {unit}" if np.isfinite(one[name]) else "none" for name in ("setting_now", "setting_right"))
    return f"{one['setting'].item()} {now} is {state} in {100.0 * float(one['setting_share']):.0f} % of the flights, {right} would be right"


# ---------------------------------------------------------------- the table


def _table(ds: xr.Dataset) -> list[str]:
    """Return the one table: a row for each quantity, a column for each motor."""
    names = [str(name) for name, known in zip(ds["motor"].values, np.isfinite(ds["total_impulse"].values), strict=True) if known]
    each = ensembles(ds) if "variant" in ds.dims else {}
    rows = [*_known(ds), *_flown_rows(ds, each), *_verdict_rows(ds)]
    head = ["", "", *(label for label, _ in rows)]
    standings = standings_of(ds)
    columns = [[name, _PLAIN[standings[name]], *(cells.get(name, "-") or "-" for _, cells in rows)] for name in names]
    return ["Motors side by side: median, and 5 % to 95 % of the flights that have a value", *side_by_side(head, columns)]


def _known(ds: xr.Dataset) -> Iterator[tuple[str, dict[str, str]]]:
    names = [str(name) for name in ds["motor"].values]

    def row(variable: str, factor: float = 1.0, decimals: int = 0) -> dict[str, str]:
        return {name: f"{factor * value:.{decimals}f}" for name, value in zip(names, ds[variable].values, strict=True) if np.isfinite(value)}

    levels = {name: "none" if v == 0.0 else f"{v:.0f}" for name, v in zip(names, ds["certification_level"].values, strict=True) if np.isfinite(v)}
    yield "class", dict(zip(names, ds["motor_class"].values.astype(str), strict=True))
    yield "certification level", levels
    yield "total impulse, N s", row("total_impulse")
    yield "burn time, s", row("burn_time", decimals=2)
    yield "propellant, g", row("propellant_mass", 1e3)
    yield "of all motors, N s", row("vehicle_impulse")
    yield "of all motors, g", row("vehicle_propellant", 1e3)
    yield "adapter, g", {name: text for name, text in row("adapter_mass", 1e3).items() if text != "0"}
    for column in given_columns(ds):
        values = ds[column].values
        yield column, {name: (f"{v:g}" if np.isfinite(v) else "") if values.dtype.kind == "f" else str(v) for name, v in zip(names, values, strict=True)}


def _flown_rows(ds: xr.Dataset, each: dict[str, xr.Dataset]) -> Iterator[tuple[str, dict[str, str]]]:
    for name in RATIOS if each else ():
        label = name.replace("thrust_to_weight_", "").replace("rail", "on the rail").replace("start", "first half second").replace("average", "over the burn")
        yield f"thrust/weight, {label}", {motor: spread_text(ds[name].sel(variant=motor).values) for motor in each}
    for label, units, read in _quantities(each):
        cells = {motor: spread_text(read(one), units) for motor, one in each.items()}
        if set(cells.values()) != {"-"}:
            yield label, cells


def _quantities(each: dict[str, xr.Dataset]):
    """Yield (label, unit, function of an ensemble) of what is shown of flights."""
    if not each:
        return
    first = next(iter(each.values()))
    yield "rail exit speed, m/s", "m/s", lambda one: outcomes(one, "rail_departure_speed")
    yield "static margin there, cal", "1", lambda one: outcomes(one, "rail_departure_margin")
    for event, word in (("rail_departure", "at rail exit"), ("burnout", "at burnout")):
        yield f"turn into wind {word}, deg", "rad", lambda one, event=event: event_values(one, event, "lean") - event_values(one, "liftoff", "lean")
    yield "largest q, kPa", "1", lambda one: 1e-3 * outcomes(one, "dynamic_pressure_max")
    yield "largest Mach", "1", lambda one: outcomes(one, "mach_max")
    yield "above Mach 0.8, s", "s", lambda one: outcomes(one, "time_above_mach_08")
    yield "beyond 15 deg incidence, s", "s", lambda one: outcomes(one, "time_beyond_incidence")
    for joint in [str(name) for name in first["joint"].values] if "joint" in first.coords else []:
        yield f"tilt at separation {joint}, deg", "rad", lambda one, joint=joint: event_values(one, f"separation {joint}", "tilt")
    if first.sizes.get("waypoint_number"):
        yield "waypoints captured", "1", lambda one: outcomes(one, "waypoints_captured")
        yield "largest waypoint miss, m", "m", lambda one: outcomes(one, "waypoint_miss_max")
    yield "apogee, m", "m", lambda one: outcomes(one, "apogee_height")
    yield from _landings(first)
    for k, canopy in enumerate(first["canopy"].values if first.sizes.get("canopy") else []):
        yield f"load of {canopy}, N", "N", lambda one, k=k: fact(one, "opening_load", k)


def _landings(first: xr.Dataset):
    stages = first.sizes.get("joint", 0) + 1
    for k, body in enumerate(first["body"].values[:stages]):
        whose = f" of {body}" if stages > 1 else ""
        yield f"landing{whose}, m away", "m", lambda one, k=k: np.hypot(*(fact(one, f"body_landing_{way}", k) for way in ("east", "north")))
        yield f"landing{whose}, m/s", "m/s", lambda one, k=k: fact(one, "body_landing_ground_speed", k)


def _verdict_rows(ds: xr.Dataset) -> Iterator[tuple[str, dict[str, str]]]:
    for c in range(ds.sizes.get("criterion", 0)):
        cells = {}
        for motor in ds["variant"].values.astype(str):
            one = ds[["verdict", "observed", "flights", "failures"]].sel(variant=motor).isel(criterion=c)
            cells[motor] = f"{VERDICTS[int(one['verdict'])]}, {share_text(one)}"
        yield f"criterion {c + 1}", cells


# ---------------------------------------------------------------- what it rests on


def _footing(ds: xr.Dataset) -> list[str]:
    said = [f"Criterion {c + 1}: {text}" for c, text in enumerate(ds["criterion"].values)] if "criterion" in ds.dims else []
    said += [f"Each is judged with {100.0 * ds.attrs['confidence']:g} % confidence by itself"] if said else []
    said += [f"Preference: {ds.attrs['prefer']}"] if ds.attrs["prefer"] else []
    said += [f"{name}: {text}" for name, text in zip(ds["motor"].values, ds["adapter"].values.astype(str), strict=True) if text]
    if "variant" in ds.dims:
        said += ds.attrs["scatter"].splitlines()
        said += [
            f"Thrust over weight is that of the motor's own curve over the weight at liftoff; safety codes ask for {LEAST:g} over the burn (from memory), "
            f"common practice for {USUAL:g} at the start, and for a margin of {LEAST_MARGIN:g} to {MOST_MARGIN:g} calibres",
            "A turn into the wind is the lean at the event less that of the rail, positive into the wind",
            f"Settings are judged by flights in which nothing was drawn to fail; delay grains are off by {DELAY_SCATTER[0]:g} s or "
            f"{100.0 * DELAY_SCATTER[1]:.0f} %, whichever is more (NFPA 1125, from memory), which is no part of the flights",
        ]
    said += [
        "Class and burn time by NFPA 1125; levels of certification: H and I 1, J to L 2, from M on 3 (published, second-hand): your club's rules hold; "
        "14 CFR 101.22 puts a rocket of up to 125 g of propellant and 1500 g in class 1, of up to 40960 N s in class 2 (published, second-hand)",
        "Weak where a flight is above Mach 0.8 or beyond 15 deg of incidence: an estimate. Left out: how the motor is held and centred, heat, a burst case",
    ]
    return ["What this rests on", *indented(said)]
