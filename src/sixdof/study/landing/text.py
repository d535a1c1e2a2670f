"""The page about where it lands, in plain words."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table
from sixdof.study.landing.field import Field, field_of
from sixdof.study.landing.groups import ALL, DOUBT, ELLIPSE, NOMINAL, least_for
from sixdof.study.landing.limits import ANY
from sixdof.study.reading.page import LAST_LINE, bearing_of, caution_lines
from sixdof.study.reading.result import mission_of, need_table, plural
from sixdof.study.uncertainty.scatter_region import LEAST
from sixdof.study.variants.judging import VERDICTS

MOST_BRANCHES = 12  # rows of the tables; rarer branches are counted together
SMALL = 20  # flights of a branch below which the page says that they are few
STEEP = 30.0  # m that the ground is off the launch point, from which on the page speaks of the line of descent
OWN_HEIGHT = 50.0  # m between the grid's height at the rail and the mission's altitude, from which on the page asks


def landing_text(ds: xr.Dataset) -> str:
    """Return the page about what `landing` returned. Raises ValueError for anything else."""
    need_table(ds, "landing_text", "preflight.landing", "flight_branch", "contour_area")
    field = field_of(ds.attrs.get("field"), mission_of(ds, "landing_text").site, "landing_text")
    lines = [f"Where it lands: {ds.attrs.get('title', 'untitled')}", *indented(_flown(ds)), *indented(_told(ds, field)), ""]
    for section in (_limits, _criteria, _branches, _bodies, _people, _areas):
        lines += section(ds)
    lines += ["What this is worth", *indented(_worth(ds))]
    cautions = _cautions(ds, field)
    lines += caution_lines(cautions, "none") if cautions else []
    return "\n".join([*lines, "", LAST_LINE])


# ---------------------------------------------------------------- heading


def _flown(ds: xr.Dataset) -> list[str]:
    seed = f", seed {ds.attrs['seed']}" if "seed" in ds.attrs else ""
    lines = [f"{plural(ds.attrs['flown'])} drawn as the mission says{seed}; {ds.attrs.get('source', 'source unknown')}"]
    certain = sorted(set(ds["made_certain"].values) - {""})
    if certain:
        lines.append(f"{plural(ds.attrs['failing'])} more with each of these made certain, weighted by its probability: {', '.join(certain)}")
    held, lost = ds.attrs["never_left_the_rail"], int((ds["known"].values == 0).sum())
    lines += [f"{plural(held)} never left the rail and count nowhere"] if held else []
    lines += [f"{plural(lost)} cannot be told (diverged) and keep no limit"] if lost else []
    return lines + ([str(ds.attrs["interrupted"])] if "interrupted" in ds.attrs else [])


def _told(ds: xr.Dataset, field: Field) -> list[str]:
    """Return of what field and ground the page speaks."""
    lines = []
    names = ", ".join(dict.fromkeys(one.name for one in field.features if one.role == "field" and one.name))
    if field.inside is not None:
        no_go = "" if field.no_go is None else f"; no-go areas {_area(field.no_go.area)}"
        lines.append(f"field{': ' + names if names else ''}, {_area(field.inside.area)}{no_go}")
    for one in field.waivers:
        height = f" up to {one.ceiling:g} m" if math.isfinite(one.ceiling) else ""
        where = "the rail" if math.hypot(one.east, one.north) < 1.0 else _place(one.east, one.north)
        lines.append(f"waiver: {one.radius:g} m about {where}{height}")
    if "waiver_radius" in ds.attrs:
        lines.append(f"waiver: {ds.attrs['waiver_radius']:g} m about the rail")
    if "terrain" in ds.attrs:
        low, high = ds.attrs["terrain_lowest"], ds.attrs["terrain_highest"]
        lines.append(f"ground: {ds.attrs['terrain']}; landing places lie {low:+.0f} to {high:+.0f} m from the launch point's height")
    else:
        lines.append("ground: as high as the launch point everywhere, for no grid of heights is given")
    return lines


def _place(east: float, north: float) -> str:
    return f"{math.hypot(east, north):.0f} m, {bearing_of(east, north):.0f} deg"


def _area(square_metres: float) -> str:
    return f"{square_metres / 1e6:.2f} km^2" if square_metres >= 1e4 else f"{square_metres:.0f} m^2"


# ---------------------------------------------------------------- tables


def percent(share: float) -> str:
    """Return a share in per cent with two digits of it, or of what it lacks to 100 %."""
    if not math.isfinite(share):
        return "unknown"
    away = min(share, 1.0 - share) * 100.0
    if 0.0 < away < 0.005:
        return "below 0.01 %" if share < 0.5 else "above 99.99 %"
    digits = 0 if away >= 10.0 or away == 0.0 else 1 if away >= 1.0 else 2
    return f"{100.0 * share:.{digits}f} %"


def _limits(ds: xr.Dataset) -> list[str]:
    if "limit" not in ds.dims:
        return ["Limits", "  none given: no field, no people, no ceiling, no waiver"]
    confidence = f"{100.0 * ds.attrs['confidence']:.0f} % interval"
    rows = [["", "probability", confidence, "flights"]]
    for k, name in enumerate(ds["limit"].values):
        one = ds.isel(limit=k)
        span = f"{percent(float(one.probability_low))} to {percent(float(one.probability_high))}"
        rows.append([str(name), percent(float(one.probability)), span, f"{int(one.exceeding)} of {ds.sizes['flight']}"])
    return ["How probable it is that", *table(rows), *indented(_binding(ds))]


def _binding(ds: xr.Dataset) -> list[str]:
    """Return which branches make the most of the flights that keep not all limits."""
    last = ds.isel(limit=-1)
    if not float(last.probability) > 0.0:
        return ["in no flight flown; how probable it may be all the same is the upper end of the interval"]
    parts = (last.branch_probability * last.branch_exceeded).values[1:]
    worst = sorted(zip(parts, ds["branch"].values[1:]), reverse=True)[:3]
    whole = max(float(np.nansum(parts)), 1e-300)
    named = [f"{name} {percent(part / whole)}" for part, name in worst if part > 0.0]
    return [f"of these flights: {', '.join(named)}"] if named else []


def _criteria(ds: xr.Dataset) -> list[str]:
    if "criterion" not in ds.dims:
        return []
    rows = [["criterion", "observed", "bounds", "verdict"]]
    for k, name in enumerate(ds["criterion"].values):
        one = ds.isel(criterion=k)
        span = f"{percent(float(one.observed_low))} to {percent(float(one.observed_high))}"
        rows.append([str(name), percent(float(one.observed)), span, VERDICTS[int(one.verdict)]])
    return ["Criteria, by the flights as drawn", *table(rows)]


def _branches(ds: xr.Dataset) -> list[str]:
    names = [str(name) for name in ds["branch"].values]
    if len(names) <= 2:
        return []
    limits = [str(name) for name in ds["limit"].values] if "limit" in ds.dims else []
    heads = ["any" if name == ANY else name.removeprefix("a piece ") for name in limits]
    rows = [["branch", "probability", "flights", *(_short(head) for head in heads)]]
    body = ds["body"].values[0]
    for name in names[1 : MOST_BRANCHES + 1]:
        one = ds.sel(branch=name)
        shares = [_share(one.isel(limit=k)) for k in range(len(limits))]
        rows.append([name, percent(float(one.branch_probability)), str(int(one.flights.sel(body=body))), *shares])
    lines = ["Branches of failures, each by its own flights", *table(rows)]
    rest = len(names) - 1 - MOST_BRANCHES
    few = [name for name in names[1:] if int(ds.flights.sel(branch=name, body=body)) < SMALL]
    if rest > 0:
        lines += indented([f"rarer branches are left out here ({rest}), and are in the Dataset"])
    if few and not ds.attrs["failing"]:
        lines += indented(
            [f"branches of fewer than {SMALL} flights say little of where they land; fly more with each failure made certain (failing=100, --failing 100)"]
        )
    return lines


def _short(head: str) -> str:
    words = {"lands outside the field": "outside", "lands in a no-go area": "no-go", "leaves the waiver": "waiver"}
    return words.get(head) or ("near people" if "people" in head else "ceiling" if "climbs" in head else head)


def _share(one: xr.Dataset) -> str:
    low, high = float(one.branch_exceeded_low), float(one.branch_exceeded_high)
    return f"{percent(float(one.branch_exceeded))} ({100.0 * low:.0f}-{100.0 * high:.0f})"


def _bodies(ds: xr.Dataset) -> list[str]:
    """Return where each body lands in each branch: mean place, circles, ellipse, distances."""
    rows, left = [["body, branch", "flights", "down", "mean place: m, deg", "CEP m", "R95 m", "farthest m", "95 % ellipse of one more"]], 0
    for body in ds["body"].values:
        for name in ds["branch"].values:
            one = ds.sel(body=body, branch=name)
            if int(one.landed) >= LEAST or name == ALL and int(one.flights):
                rows.append([f"{body}, {name}", str(int(one.flights)), str(int(one.landed)), *_circles(one)])
            else:
                left += int(one.flights) > 0
    lines = ["Landing places, about the mean place of the body in the branch", *table(rows, remark=True)]
    return lines + (indented([f"what has fewer than {LEAST} landing places in a branch is left out here ({left}), and is in the Dataset"]) if left else [])


def _circles(one: xr.Dataset) -> list[str]:
    if not int(one.landed):
        return ["none", "", "", "", ""]
    text = f"{math.hypot(float(one.mean_east), float(one.mean_north)):.0f}, {bearing_of(float(one.mean_east), float(one.mean_north)):03.0f}"
    few = int(one.landed) < SMALL
    circles = ["", ""] if int(one.landed) < LEAST else [f"{float(one.cep):.0f}", f"{float(one.r95):.0f}"]
    return [text, *circles, f"{float(one.distance_max):.0f}", "too few flights" if few else _ellipse(one)]


def _ellipse(one: xr.Dataset) -> str:
    if not math.isfinite(float(one.ellipse_semi_major)):
        return "none: several branches" if float(one.normality) >= DOUBT else "none: not normal"
    towards = math.degrees(0.5 * math.pi - float(one.ellipse_angle)) % 180.0
    return f"{float(one.ellipse_semi_major):.0f} x {float(one.ellipse_semi_minor):.0f} m at {towards:03.0f} deg"


def _people(ds: xr.Dataset) -> list[str]:
    if "people_distance_quantile" not in ds:
        return []
    found = ds["people_distance_quantile"]
    marks = ["smallest", *(f"{100.0 * q:g} % nearer" for q in found["quantile"].values[1:])]
    rows = [["body, branch", *marks]]
    for body in ds["body"].values:
        own = found.sel(body=body)
        if not np.isfinite(own.isel(quantile=0)).any():
            continue
        nearest = str(own["branch"].values[1:][np.nanargmin(own.isel(quantile=0).values[1:])])
        for name in (ALL, nearest):
            values = own.sel(branch=name).values
            rows.append([f"{body}, {name}{', the nearest' if name == nearest else ''}", *(_metres(value) for value in values)])
    required = f", {ds.attrs['people_distance_required']:g} m asked for" if "people_distance_required" in ds.attrs else ""
    return [f"Distance of landing places from people, m{required}", *table(rows)]


def _areas(ds: xr.Dataset) -> list[str]:
    shares = ds["share"].values
    rows = [["body", *(f"{100.0 * share:g} %" for share in shares)]]
    for body in ds["body"].values:
        areas = ds["contour_area"].sel(body=body, branch=ALL).values
        if int(ds["flights"].sel(body=body, branch=ALL)):
            rows.append([str(body), *(f"{area / 1e6:.3f}" if math.isfinite(area) else "too few" for area in areas)])
    return ["Area of the contour that holds so much of all landing places as drawn, km^2", *table(rows)]


def _metres(value: float) -> str:
    return f"{value:.0f}" if math.isfinite(value) else "none"


# ---------------------------------------------------------------- what it is worth


def _worth(ds: xr.Dataset) -> list[str]:
    least = ", ".join(f"{100.0 * share:g} %: {least_for(share)}" for share in ds["share"].values)
    lines = [
        f"contours are those of a density (no shape is assumed) and are drawn from so many landing places on: {least}",
        f"an ellipse holds one more landing place with {100.0 * ELLIPSE:.0f} %, if places are normal; none is given where Mardia's test says they are not",
        "intervals cover the chance of the draws alone (Clopper-Pearson), not what is wrong in mission, wind or model",
    ]
    if ds.attrs["failing"]:
        lines.append(
            "with failures made certain, the ends are those of the weighted sum of the strata's Clopper-Pearson bounds (Fay, Proschan & Brittain 2015); "
            f"contours and circles of '{ALL}' and '{NOMINAL}' are of the flights as drawn, those of a failure of all flights in which it happened"
        )
    if "terrain" in ds.attrs:
        lines.append(
            "the ground is met on the straight line of the last descent; a fall without a canopy curves, so that its place is rougher the farther the ground "
            "is from the launch point's height"
        )
    lines += _less_sure(ds)
    lines.append("wind beyond its own spread in the mission, thermals, drift after landing and what people carry away are left out")
    if "waiver_radius" in ds.attrs or "a piece leaves the waiver" in ds.coords.get("limit", xr.DataArray([])).values:
        lines.append("the waiver is held at events, landing places and the points of the front body's track, not between them")
    return lines


def _less_sure(ds: xr.Dataset) -> list[str]:
    """Return in how many flights the model is less sure, where in any."""
    checks = {
        "above_mach_08": "above Mach 0.8, where the drag rise is only roughly modelled",
        "beyond_incidence": "beyond 15 deg of incidence in the climb, where forces are rough",
        "falling": "with a body that comes down without a canopy: its forces are good to some 30 %, and so is where it lands",
    }
    flights = ds.attrs["flown"]
    return [f"{ds.attrs[name]} of {plural(flights)} as drawn are {text}" for name, text in checks.items() if ds.attrs.get(name)]


def _cautions(ds: xr.Dataset, field: Field) -> list[str]:
    found = []
    if not field.holds_rail():
        found.append("the rail stands outside the field, or in a no-go area: check site and field (positions are longitude, latitude)")
    if "terrain" in ds.attrs:
        altitude = mission_of(ds, "landing_text").site.altitude
        if abs(ds.attrs["terrain_rail_height"] - altitude) > OWN_HEIGHT:
            found.append(f"the grid has {ds.attrs['terrain_rail_height']:.0f} m at the rail and the mission {altitude:.0f} m: check the place")
        if max(-ds.attrs["terrain_lowest"], ds.attrs["terrain_highest"]) > STEEP:
            found.append(f"landing places are more than {STEEP:.0f} m off the launch point's height: heights above ground at landing are not the altimeter's")
    missing = int((ds["flies"].values > 0).sum() - np.isfinite(ds["landing_east"].values).sum())
    if missing:
        found.append(f"{_bodies_that(missing)} not come down before the flight ends, and count as outside of the field: let the mission fly longer")
    return found


def _bodies_that(count: int) -> str:
    return "1 body does" if count == 1 else f"{count} bodies do"
