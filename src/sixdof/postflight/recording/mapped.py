"""Packets of other names or units, and rows of raw text: a column map turns them into the timeline's names, as it does the columns of a log."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from sixdof.mission.tables import Site
from sixdof.mission.units import shown
from sixdof.postflight.logs.columns.mapping import tables_of
from sixdof.postflight.logs.columns.names import KNOWN, SI_NAMES
from sixdof.postflight.logs.columns.table_file import RawTable, heading_of, raw_table
from sixdof.postflight.logs.columns.tables import ColumnMapTables, Ground
from sixdof.postflight.logs.columns.units import in_si
from sixdof.postflight.logs.read_log import columns_of, unit_of, with_heights
from sixdof.postflight.logs.readings import attributes_of, made
from sixdof.postflight.recording.packet import Packet

MARKS = (",", ";", "\t")


def table_of(rows: Sequence[Mapping[str, Any]]) -> dict[str, np.ndarray]:
    """Return packets as columns of a log, a row each: numbers or text, NaN or "" where a packet lacks one; of a list a column for each part, "name.1" ..."""
    flat = [_flat(row) for row in rows]
    names = list(dict.fromkeys(name for row in flat for name in row))
    words = {name: any(isinstance(row.get(name), str) for row in flat) for name in names}
    return {name: np.array([row.get(name, "" if words[name] else math.nan) for row in flat], dtype=object if words[name] else float) for name in names}


def _flat(row: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in row.items():
        found |= {f"{name}.{k + 1}": one for k, one in enumerate(value)} if isinstance(value, list) else {name: value}
    return found


def rows_of_text(packets: Sequence[Packet], names: Sequence[str] | None) -> tuple[list[dict[str, Any]], int]:
    """Return the cells of each packet of raw text by the name of their column, and how many have another number of cells.

    names : of the columns; None: the first packet holds them, as a file of rows begins.
    """
    texts = [packet.payload.strip() if isinstance(packet.payload, str) else "" for packet in packets]
    first = next((text for text in texts if text), "")
    mark = next((one for one in MARKS if one in first), None)
    headings = [cell.strip() for cell in first.split(mark)] if names is None else list(names)
    rows: list[dict[str, Any]] = []
    strange = 0
    for packet, text in zip(packets, texts):
        cells = [cell.strip() for cell in text.split(mark)]
        if isinstance(packet.payload, dict):
            rows.append(dict(packet.payload))
        elif not text or cells == headings:
            rows.append({})
        elif len(cells) != len(headings):
            rows.append({})
            strange += 1
        else:
            rows.append({name: _cell(cell) for name, cell in zip(headings, cells)})
    return rows, strange


def _cell(text: str) -> float | str:
    try:
        return float(text) if text else math.nan
    except ValueError:
        return text


def by_map(rows: Sequence[Mapping[str, Any]], columns: Any, site: Site | None) -> tuple[dict[str, tuple], np.ndarray, np.ndarray, list[str]]:
    """Return what a column map makes of packets: variables along packet, the sender's clock (s) and the packet number (packets,), and findings.

    Heights follow from pressures by the standard atmosphere, places from latitude and longitude about the site, or the first fixes where it is not known.

    Raises ValueError and MissionError in one sentence for a map that does not fit the packets.
    """
    raw, table = raw_table(table_of(rows), "read_recording"), tables_of(columns, "read_recording")
    if site is not None:
        given = {"latitude": site.latitude, "longitude": site.longitude, "altitude": site.altitude} | table.ground.model_dump(exclude_none=True)
        table = table.model_copy(update={"ground": Ground(**given)})
    places = {name: columns_of(raw, name, one) for name, one in table.read.items()}
    used = list(dict.fromkeys(part.heading for parts in places.values() for part in parts if part.heading))
    sent = _clock(raw, table)
    time = np.where(np.isfinite(sent), sent, 0.0)
    found = made(table, places, pd.DataFrame({name: raw.columns[name] for name in used}), time)
    values, _ = with_heights(found.values, time, None, table, None)
    sequence = np.full(sent.size, np.nan) if table.counter is None else _numbers(raw, table.counter.column, "counter.column")
    return {name: _variable(name, each, table) for name, each in values.items() if name in KNOWN}, sent, sequence, [one.text for one in found.findings]


def _clock(raw: RawTable, table: ColumnMapTables) -> np.ndarray:
    """Return the sender's clock, s; of a time in words NaN: what it is counted from is not known while packets come."""
    if table.clock is None or table.clock.unit == "text":
        return np.full(raw.rows, np.nan)
    values = _numbers(raw, table.clock.column, "clock.column")
    unit = unit_of(heading_of(raw, table.clock.column, "clock.column"), table.clock.unit if "unit" in table.clock.model_fields_set else "", "s")
    return in_si(values, unit, "s")


def _numbers(raw: RawTable, column: str, key: str) -> np.ndarray:
    values = raw.columns[heading_of(raw, column, key)]
    if values.dtype.kind != "f":
        raise ValueError(f"read_recording: {key}: the column {shown(column)} holds words, not numbers; is it the right one?")
    return values


def _variable(name: str, values: np.ndarray, table: ColumnMapTables) -> tuple:
    known = KNOWN[name]
    attributes = {"units": SI_NAMES.get(known.unit, known.unit), "long_name": known.long_name}
    return ("packet", *known.dims[1:]), values, attributes | (attributes_of(name, table.read[name]) if name in table.read else {})
