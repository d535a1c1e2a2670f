"""What a card says, in words and rows of cells: the page of text and the printed sheet take them from here."""

from __future__ import annotations

import math
import string
from collections.abc import Sequence

import xarray as xr

from sixdof.mission.page import table
from sixdof.study.launch_card.expected import BEARING, TIME
from sixdof.study.launch_card.measured_wind import UNIFORM
from sixdof.study.launch_card.remedy import REACH
from sixdof.study.launch_card.safety import CAUTIONS, FOOT, STANDING
from sixdof.study.launch_card.settings import direction
from sixdof.study.launch_card.verdict import DECISIONS, GO, MARGINAL, NO_GO, quantity
from sixdof.study.reading.practice import LEAST_MARGIN
from sixdof.study.reading.result import plural
from sixdof.study.uncertainty.claims import UNDECIDED

STATIC = "static margin"
LETTERS = string.ascii_lowercase  # by which criteria are named where there is no room for them
FOUND, NOT_EVEN_CALM, BEYOND = 0, 1, 2  # of wind_limit_kind
WORDS = {GO: "GO", MARGINAL: "MARGINAL", NO_GO: "NO-GO"}
MEANING = {
    GO: "every criterion is held, each surely (90 %)",
    MARGINAL: "every criterion is held by the flights flown, but not surely (90 %): treat as NO-GO, or make the card of more flights",
    NO_GO: "a criterion is not held",
}


def texts(ds: xr.Dataset, name: str) -> list[str]:
    """Return a row of texts of a card."""
    return [str(value) for value in ds[name].values]


def heading(ds: xr.Dataset) -> list[str]:
    """Return what the card is of and what it was made with."""
    made = f"{plural(ds.attrs['flights'])}, seed {ds.attrs['seed']}; {ds.attrs['source']}"
    air = (
        f"air of {ds.attrs['sounding']}, {ds.attrs['sounding_date']}"
        if "sounding" in ds.attrs
        else "air and wind profile as written in the mission, no sounding"
    )
    return [f"{ds.attrs['site']}; {air}" if ds.attrs["site"] else air, made]


# ---------------------------------------------------------------- go or no-go


def chosen(ds: xr.Dataset) -> str | None:
    """Return "go", "marginal" or "no-go", None where no wind was measured."""
    return DECISIONS[int(ds["decision"])] if int(ds["decision"]) >= 0 else None


def wind_line(ds: xr.Dataset) -> str:
    """Return how the measured wind is brought to the reference height, or how it would be."""
    factor, height = float(ds["wind_factor"]), float(ds["reference_height"])
    law = ds.attrs["wind_law"]
    if chosen(ds) is None:
        return f"from {float(ds['hand_height']):g} m to {height:g} m: x {factor:.2f} ({law})"
    measured = f"{float(ds['measured_speed']):.1f} m/s from {direction(float(ds['measured_from']))} at {float(ds['measured_height']):g} m"
    return f"{measured} x {factor:.2f} ({law}) = {float(ds['reference_speed']):.1f} m/s from {direction(float(ds['reference_from']))} at {height:g} m"


def decision_lines(ds: xr.Dataset) -> list[str]:
    """Return what the decision rests on: the wind limit, the criterion that fails or what is not sure, and the smallest change that helps."""
    word = chosen(ds)
    if word is None:
        return []
    lines = [limit_line(ds)] if math.isfinite(float(ds["wind_limit_now"])) else []
    if word == NO_GO:
        missed = [k for k in range(ds.sizes["criterion"]) if not holds(ds, k)]
        lines += [f"not held: ({LETTERS[k % 26]}) {texts(ds, 'criterion')[k]}; {result(ds, k)}" for k in missed]
        return lines + change_lines(ds)[:1]
    return [*lines, MEANING[word], *(unsure_lines(ds) if word == MARGINAL else [])]


def limit_line(ds: xr.Dataset) -> str:
    """Return the wind limit from where the measured wind comes."""
    least = "at least " if bool(ds["wind_limit_at_least"]) else ""
    now, low = float(ds["wind_limit_now"]), float(ds["wind_limit_surely"])
    surely = f", surely {low:.1f}" if 0.0 < low < now - 0.05 else ""
    return f"wind limit from there: {least}{now:.1f} m/s{surely} at {float(ds['reference_height']):g} m"


def unsure_lines(ds: xr.Dataset) -> list[str]:
    """Return which criteria are not decided, how near each is to what was asked, and how many flights would tell."""
    said: dict[str, list[str]] = {}
    for k, verdict in enumerate(texts(ds, "verdict")):
        if verdict != UNDECIDED:
            continue
        more = float(ds["more_flights"].values[k])
        how = f"some {more:.0f} more would tell at this rate" if math.isfinite(more) else "no number of flights would tell at this rate"
        text = f"held in {100.0 * float(ds['observed'].values[k]):.0f} % of {plural(ds.attrs['flights'])}: {how}"
        said.setdefault(text, []).append(f"({LETTERS[k % 26]})")
    return [f"{', '.join(letters)} {text}" for text, letters in said.items()]


def holds(ds: xr.Dataset, k: int) -> bool:
    """Return whether a criterion is held by the flights flown."""
    return bool(ds["observed"].values[k] >= ds["required"].values[k] - 1e-9)


def result(ds: xr.Dataset, k: int) -> str:
    """Return by how much the criterion number k is held or missed."""
    required, observed = float(ds["required"].values[k]), float(ds["observed"].values[k])
    limit, reached, unit = float(ds["bound"].values[k]), float(ds["reached"].values[k]), texts(ds, "criterion_unit")[k]
    asked = f"{100.0 * required:g} %"
    if not math.isfinite(limit):
        return f"{100.0 * observed:.0f} % of flights, {asked} asked for"
    if not math.isfinite(reached):
        return f"only {100.0 * observed:.0f} % of flights, {asked} asked for"
    spare = quantity(abs(float(ds["spare"].values[k])), unit)
    side = "stay above" if (reached > limit) == holds(ds, k) and reached != limit else "stay below"
    return f"{asked} {side} {quantity(reached, unit)}: {spare} {'to spare' if holds(ds, k) else 'too much' if side == 'stay below' else 'too little'}"


def criterion_rows(ds: xr.Dataset) -> list[tuple[str, str, str]]:
    """Return letter, criterion and result of each."""
    return [(LETTERS[k % 26], text, result(ds, k)) for k, text in enumerate(texts(ds, "criterion"))]


def change_lines(ds: xr.Dataset) -> list[str]:
    """Return the smallest change that makes it a yes first, then the others that do, and what does not help; nothing where nothing was looked for."""
    if not ds.sizes["change"]:
        return []
    names, holding = texts(ds, "change"), ds["change_holds"].values
    helping = [
        f"{text} ({100.0 * share:.0f} % of its reach)"
        for text, share, yes in zip(texts(ds, "change_text"), ds["change_effort"].values, holding, strict=True)
        if yes
    ]
    idle = ", ".join(dict.fromkeys(name for name, yes in zip(names, holding, strict=True) if not yes))
    if not helping:
        return [f"no single change within reach makes it a GO: tried {idle}"]
    lines = [f"smallest change to a yes: {helping[0]}", *(f"or: {text}" for text in helping[1:])]
    return lines + ([f"no help within reach: {idle}"] if idle else [])


def change_note(ds: xr.Dataset) -> list[str]:
    """Return by which measure one change is smaller than another."""
    return [REACH] if ds.sizes["change"] else []


# ---------------------------------------------------------------- tables


def wind_rows(ds: xr.Dataset) -> list[tuple[str, str, str]]:
    """Return direction, limit and the letter of the criterion that binds, for each direction."""
    if "wind_limit" not in ds:
        return []
    rows = []
    for angle, limit, kind, binds in zip(*(ds[name].values for name in ("direction", "wind_limit", "wind_limit_kind", "wind_binds")), strict=True):
        sign = {FOUND: "", NOT_EVEN_CALM: "none, fails in calm", BEYOND: ">= "}[int(kind)]
        text = sign if int(kind) == NOT_EVEN_CALM else f"{sign}{limit:.1f}"
        rows.append((direction(float(angle)), text, LETTERS[int(binds) % 26] if int(binds) >= 0 else "-"))
    return rows


def weighing_rows(ds: xr.Dataset) -> list[tuple[str, str, str]]:
    """Return what is weighed, its mass in g and its balance point in mm with their tolerances."""
    rows = []
    for k, name in enumerate(texts(ds, "weighing")):
        mass, station = (
            f"{1e3 * float(ds[what].values[k]):.0f}{_within(1e3 * float(ds[f'{what}_tolerance'].values[k]))}" for what in ("weighed_mass", "balance_point")
        )
        rows.append((name, mass, station))
    return rows


def _within(tolerance: float) -> str:
    if not math.isfinite(tolerance):
        return ""
    return f" ± {tolerance:.0f}" if tolerance >= 1.0 else f" ± {tolerance:.1f}"


def weighing_notes(ds: xr.Dataset) -> list[str]:
    """Return from where balance points count, and what the tolerances follow from."""
    data = list(dict.fromkeys(texts(ds, "balance_datum")))
    where = f"mm aft of {data[0]}" + ("; of a stage alone, of its own fore end" if len(data) > 1 else "")
    mass, station = (list(dict.fromkeys(texts(ds, name)))[0] for name in ("mass_tolerance_from", "balance_tolerance_from"))
    basis = mass if mass == station else f"mass {mass}, balance point {station}"
    return [f"Balance points in {where}. Tolerances: {basis}; outside them make a new card."]


def number(value: float, decimals: int) -> str:
    """Return a number, or a dash where there is none."""
    return f"{value:z.{decimals}f}" if math.isfinite(value) else "-"


def expected_rows(ds: xr.Dataset) -> list[tuple[str, str, str, str]]:
    """Return what is expected with its unit, and its 5, 50 and 95 %; bearings from 0 to 360 deg."""
    rows = []
    for k, (name, unit) in enumerate(zip(texts(ds, "quantity"), texts(ds, "expected_unit"), strict=True)):
        values = [float(value) % 360.0 if unit == BEARING else float(value) for value in ds["expected"].values[k]]
        low, middle, high = (number(value, int(ds["expected_decimals"].values[k])) for value in values)
        rows.append((f"{name}, {unit}" if unit and not name.startswith(TIME) else name, low, middle, high))
    return rows


def expected_note(ds: xr.Dataset) -> str:
    """Return of which flights the expected numbers are."""
    which = (
        "in the wind measured now" if chosen(ds) is not None else "in the sounding's air" if "sounding" in ds.attrs else "in the winds that the mission draws"
    )
    few = [
        f"{name} in {int(count)}" for name, count in zip(texts(ds, "quantity"), ds["expected_flights"].values, strict=True) if count < 0.9 * ds.attrs["flights"]
    ]
    text = f"5, 50 and 95 % of {plural(ds.attrs['flights'])} {which}; times in s after ignition, landings by distance and bearing from the rail"
    return f"{text}; of fewer flights: {', '.join(few)}" if few else text


def margin_rows(ds: xr.Dataset) -> list[tuple[str, str]]:
    """Return the static margins with their ranges, and gain and phase of each loop in one row."""
    rows: dict[str, str] = {}
    for k, name in enumerate(texts(ds, "margin")):
        decimals, unit = int(ds["margin_decimals"].values[k]), texts(ds, "margin_unit")[k]
        low, middle, high = (number(float(value), decimals) for value in ds["margin_value"].values[k])
        loop, _, what = name.partition(" loop, ")
        value = f"{middle} {unit}" if low == "-" else f"{middle} ({low} to {high})"
        called = f"{loop} loop, as written" if what else name.removeprefix(STATIC).strip()
        rows[called] = f"{rows[called]}, {value}" if called in rows else value
    return list(rows.items())


def ceiling_rows(ds: xr.Dataset) -> list[tuple[str, str, str, str, str]]:
    """Return the heights that shares of the flights stay below, above ground and above sea level, in m and ft; with their bounds where there are some."""
    rows = []
    for share, *heights in zip(*(ds[name].values for name in ("ceiling", "ceiling_height", "ceiling_bound")), strict=True):
        for height, word in zip(heights, ("", ", surely"), strict=True):
            if math.isfinite(height):
                sea = height + ds.attrs["site_altitude"]
                rows.append((f"{100.0 * share:.0f} % below{word}", *(f"{value:.0f}" for value in (height, height / FOOT, sea, sea / FOOT))))
    return rows


def distance_rows(ds: xr.Dataset) -> list[tuple[str, str]]:
    """Return the impulse installed, and the distances it asks for."""
    impulse, motors = float(ds["impulse"]), int(ds["motors"])
    rows = [("installed impulse", f"{impulse:.0f} N s in {motors} motor{'s, complex' if motors > 1 else ''}")]
    people, cleared = float(ds["people_distance"]), float(ds["cleared_diameter"])
    if not math.isfinite(people):
        return [*rows, ("people keep off", "beyond the common table: ask the range")]
    return [*rows, ("people keep off", f"{_both(people)} from the rail at least"), ("cleared", f"{_both(cleared)} across, about the rail")]


def _both(metres: float) -> str:
    return f"{metres:.0f} m ({round(metres / FOOT):d} ft)"


def own_cautions(ds: xr.Dataset) -> list[str]:
    """Return the cautions about this vehicle: where the model is weak, and what does not hold in any wind."""
    lines = []
    for name, where in (("above_mach_08", "go above Mach 0.8"), ("beyond_incidence", "climb beyond 15 deg incidence")):
        if float(ds[name]) > 0.0:
            lines.append(f"{100.0 * float(ds[name]):.0f} % of flights {where}, where the model is an estimate.")
    if float(ds["failed_share"]) > 0.0:
        lines.append(f"{100.0 * float(ds['failed_share']):.1f} % of flights did not leave the rail or diverged.")
    if ds.attrs["wind_law"] == UNIFORM:
        lines.append("The mission has one wind at all heights, which no wind is: over open ground it is some 1.25 times as strong at 10 m as at 2 m.")
    if float(ds["falling_share"]) > 0.0:
        lines.append(f"In {100.0 * float(ds['falling_share']):.0f} % of flights a body comes down WITHOUT A CANOPY.")
    at_departure = f"{STATIC} at departure"
    margin = float(ds["margin_value"].values[texts(ds, "margin").index(at_departure), 0]) if at_departure in texts(ds, "margin") else math.nan
    if margin < LEAST_MARGIN:
        word = "NOT STABLE" if margin < 0.0 else f"Less than {LEAST_MARGIN:g} calibre"
        lines.append(f"{word}: the static margin at departure is {margin:.1f} calibres or less in 5 % of flights.")
    return lines


def general_cautions() -> list[str]:
    """Return the cautions of every card."""
    return [*CAUTIONS, STANDING]


def margin_heading(ds: xr.Dataset) -> str:
    """Return what the margins of a card are."""
    loops = any(" loop" in name for name in texts(ds, "margin"))
    return "Static margin, calibres; loops" if loops else "Static margin, calibres"


def setting_groups(ds: xr.Dataset) -> dict[str, list[tuple[str, str]]]:
    """Return what is set, by where: heading -> (name, value)."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for group, name, value in zip(*(texts(ds, f"setting_{what}") for what in ("group", "name", "value")), strict=True):
        groups.setdefault(group, []).append((name, value))
    return groups


def lined_up(rows: Sequence[Sequence[str]], words: int = 1) -> list[str]:
    """Return rows of cells as lines of a page."""
    return table([list(row) for row in rows], words=words)
