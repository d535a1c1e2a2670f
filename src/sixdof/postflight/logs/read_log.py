"""`read_log`: from a file and a column map to the flight log that everything after the flight works with."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.postflight.logs.checks.attitude import upright_again
from sixdof.postflight.logs.checks.barometer import pulled
from sixdof.postflight.logs.checks.consistency import inconsistent
from sixdof.postflight.logs.checks.finding import Finding
from sixdof.postflight.logs.checks.packets import gaps, in_order, lost, spread_out, two_clocks, unwrapped
from sixdof.postflight.logs.columns.mapping import error_of, si_of, tables_of
from sixdof.postflight.logs.columns.names import PLACES
from sixdof.postflight.logs.columns.proposing import column_map
from sixdof.postflight.logs.columns.table_file import RawTable, bare_name, heading_of, raw_table
from sixdof.postflight.logs.columns.tables import Clock, ColumnMapTables, Reading
from sixdof.postflight.logs.columns.units import in_si, is_unit, spelled
from sixdof.postflight.logs.dataset import log_dataset
from sixdof.postflight.logs.liftoff import Liftoff, liftoffs
from sixdof.postflight.logs.places import LIKELY, heights, local_places, site_of
from sixdof.postflight.logs.readings import Column, made, moved_to_axis, tilt_of
from sixdof.postflight.logs.rest import without_bias

PLACE_UNITS = {"latitude": "deg", "longitude": "deg"}  # of a column without a unit: no log writes radians


def read_log(
    log: Any,
    columns: Any = None,
    mission: Mission | None = None,
    *,
    liftoff: float | str | None = None,
    remove_bias: bool = False,
    reset_gap: float | str | None = None,
    stage: str | None = None,
) -> xr.Dataset:
    """Return a flight log, aligned to liftoff, under the names of a flight's timeline; what was wrong in it is found, said, and mostly mended.

    Parameters
    ----------
    log : path of a CSV or Parquet file (which needs pyarrow), or a table of columns (a pandas table, a dictionary of arrays)
    columns : the column map: path of a TOML file, its tables as a dictionary, or what `column_map` proposes; None: what `column_map` proposes. The map says
        which column is the clock, and of every reading its column or columns, unit, source, error and limit, and the sensor's axes and place
    mission : the mission flown: heights come from its air, places from its site; None: the standard atmosphere, and the log's own first fixes
    liftoff : time of liftoff on the log's own clock, s or with a unit; None: found from specific force, climb rate, height, or the computer's own notice
    remove_bias : whether what the gyros read at rest before launch is taken off (see `gyro_bias`)
    reset_gap : for how long the clock stood where the computer was reset in flight, s or with a unit; None: by another clock or the packet counter, and
        where there is neither the log is cut there
    stage : the stage whose log this is; None: as the map says, the front stage else

    Returns
    -------
    Dataset
        Along `time` (s since liftoff, rising, negative before it), with `axis`, `quaternion` and `fin`: what the log holds of height, east, north,
        velocity, specific_force (body axes; moved onto the roll axis where the map says how far off the sensor sits and the log has rates), body_rate,
        attitude, tilt, ..., pressure, temperature, magnetic_field; NaN where not measured at that instant. `finding` holds a sentence for all that was
        found wrong, with when, how many and what was done: kept, dropped, corrected or cut. Attributes: liftoff_time (s of the log's clock),
        liftoff_error (s, standard deviation), liftoff_by, stage. `sixdof.report` makes its page.

    Raises
    ------
    TypeError, ValueError, MissionError
        For what is no log, no map, no mission, a column that is missing, a unit that cannot be, a log without a liftoff: one sentence each.

    Examples
    --------
    >>> table, columns = sixdof.postflight.log_of(sixdof.fly(mission), rate=50.0, noise={"height": 0.3})
    >>> log = sixdof.postflight.read_log(table, columns, mission)
    >>> abs(float(log.height.max()) - 584.0) < 3.0
    True
    """
    if mission is not None:
        check_mission(mission, "read_log")
    raw = raw_table(log)
    table = tables_of(column_map(raw) if columns is None else columns)
    which = _stage(table.stage if stage is None else stage, mission)
    rows = _rows(raw, table, _seconds(reset_gap, "reset_gap"))
    values, found, force = made(table, rows.columns, rows.frame, rows.time)
    found = [*raw.findings, *rows.findings, *found]
    if "specific_force" in values:
        found += _onto_axis(table.read["specific_force"], values, rows.time)
    shown_by = with_heights(values, rows.time, None, table, mission)[0] | ({} if force is None else {"specific_force": force})
    when, more = _liftoff(rows.time, shown_by, _seconds(liftoff, "liftoff"))
    values, about = with_heights(values, rows.time, when.time, table, mission)
    found += upright_again(rows.time, values, [one.start for one in found if one.kind == "reset"])
    doubts = inconsistent(rows.time - when.time, values)
    found += more + doubts + pulled(rows.time - when.time, values, when.time, {one.of for one in doubts})
    ds = log_dataset(rows.time - when.time, values, table, when, found, which, mission, about | {"log": raw.source})
    return without_bias(ds) if remove_bias else ds


def _seconds(value: float | str | None, name: str) -> float | None:
    if value is None:
        return None
    try:
        return parse(float(value) if isinstance(value, int | np.generic) else value, "s")
    except QuantityError as error:
        raise ValueError(f"read_log: {name}: {error}") from None


def _stage(stage: str, mission: Mission | None) -> str:
    names = [one.name for one in mission.stage] if mission is not None else [stage]
    if stage and stage not in names:
        raise ValueError(f"read_log: there is no stage {shown(stage)}; {suggestion(stage, names, 'stages')}")
    return "" if mission is not None and stage == names[0] else stage


# ---------------------------------------------------------------- rows in order


class _Rows(NamedTuple):
    """The log's rows in order of time. frame : what the map names, as it stands in the log. columns : where each reading stands."""

    time: np.ndarray
    frame: pd.DataFrame
    columns: dict[str, list[Column]]
    findings: list[Finding]


def _rows(raw: RawTable, table: ColumnMapTables, reset_gap: float | None) -> _Rows:
    columns = {name: columns_of(raw, name, one) for name, one in table.read.items()}
    time, found = _clock(raw, table.clock, "clock")
    second = None if table.second_clock is None else _clock(raw, table.second_clock, "second_clock")[0]
    counter = None if table.counter is None else raw.columns[heading_of(raw, table.counter.column, "counter.column")]
    if counter is not None and counter.dtype.kind != "f":
        raise ValueError(f"read_log: the packet counter {shown(table.counter.column)} holds words, not numbers; is it the right column?")
    used = list(dict.fromkeys(part.heading for parts in columns.values() for part in parts if part.heading))
    frame = pd.DataFrame({name: raw.columns[name] for name in used})
    same = frame.assign(**{"\0clock": time}, **({} if counter is None else {"\0counter": counter}))
    packets = in_order(time, same.duplicated().to_numpy(), counter, second, reset_gap)
    if counter is not None:
        packets.findings.extend(lost(counter[packets.row], packets.time, table.counter.wraps))
    if second is not None:
        packets.findings.extend(two_clocks(packets.time, second[packets.row]))
    frame = frame.iloc[packets.row].reset_index(drop=True)
    frame, first = _merged(frame, packets.time)
    packets = spread_out(packets._replace(row=packets.row[first], time=packets.time[first]))
    return _Rows(packets.time, frame, columns, found + packets.findings + gaps(packets.time, packets.step))


def _clock(raw: RawTable, clock: Clock | None, key: str) -> tuple[np.ndarray, list[Finding]]:
    if clock is None:
        raise ValueError("read_log: the column map names no clock")
    heading = heading_of(raw, clock.column, f"{key}.column")
    values = raw.columns[heading]
    if values.dtype.kind != "f" or clock.unit == "text":
        return _words_to_seconds(values.astype(str), heading), []
    unit = unit_of(heading, clock.unit if "unit" in clock.model_fields_set else "", "s")
    return unwrapped(values, float(in_si(np.array([1.0]), unit, "s")[0]))


def _words_to_seconds(words: np.ndarray, heading: str) -> np.ndarray:
    """Return times of day or dates in words as seconds."""
    cells = pd.Series(words).where(pd.Series(words).str.strip() != "", None)
    lengths = pd.to_timedelta(cells, errors="coerce")
    if lengths.notna().sum() * 2 > cells.notna().sum():
        return lengths.dt.total_seconds().to_numpy()
    dates = pd.to_datetime(cells, errors="coerce", utc=True, format="ISO8601")
    if dates.notna().sum() * 2 <= max(cells.notna().sum(), 1):
        raise ValueError(f"read_log: the clock {shown(heading)} holds neither numbers nor times; is it the right column?")
    return ((dates - dates.min()) / pd.Timedelta(seconds=1)).to_numpy()


def columns_of(raw: RawTable, name: str, one: Reading) -> list[Column]:
    """Return where a reading's parts stand."""
    key = f"read.{name}"
    found = []
    for text in [one.column] if one.column else one.columns:
        minus = text.startswith("-") and text not in raw.columns
        heading = heading_of(raw, text[1:] if minus else text, f"{key}.columns" if one.columns else f"{key}.column") if text else ""
        found.append(Column(heading, -1.0 if minus else 1.0, unit_of(heading, one.unit, si_of(name, one), PLACE_UNITS.get(name, ""))))
    return found


def unit_of(heading: str, written: str, unit: str, usual: str = "") -> str:
    """Return the unit of a column: what the map says, else its heading, else the usual one, else SI."""
    in_heading = bare_name(heading)[1]
    return spelled(written or (in_heading if in_heading and is_unit(in_heading, unit) else usual), unit)


def _merged(frame: pd.DataFrame, time: np.ndarray) -> tuple[pd.DataFrame, np.ndarray]:
    """Return rows of one time joined where each holds what the others lack, and the number of the first row of each that is left."""
    if not (np.diff(time) == 0.0).any():
        return frame, np.arange(len(time))
    blank = frame.replace("", np.nan)
    groups = blank.groupby(time, sort=True)
    if (groups.count() > 1).any().any():
        return frame, np.arange(len(time))
    return groups.first().reset_index(drop=True), np.unique(time, return_index=True)[1]


# ---------------------------------------------------------------- readings that follow from others


def _onto_axis(one: Reading, values: dict[str, np.ndarray], time: np.ndarray) -> list[Finding]:
    """Move the specific force of a sensor beside the roll axis onto it, where there are rates."""
    y, z = one.off_axis
    if y == 0.0 and z == 0.0:
        return []
    off = f"the accelerometer sits {1e3 * math.hypot(y, z):.3g} mm off the roll axis"
    if "body_rate" not in values or not np.isfinite(values["body_rate"]).all(axis=1).any():
        return [Finding("place", f"{off} and the log has no rates to tell what turning adds there", "kept", "specific_force")]
    values["specific_force"] = moved_to_axis(values["specific_force"], values["body_rate"], time, one.off_axis)
    return [Finding("place", f"{off}: what turning adds there, by the log's own rates, is taken off", "corrected", "specific_force", count=len(time))]


def with_heights(values: dict, time: np.ndarray, liftoff: float | None, table: ColumnMapTables, mission: Mission | None) -> tuple[dict, dict]:
    """Return readings with the heights and places that follow from pressure, latitude and longitude, and what they were taken about."""
    out = {name: each for name, each in values.items() if name not in PLACES}
    about: dict[str, Any] = {}
    rest = time < (time[0] + 1.0 if liftoff is None else liftoff - 0.2)
    if "pressure" in values and "height" not in values:
        ground = table.ground.pressure if table.ground.pressure is not None else _at_rest(values["pressure"], rest)
        if LIKELY[0] < ground < LIKELY[1]:
            out["height"] = heights(values["pressure"], ground, mission, table.ground)
            about |= {"ground_pressure": ground, "height_by": _air_used(mission, table)}
            if "pressure" in table.read and (error := error_of("pressure", table.read["pressure"])):
                lower = heights(values["pressure"] + error, ground, mission, table.ground)
                about["height_error"] = float(np.sqrt(np.nanmean((lower - out["height"])[~rest] ** 2)))
    if any(name in values for name in PLACES):
        lat, lon, alt = (_at_rest(np.asarray(values.get(name, np.full(len(time), np.nan))), rest) for name in PLACES)
        site = site_of(mission, table.ground, *(value if math.isfinite(value) else 0.0 for value in (lat, lon, alt)))
        own = table.ground.altitude if table.ground.altitude is not None else alt
        up = np.asarray(values["altitude"]) - own if "altitude" in values else np.zeros(len(time))
        if "altitude" in values:
            out["fix_height" if "height" in out else "height"] = up
            about["ground_altitude"] = own
        if "latitude" in values and "longitude" in values:
            out["east"], out["north"] = local_places(site, values["latitude"], values["longitude"], up)
            about |= {"rail_latitude": math.degrees(site.latitude), "rail_longitude": math.degrees(site.longitude)}
    if "attitude" in out and "tilt" not in out:
        out["tilt"] = tilt_of(out["attitude"])
    return out, about


def _air_used(mission: Mission | None, table: ColumnMapTables) -> str:
    """Return in words which air and which pressure at the ground the heights are taken from."""
    day, pressure = table.ground.temperature, table.ground.pressure
    air = "the standard atmosphere" if mission is None else "the mission's air"
    if day is not None:
        air = f"the standard atmosphere shifted to the column map's {day:.2f} K at the ground"
    return f"{air}, the ground's pressure by {'the log at rest' if pressure is None else 'the column map'}"


def _at_rest(values: np.ndarray, rest: np.ndarray) -> float:
    """Return the median of a reading at rest, or of its first ten where there is none."""
    known = values[rest & np.isfinite(values)]
    if not known.size:
        known = values[np.isfinite(values)][:10]
    return float(np.median(known)) if known.size else math.nan


def _liftoff(time: np.ndarray, values: dict[str, np.ndarray], given: float | None) -> tuple[Liftoff, list[Finding]]:
    if given is not None:
        return Liftoff(given, 0.0, "what was given"), []
    found = liftoffs(time, values)
    if not found:
        first = _at_rest(values["pressure"], np.ones(len(time), dtype=bool)) if "pressure" in values and "height" not in values else LIKELY[0] + 1.0
        hint = "" if LIKELY[0] < first < LIKELY[1] else f" (pressures of {first:.3g} Pa are none of a flight: is their unit right?)"
        raise ValueError(
            f"read_log: no liftoff is found in the log, which goes from {time[0]:.2f} s to {time[-1]:.2f} s of its clock{hint}; "
            "give its time on that clock, liftoff=..., or a log that begins at rest"
        )
    best, *others = found
    off = [(one, one.time - best.time) for one in others if abs(one.time - best.time) > 3.0 * math.hypot(best.error, one.error) + 0.3]
    texts = [f"liftoff by {one.by} comes {by:+.2f} s from that by {best.by}, which is taken" for one, by in off]
    return best, [Finding("liftoff", text, "kept", start=best.time, count=1) for text in texts]
