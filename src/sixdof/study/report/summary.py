"""A page of text about a flight or an ensemble that a builder can act on."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.page import indented
from sixdof.results.status import Status
from sixdof.study.reading.page import LAST_LINE, WIDTH, caution_lines, counted, on_map, place, row_of
from sixdof.study.reading.result import QUANTILES, apart, event_values, fact, is_ensemble, meaningful, mission_of, need_result, outcomes, pieces, plural
from sixdof.study.report.cautions import cautions
from sixdof.study.report.staging import branch_section, fired_section, landing_section, recovery_section, stage_section, way_section
from sixdof.study.uncertainty.scatter import LEAST, containment, places, radius
from sixdof.study.uncertainty.sensitivity import largest_drivers
from sixdof.study.uncertainty.statistics import quantile_interval

__all__ = ["TABLE", "Row", "summarise"]


class Row(NamedTuple):
    """One line of the table: an outcome, how it is called, the unit shown, decimals, and the factor to that unit."""

    name: str
    label: str
    unit: str
    decimals: int
    factor: float = 1.0


CONFIDENCE = 0.9
FALL = 1.0  # s of a fall without a canopy that the page says nothing of: from apogee to a canopy's opening
_DEG = math.degrees(1.0)
CONTROL = "Control, while the fins are live"
TABLE = {
    "Rail": (
        Row("rail_departure_speed", "departure speed", "m/s", 1),
        Row("rail_departure_incidence", "incidence at departure", "deg", 1, _DEG),
        Row("rail_departure_margin", "static margin at departure", "calibres", 2),
    ),
    "Climb": (
        Row("apogee_height", "apogee above ground", "m", 0),
        Row("apogee_time", "time of apogee", "s", 1),
        Row("airspeed_max", "largest airspeed", "m/s", 1),
        Row("mach_max", "largest Mach number", "", 2),
        Row("dynamic_pressure_max", "largest dynamic pressure", "Pa", 0),
        Row("specific_force_max", "largest specific force", "m/s^2", 0),
        Row("incidence_max", "peak incidence (angle of attack)", "deg", 1, _DEG),
        Row("tilt_max", "largest tilt from the vertical", "deg", 1, _DEG),
        Row("static_margin_min", "smallest static margin", "calibres", 2),
    ),
    CONTROL: (
        Row("tilt_error_rms", "tilt error, root mean square", "deg", 2, _DEG),
        Row("tilt_error_boost_rms", "  while a motor burns", "deg", 2, _DEG),
        Row("tilt_error_coast_rms", "  while none burns", "deg", 2, _DEG),
        Row("tilt_error_max", "tilt error, largest", "deg", 1, _DEG),
        Row("roll_error_rms", "roll error, root mean square", "deg", 2, _DEG),
        Row("roll_error_max", "roll error, largest", "deg", 1, _DEG),
        Row("rate_reversals", "changes of sign of the body rates", "", 0),
        Row("saturation_share", "time with a fin at its stop", "%", 1, 100.0),
        Row("rate_limit_share", "servos' time at their rate limit", "%", 1, 100.0),
        Row("fin_travel_total", "total fin travel", "deg", 0, _DEG),
        Row("load_factor_max", "largest load across the axis", "g", 2),
        Row("hinge_moment_max", "largest hinge moment", "N m", 3),
    ),
    "Descent": (
        Row("opening_airspeed", "airspeed at first opening", "m/s", 1),
        Row("landing_ground_speed", "landing speed over the ground", "m/s", 1),
        Row("flight_time", "time of flight", "s", 1),
    ),
}

ESTIMATE = (
    "Estimate, in the climb",
    (
        Row("attitude_error_max", "attitude error, largest", "deg", 2, _DEG),
        Row("position_error_max", "position error, largest", "m", 1),
        Row("velocity_error_max", "velocity error, largest", "m/s", 2),
    ),
)


def summarise(ds: xr.Dataset) -> str:
    """Return a page about a flight or an ensemble: outcomes, landing place, ends, validity of the model, cautions.

    An ensemble shows quantiles over the flights that have the outcome; flights that diverged or never left the rail
    count only under "How the flights ended". Raises TypeError for what is no Dataset, ValueError for one without outcomes.
    """
    need_result(ds, "summarise")
    if "apogee_height" not in ds or "status" not in ds:
        raise ValueError("summarise takes a result of sixdof.fly or sixdof.disperse; this Dataset holds no outcomes")
    lines = [*_heading(ds), ""]
    for title, rows in TABLE.items():
        if title == CONTROL and not np.isfinite(event_values(ds, "fins_enabled")).any():
            lines += ["Control", "  no live fins in this result"]
            continue
        lines += [title, *(_row(ds, row) for row in rows if row.name in ds)]
        for further in _FURTHER.get(title, ()):
            lines += further(ds)
    lines += _knowledge(ds)
    lines += [
        "Landing place",
        *indented(_landing(ds)),
        *landing_section(ds),
        *branch_section(ds),
        "How the flights ended" if is_ensemble(ds) else "How the flight ended",
        *indented(_ends(ds)),
    ]
    lines += ["Where the model is less sure", *indented(_validity(ds))]
    lines += caution_lines(cautions(ds), "no cautions raised")
    return "\n".join([*lines, "", LAST_LINE])


def _heading(ds):
    source = ds.attrs.get("source", "source unknown")
    title = ds.attrs.get("title", "untitled")
    if not is_ensemble(ds):
        flown = f"flight {ds.attrs['flight']} of seed {ds.attrs['seed']}" if "flight" in ds.attrs else "one flight"
        return [title, f"{flown}; {source}"]
    seed = f", seed {ds.attrs['seed']}" if "seed" in ds.attrs else ""
    marks = "".join(f"{100.0 * share:>8.0f} %" for share in QUANTILES)
    lines = [title, f"{plural(ds.sizes['flight'])}{seed}; {source}"]
    if "interrupted" in ds.attrs:
        lines.append(ds.attrs["interrupted"])
    return [*lines, "", f"{'quantile':<{WIDTH + 12}}{marks}"]


KNOWN = ("apogee_height", "tilt_max", "landing_ground_speed")  # outcomes whose quantiles get intervals, and drivers, on the page


def _knowledge(ds) -> list[str]:
    """Return how well some quantiles of an ensemble are known, and which inputs drive these outcomes most."""
    if not is_ensemble(ds):
        return []
    rows = {row.name: row for rows in TABLE.values() for row in rows}
    known, drivers = [], []
    for name in KNOWN:
        row, values = rows[name], outcomes(ds, name)
        values = values[np.isfinite(values)] * rows[name].factor
        if not values.size:
            continue
        found = quantile_interval(values, QUANTILES, CONFIDENCE)
        spans = (f"{_end(low, row)} to {_end(high, row)}" for low, high in zip(found.low, found.high, strict=True))
        each = ", ".join(f"{100.0 * share:.0f} %: {span}" for share, span in zip(QUANTILES, spans, strict=True))
        known.append(f"{row.label} ({row.unit})  {each}")
        try:
            drivers.append(largest_drivers(ds, name, 3))
        except ValueError:  # too few flights for so many inputs, or an outcome that does not vary: nothing to say
            continue
    title = f"Confidence intervals of the quantiles ({100.0 * CONFIDENCE:.0f} %, by order statistics)"
    lines = [title, *indented(known)] if known else []
    return lines + (["Main drivers (share of variance, linear regression)", *indented(drivers)] if drivers else [])


def _end(value: float, row: Row) -> str:
    return f"{value:.{row.decimals}f}" if math.isfinite(value) else "unknown"


def _row(ds, row: Row) -> str:
    return row_of(ds, row.label, row.unit, outcomes(ds, row.name) * row.factor, row.decimals)


def _mission(ds):
    """Return the mission of a result, None where the result does not hold it."""
    return mission_of(ds, "summarise") if "mission" in ds.attrs else None


def _hinge(ds):
    mission = _mission(ds)
    if mission is None or "hinge_moment_max" not in ds or mission.servo.stall_torque is None:
        return []
    share = Row("hinge_moment_max", "  of the servos' stall torque", "%", 1, 100.0 / mission.servo.stall_torque)
    return [_row(ds, share)]


def _estimate(ds):
    """Return the section of the estimate: its rows, or that the computer was told the truth."""
    title, rows = ESTIMATE
    mission = _mission(ds)
    if mission is not None and mission.sensors is None:
        return ["Estimate", "  ideal sensors: the flight computer is told the truth"]
    return [title, *(_row(ds, row) for row in rows if row.name in ds)]


def _waypoints(ds):
    """Return the section of the waypoints: miss distances by the computer's own estimate, and captures."""
    if not ds.sizes.get("waypoint_number"):
        return []
    mission, lines = _mission(ds), ["Waypoints, by the flight computer's own estimate"]
    lines.append(_row(ds, Row("waypoints_captured", f"captured, of {ds.sizes['waypoint_number']}", "", 0)))
    for k in range(ds.sizes["waypoint_number"]):
        radius = f", radius {mission.guidance.waypoint[k].radius:g} m" if mission is not None else ""
        miss = ds["waypoint_miss"].isel(waypoint_number=k)
        lines.append(_row(ds.assign(miss=miss), Row("miss", f"miss distance of {k + 1}{radius}", "m", 1)))
    return lines


_FURTHER = {"Climb": (stage_section,), CONTROL: (_hinge, _waypoints, _estimate), "Descent": (way_section, recovery_section, fired_section)}


def _landing(ds):
    if not is_ensemble(ds):
        east, north = outcomes(ds, "landing_east")[0], outcomes(ds, "landing_north")[0]
        if not math.isfinite(east + north):
            return ["not reached"]
        return [", ".join([place(east, north), *_mean_on_map(ds)])]
    known, dropped = places(ds, "summarise")
    if not len(known):
        return ["no flight came down"]
    distance = np.quantile(np.hypot(*known.T), QUANTILES)
    quoted = [f"{100.0 * share:.0f} %: {d:.0f} m" for share, d in zip(QUANTILES, distance, strict=True)]
    half, most = radius(ds, 0.5), radius(ds, 0.95)
    lines = [
        ", ".join([f"mean place {place(*known.mean(axis=0))}", *_mean_on_map(ds)]),
        f"distance from the rail {', '.join(quoted)}",
        f"about the mean place, half of the flights lie within {half:.0f} m and 95 % within {most:.0f} m",
    ]
    if len(known) >= LEAST:
        e = containment(ds)
        towards = math.degrees(0.5 * math.pi - float(e.angle)) % 180.0
        lines.append(
            f"95 % prediction ellipse of the landing place: semi-axes {float(e.semi_major):.0f} m by {float(e.semi_minor):.0f} m, "
            f"long axis bearing {towards:.0f} deg, for normally distributed landing places"
        )
    return [*lines, f"{plural(dropped)} without a landing place omitted"] if dropped else lines


def _mean_on_map(ds) -> list[str]:
    """Return the front body's mean landing place in latitude and longitude; nothing where the result does not hold it."""
    if "body_landing_latitude" not in ds:
        return []
    latitude, longitude = (fact(ds, f"body_landing_{name}", 0) for name in ("latitude", "longitude"))
    turned = np.exp(1j * np.radians(longitude))  # places on both sides of the date line have their mean there too
    return [on_map(float(np.nanmean(latitude)), float(np.degrees(np.angle(np.nanmean(turned)))))]


def _ends(ds):
    status = np.atleast_1d(ds["status"].values)
    if not is_ensemble(ds):
        return [Status(int(status[0])).sentence]
    return [f"{counted(status == s)}: {s.sentence}" for s in Status if (status == s).any()]


def _validity(ds):
    checks = (
        ("time_above_mach_08", "Mach above 0.8", "the drag rise and shocks are only roughly modelled"),
        ("time_beyond_incidence", "incidence beyond 15 deg in the climb", "the flow separates and forces are rough"),
        ("time_transonic", "Mach 0.8 to 1.2", "the tables are interpolated between two theories (transonic)"),
        ("time_stalled", "a fin stalled in the climb", "its forces behind the stall are rough"),
        ("time_beyond_reynolds", "Reynolds number outside 5e5 to 1e8 in the climb", "skin friction was not checked"),
    )
    lines = [_beyond(ds, outcomes(ds, name), *words) for name, *words in checks if name in ds]
    return lines + (_falls(ds) if "time_falling_incidence" in ds else [])


def _falls(ds) -> list[str]:
    """Return what the model is worth in falls without a canopy: said once, and further limits only where a body fell beyond them."""
    beyond = []
    for k in pieces(ds):
        longest = np.where(apart(ds, k) & meaningful(ds), np.nan_to_num(fact(ds, "time_falling_incidence", k)), 0.0).max(initial=0.0)
        if longest > FALL:
            beyond.append(f"{ds['body'].values[k]} for up to {longest:.0f} s")
    lines = ["fall without a canopy: never for more than a second"]
    if beyond:
        lines = [
            f"fall without a canopy beyond 15 deg incidence ({', '.join(beyond)}): forces are good to some 30 %, and so is where and how fast that body lands"
        ]
    further = (
        ("time_falling_mach", "Mach above 0.8 in such a fall", "the drag rise and shocks are only roughly modelled"),
        ("time_falling_reynolds", "Reynolds number outside 5e5 to 1e8 in such a fall", "skin friction was not checked"),
        (
            "time_falling_crisis",
            "cross flow above Reynolds 1e5 on the diameter in such a fall",
            "the drag crisis may come at half or twice the Reynolds number taken, a factor of up to 3 in the drag across",
        ),
    )
    seconds = {name: _falling(ds, name) for name, *_ in further if name in ds}
    return lines + [_beyond(ds, seconds[name], *words) for name, *words in further if name in seconds and (seconds[name][meaningful(ds)] > 0.0).any()]


def _falling(ds, name) -> np.ndarray:
    """Return the longest time of any body of its own in every flight, (flights,), s; 0 for less than a second."""
    each = [np.where(apart(ds, k), fact(ds, name, k), 0.0) for k in pieces(ds)]
    longest = np.nan_to_num(np.max(each, axis=0)) if each else np.zeros(meaningful(ds).size)
    return np.where(longest > FALL, longest, 0.0)


def _beyond(ds, seconds, what, why):
    seconds = seconds[meaningful(ds)]
    if not seconds.size:
        return f"{what}: not judged, because no flight left the rail and stayed whole"
    if not (seconds > 0.0).any():
        return f"{what}: never"
    if not is_ensemble(ds):
        return f"{what}: for {seconds[0]:.2f} s, where {why}; treat what follows it as an estimate"
    longest = f"{seconds.max():.2f} s"
    return f"{what}: in {counted(seconds > 0.0)}, for up to {longest}, where {why}; treat these as estimates"
