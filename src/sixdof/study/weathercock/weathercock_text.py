"""Does it turn into the wind? The answer as a page in plain words."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, underlined
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.practice import LEAST_MARGIN, RAIL_INCIDENCE, SAFETY_CODE_WIND, WIND_RATIO
from sixdof.study.reading.result import plural
from sixdof.study.variants.criteria import percent
from sixdof.study.weathercock.changes import AS_WRITTEN, LOCKED
from sixdof.study.weathercock.flights import middle
from sixdof.study.weathercock.stability_text import said

ANGLES = ("lean", "path_lean", "tilt")  # of which too much is a turn into the wind
ADD_MARGIN = ("ballast in the nose", "larger fins")
DIFFERS = math.radians(0.05)  # turns closer than this are alike
HALF_CALIBRE, TENTH = 0.5, 0.1


def weathercock_page(ds: xr.Dataset) -> str:
    """Return what `weathercock` found as a page."""
    criteria = ds.attrs["criteria"].split("\n")
    head = f"{plural(ds.sizes['flight'])} at each point on the same draws, seed {ds.attrs['seed']}, {ds.attrs['flights_flown']} flown; no failures"
    lines = [ds.attrs["title"], "Does it turn into the wind?", head, _winds(ds), *(f"  asked for: {one}" for one in criteria), "", *indented(_answer(ds))]
    sections = (_over_wind, _at_events, _causes, _levers, _speeds, _cures, _weak)
    for section in sections:
        found = section(ds)
        lines += ["", *found] if found else []
    return "\n".join([*lines, "", LAST_LINE])


def _winds(ds: xr.Dataset) -> str:
    """Return where winds are told."""
    levels = ", all levels scaled together" if ds.attrs["level_by_level"] else ""
    return f"winds are mean winds at {ds.attrs['reference_height']:g} m above ground, from where the mission has them blow{levels}"


def degrees(values) -> np.ndarray:
    """Return angles in degrees."""
    return np.degrees(np.asarray(values, dtype=float))


# ---------------------------------------------------------------- the answer


def _answer(ds: xr.Dataset) -> list[str]:
    lines = _as_drawn(ds)
    lines += [f"{_capital(_fins(name))}: {_limit(float(ds['wind_limit'].sel(fins=name)), ds)}." for name in ds["fins"].values if _tells(ds, name)]
    unstable = _not_stable(ds)
    if unstable:
        return [unstable, *lines]
    best = _biggest(ds)
    cure = _first_cure(ds)
    return [*lines, *([f"{_capital(_where(ds))} most of the turn comes from {best}."] if best else []), *([cure] if cure else [])]


def _not_stable(ds: xr.Dataset) -> str:
    """Return a warning of a vehicle whose margin at rail departure is below 0: what is said of turns means little then."""
    margin = ds.attrs["exit_margin"]
    if margin >= 0.0:
        return ""
    what = f"NOT STABLE: the static margin at rail departure is {margin:.1f} calibres"
    if LOCKED in ds["fins"].values:
        return f"{what}, so that its control alone keeps it from tumbling, and theory and fins locked say little."
    return f"{what}, so that it tumbles: what is said below of turns, causes and cures means little before that is mended."


def _as_drawn(ds: xr.Dataset) -> list[str]:
    """Return whether the mission's own draws meet what is asked for, each criterion that they do not meet by itself."""
    met, required = ds["drawn_met"].sel(fins=AS_WRITTEN).values, ds["required"].values
    where = f"of the {plural(ds.sizes['flight'])} in the mission's own wind, as drawn,"
    said_of = [f"{100.0 * share:.0f} % {where} keep '{name}'" for share, name in zip(met, ds["criterion"].values)]
    if float(ds["drawn_missed"].sel(fins=AS_WRITTEN)) <= 0.0:
        return ["No, not further than asked: " + "; ".join(said_of) + ".", _shown(ds)]
    failed = [(str(name), text) for name, text, share, least in zip(ds["criterion"].values, said_of, met, required) if share < least - 1e-9]
    return [f"{'YES' if name.split()[0] in ANGLES else 'And what else is asked for does not hold'}: only {text}." for name, text in failed] + [_shown(ds)]


def _shown(ds: xr.Dataset) -> str:
    """Return what so few flights show of the true share, with 90 % confidence."""
    one, required = ds[["drawn_low", "drawn_high", "drawn_more"]].sel(fins=AS_WRITTEN), ds["required"].values
    low, high = one["drawn_low"].values, one["drawn_high"].values
    if (low >= required).all() or (high < required).any():
        return f"{_capital(plural(ds.sizes['flight']))} show that with 90 % confidence."
    more = int(np.nanmax(one["drawn_more"].values))
    return f"{_capital(plural(ds.sizes['flight']))} do not decide it with 90 % confidence; {more} more could at best (fix their number, then look)."


def _tells(ds: xr.Dataset, name: str) -> bool:
    """Return whether fins make a difference worth a line."""
    return name == AS_WRITTEN or bool(np.nanmax(np.abs(ds["missed"].sel(fins=name) - ds["missed"].sel(fins=AS_WRITTEN)).values) > 0.02)


def _fins(name) -> str:
    return "as written" if name == AS_WRITTEN else f"with fins {name}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _limit(wind: float, ds: xr.Dataset) -> str:
    least, most = float(ds["wind"][0]), float(ds["wind"][-1])
    if wind == math.inf:
        return f"what is asked for holds in all winds tried, to {most:g} m/s"
    if wind == -math.inf:
        return f"it does not hold even in {least:g} m/s"
    above = "" if wind < SAFETY_CODE_WIND else f" (the safety codes launch nothing beyond {SAFETY_CODE_WIND:.1f})"
    return f"what is asked for holds up to a wind of {wind:.1f} m/s and fails beyond{above}"


def _biggest(ds: xr.Dataset) -> str:
    own = [(float(mean), str(name)) for mean, name in zip(ds["cause_mean"].values, ds["cause"].values) if str(name) != "rest"]
    mean, name = max(own)
    whole = math.degrees(float(ds["base_turn"]))
    return f'"{name}", {math.degrees(mean):+.1f} deg; with all else that makes or hinders it, it is {whole:.1f} deg' if mean > DIFFERS else ""


def _where(ds: xr.Dataset) -> str:
    return "in the mission's own draws" if ds.attrs["as_drawn"] else f"in a wind of {ds.attrs['design_wind']:.1f} m/s"


def _first_cure(ds: xr.Dataset) -> str:
    if "cure_meets" not in ds:
        return ""
    good = [str(says) for says, meets in zip(ds["cure_says"].values, ds["cure_meets"].values) if meets]
    if good:
        return f"{_capital(_where(ds))} this cures it at the least cost: {good[0]} (all of them below)."
    return f"{_capital(_where(ds))} none of the changes tried cures it alone; see below."


# ---------------------------------------------------------------- numbers


def _over_wind(ds: xr.Dataset) -> list[str]:
    name, event = ("path_turn" if ds.attrs["angle"] == "path_lean" else "turn"), ds.attrs["at_event"]
    of = "the path" if name == "path_turn" else "the nose"
    shown = [fins for fins in ds["fins"].values if _tells(ds, fins)]
    head = ["wind (m/s)", *(f"{fins}" for fins in shown), "triangle", "closed form", "linear theory", "missed by"]
    rows = [head]
    for k, wind in enumerate(ds["wind"].values):
        turned = [degrees(ds[name].sel(fins=fins, event=event).isel(wind=k)) for fins in shown]
        cells = [_spread(one) for one in turned]
        theory = [f"{math.degrees(float(ds[key][k])):z.1f}" for key in ("triangle", "closed_turn", "profile_turn")]
        missed = float(ds["missed"].sel(fins=AS_WRITTEN)[k])
        rows.append([f"{wind:g}", *cells, *theory, "holds" if missed <= 0.0 else f"{100.0 * missed:.0f} %"])
    title = f"Turn of {of} into the wind from the rail to {said(event)}, deg: mean (5 to 95 % of the flights); beside it the theory of a step of cross wind"
    return [title, *underlined(table(rows))]


def _at_events(ds: xr.Dataset) -> list[str]:
    wind = float(ds["wind"][int(np.argmin(np.abs(ds["wind"].values - ds.attrs["design_wind"])))])
    rows = [["", "nose", "path", *(f"nose, {fins}" for fins in ds["fins"].values[1:])]]
    for event in ds["event"].values:
        one = ds.sel(wind=wind, event=event)
        own = [one[key].sel(fins=AS_WRITTEN) for key in ("lean", "path_lean")] + [one["lean"].sel(fins=fins) for fins in ds["fins"].values[1:]]
        rows.append([said(event), *(f"{middle(degrees(each)):z.1f}" for each in own)])
    rail = math.degrees(ds.attrs["exit_lean"])
    return [f"Lean into the wind in {wind:g} m/s, deg, mean of the flights; the rail itself leans {rail:+z.1f} deg into it", *underlined(table(rows))]


def _causes(ds: xr.Dataset) -> list[str]:
    where = _where(ds)
    share = percent(ds.attrs["share"])
    rows = [["", "mean", f"in {share}", "told by"]]
    for name, how, mean, high in zip(*(ds[key].values for key in ("cause", "cause_how", "cause_mean", "cause_high"))):
        rows.append([str(name), f"{math.degrees(mean):+z.1f}", "" if np.isnan(high) else f"{math.degrees(high):+z.1f}", str(how)])
    rows.append(["turn as flown", f"{math.degrees(float(ds['base_turn'])):+.1f}", f"{math.degrees(float(ds['base_high'])):+.1f}", "flown"])
    rows.append(["of it in calm air", f"{math.degrees(float(ds['calm_turn'])):+.1f}", "", "flown"])
    return [f"What causes the turn to {said(ds.attrs['at_event'])}, deg, {where}", *underlined(table(rows, remark=True))]


def _levers(ds: xr.Dataset) -> list[str]:
    """Return what thrust-to-weight and margin do to the turn, from the maps."""
    if "thrust_turn" not in ds:
        return []
    wind = min(max(ds.attrs["design_wind"], float(ds["wind"][0])), float(ds["wind"][-1]))

    def at(key: str, dim: str, value: float) -> float:
        return math.degrees(float(ds[key].interp(wind=wind).interp({dim: value})))

    ratio, margin = ds.attrs["exit_thrust_to_weight"], ds.attrs["exit_margin"]
    lines = []
    more = at("thrust_turn", "thrust_to_weight", ratio * (1.0 + TENTH)) - at("thrust_turn", "thrust_to_weight", ratio)
    lines.append(f"A tenth more thrust-to-weight (it is {ratio:.1f}) changes the turn by {more:+.2f} deg in {wind:.1f} m/s, burn time kept.")
    other = at("margin_turn", "static_margin", margin - HALF_CALIBRE) - at("margin_turn", "static_margin", margin)
    if np.isfinite(other):
        worse = "the more stable, the harder it turns" if other < 0.0 else "here less margin does not turn it less"
        lines.append(f"Half a calibre less margin (it is {margin:.1f} at rail departure) changes it by {other:+.2f} deg: {worse}.")
    return ["What decides it", *indented(lines)]


def _speeds(ds: xr.Dataset) -> list[str]:
    exit_speed = ds.attrs["exit_speed"]
    rows = [["wind (m/s)", *(f"{wind:g}" for wind in ds["wind"].values)]]
    for label, key in (("needed, flown", "speed_needed"), ("needed, closed form", "speed_needed_closed")):
        rows.append([label, *(_speed(float(value), ds) for value in ds[key].values)])
    rows.append([f"{WIND_RATIO:g} times the wind (common practice)", *(f"{WIND_RATIO * wind:.0f}" for wind in ds["wind"].values)])
    slowest, fastest = float(ds["rail_speed"].min()), float(ds["rail_speed"].max())
    fins = ", fins locked" if LOCKED in ds["fins"].values else ""
    title = f"Speed needed at rail departure, m/s: as written it is {exit_speed:.1f}; rails of {float(ds['rail'].min()):.1f} to {float(ds['rail'].max()):.1f} m"
    return [f"{title} were flown ({slowest:.0f} to {fastest:.0f} m/s){fins}", *underlined(table(rows))]


def _speed(value: float, ds: xr.Dataset) -> str:
    if value == math.inf:
        return f"> {float(ds['rail_speed'].max()):.0f}"
    if value == -math.inf:
        return f"< {float(ds['rail_speed'].min()):.0f}"
    return f"{value:.0f}" if value > 0.0 else "any"


def _cures(ds: xr.Dataset) -> list[str]:
    if "cure_meets" not in ds:
        return ["Cures", *indented([f"None is needed: what is asked for holds {_where(ds)}."])] if ds.attrs["cures_tried"] else []
    rows = [["", "cures?", "first limit", "turn", "apogee", "mass", "margin", "exit speed"]]
    for k in range(ds.sizes["cure"]):
        one = ds.isel(cure=k)
        angle = ds["cure_value"].attrs["units"] == "rad"
        value = math.degrees(float(one["cure_value"])) if angle else float(one["cure_value"])
        kept = f"{value:.1f} {'deg' if angle else ds['cure_value'].attrs['units']}"
        change = [f"{math.degrees(float(one['cure_turn'])):+z.1f} deg", f"{float(one['cure_apogee']):+z.0f} m", f"{1000.0 * float(one['cure_mass']):+z.0f} g"]
        change += [f"{float(one['cure_margin']):+z.2f} cal", f"{float(one['cure_speed']):+z.1f} m/s"]
        rows.append([str(one["cure_says"].item()), "yes" if one["cure_meets"] else "no", kept, *change])
    margin = ds.attrs["exit_margin"] + ds["cure_margin"].values
    thin = [str(says) for says, left in zip(ds["cure_says"].values, margin) if left < LEAST_MARGIN]
    notes = ["What cures it, each alone, flown: the smallest amount found that meets what is asked for, else the best of the range tried."]
    harder = [str(name) for name, turn in zip(ds["cure"].values, ds["cure_turn"].values) if turn > DIFFERS and name in ADD_MARGIN]
    if harder:
        notes.append(f"No cure, it turns harder with it: {', '.join(harder)}. More margin turns it harder; ballast costs thrust-to-weight too.")
    if str(ds["cures_without_room"].item()):
        notes.append(f"Not tried, for the mission as written has no room for it: {ds['cures_without_room'].item()}.")
    notes.append("What a motor or a rail costs in money is unknown.")
    if thin:
        notes.append(f"Leaves less than {LEAST_MARGIN:g} calibre: {', '.join(thin)}.")
    return [f"Cures {_where(ds)}, ranked: those that do it by the apogee they cost", *underlined(table(rows)), *indented(notes)]


def _after_burnout(ds: xr.Dataset, turned: np.ndarray, fins: str) -> list[str]:
    """Return what becomes of the turn (events,), deg, after the first burnout, where the theory ends."""
    names = [str(name) for name in ds["event"].values]
    if "burnout" not in names or names[-1] == "burnout" or not np.isfinite(turned).all():
        return []
    first = turned[names.index("burnout")]
    how = "locked" if fins == LOCKED else "as written"
    wind = float(ds["wind"][-1])
    return [f"The theory ends at burnout: from there to {said(names[-1])} the turn goes from {first:.1f} to {turned[-1]:.1f} deg in {wind:g} m/s, fins {how}."]


def _spread(turned: np.ndarray) -> str:
    """Return "9.2 (6.4 to 12.0)": the mean of angles, deg, and what 5 to 95 % of them lie between."""
    return f"{middle(turned):z.1f} ({middle(turned, quantile=0.05):z.1f} to {middle(turned, quantile=0.95):z.1f})"


def _weak(ds: xr.Dataset) -> list[str]:
    incidence = degrees(ds["triangle"])
    beyond = ds["wind"].values[incidence > math.degrees(RAIL_INCIDENCE)]
    fins = LOCKED if LOCKED in ds["fins"].values else AS_WRITTEN
    name = "path_turn" if ds.attrs["angle"] == "path_lean" else "turn"
    turned = ds[name].sel(fins=fins)
    flown = degrees(middle(turned.sel(event=ds.attrs["at_event"]).values))
    off, closed = degrees(ds["profile_turn"]) - flown, degrees(ds["closed_turn"]) - flown
    k = int(np.nanargmax(np.abs(off)))
    lines = [
        f"The theory is linear: at most {abs(off[k]):.1f} deg off the flights with fins {'locked' if fins == LOCKED else 'as written'} (in "
        f"{float(ds['wind'][k]):g} m/s, where the air meets the vehicle at {incidence[k]:.0f} deg as it leaves), the closed form alone "
        f"{np.nanmax(np.abs(closed)):.1f} deg. It knows no gusts, no tip-off, no live fins, no margin that falls with incidence.",
        "The triangle alone is where a slow, stiff vehicle ends in a steady wind; a wind that grows with height, and the swing at that moment, take "
        "others further.",
        *_after_burnout(ds, degrees(middle(turned.isel(wind=-1).values, axis=0)), fins),
    ]
    if beyond.size:
        lines.append(f"From {beyond[0]:g} m/s on incidence at rail departure is beyond 15 deg: there the aerodynamics of the flights is an estimate too.")
    lines.append("Left out: failures, gusts that the mission does not say, a rail that bends or is knocked, wind that changes in the countdown.")
    if ds.attrs["left_as_written"]:
        lines.append(f"Left as written in the drawn flights: {ds.attrs['left_as_written']}.")
    return ["Where this is weak", *indented(lines)]
