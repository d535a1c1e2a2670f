"""What packets measured, as variables along them under the timeline's names."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from sixdof.mission.tables import Site
from sixdof.mission.units import shown
from sixdof.postflight.logs.checks.finding import counted
from sixdof.postflight.logs.columns.names import FINS, KNOWN, SI_NAMES
from sixdof.postflight.logs.places import local_places
from sixdof.postflight.recording.mapped import by_map, rows_of_text
from sixdof.postflight.recording.packet import SENT, SEQUENCE, Packet, checked

DIMS = {3: "axis", 4: "quaternion"}
RESERVED = (
    "packet",
    "received",
    "session",
    "run",
    "repeated",
    "late",
    "latency",
    "lost",
    "finding",
    "bursts",
    "sent",
    "sequence",
    "axis",
    "quaternion",
    "fin",
    "silence",
    "clock",
    "recorder_session",
)
OWN = ("silence_", "session_", "clock_", "sync_", "burst_", "loss_")  # what names of the recording itself begin with


class Measured(NamedTuple):
    """variables : name -> (dims, values, attributes) along packet. sent, sequence : (packets,), NaN where not said. findings : sentences."""

    variables: dict[str, tuple]
    sent: np.ndarray
    sequence: np.ndarray
    findings: list[str]


def measured(packets: Sequence[Packet], about: Mapping[str, Any], site: Site | None, decode: Callable[[Any], Mapping[str, Any]] | None) -> Measured:
    """Return what packets measured; `about` may hold a column map and the names of raw columns."""
    rows, findings = _rows(packets, about, decode)
    if decode is None and "columns" in about:
        variables, sent, sequence, more = by_map(rows, about["columns"], site)
        findings += more
    else:
        sent, sequence = (np.array([_scalar(row.get(name)) for row in rows]) for name in (SENT, SEQUENCE))
        names = dict.fromkeys(name for row in rows for name in row if name not in (SENT, SEQUENCE))
        made = {name: _variable(name, [row.get(name) for row in rows], findings) for name in names if _usable(name)}
        variables = {name: one for name, one in made.items() if one is not None}
        findings += [
            f"packets hold {shown(name)}, which is a name of the recording itself or none that a file can hold; it is left out"
            for name in names
            if not _usable(name)
        ]
    return Measured(variables | _on_the_ground(variables, site), sent, sequence, findings)


def _usable(name: str) -> bool:
    """Tell whether a name can be that of a variable: none of the recording's own, and no path of a netCDF file."""
    return name.isprintable() and "/" not in name and name not in RESERVED and not name.startswith(OWN) and not name.endswith("_part")


def _rows(packets: Sequence[Packet], about: Mapping[str, Any], decode: Callable[[Any], Mapping[str, Any]] | None) -> tuple[list[dict[str, Any]], list[str]]:
    """Return the mapping of every packet, empty where it has none, and sentences about those."""
    if decode is not None:
        rows, strange = _decoded(packets, decode)
        return rows, [f"{counted(strange, 'packet')} could not be decoded: counted as come, and measuring nothing"] if strange else []
    if "names" in about or ("columns" in about and any(isinstance(packet.payload, str) for packet in packets)):
        rows, strange = rows_of_text(packets, about.get("names"))
        return rows, [
            f"{counted(strange, 'row')} of raw text of another number of cells than there are columns: counted as come, and measuring nothing"
        ] if strange else []
    rows = [packet.payload if isinstance(packet.payload, dict) else {} for packet in packets]
    raw = sum(not isinstance(packet.payload, dict) for packet in packets)
    return rows, [f"{counted(raw, 'packet')} of raw text or bytes, and nothing says how to read such: give columns and names, or decode"] if raw else []


def _decoded(packets: Sequence[Packet], decode: Callable[[Any], Mapping[str, Any]]) -> tuple[list[dict[str, Any]], int]:
    rows: list[dict[str, Any]] = []
    strange = 0
    for packet in packets:
        try:
            rows.append(checked(decode(packet.payload)))
        except ValueError:
            rows.append({})
            strange += 1
    return rows, strange


def _on_the_ground(variables: Mapping[str, tuple], site: Site | None) -> dict[str, tuple]:
    """Return east and north of packets that say latitude and longitude (rad) alone, where the site is known."""
    if site is None or "east" in variables or not {"latitude", "longitude"} <= set(variables):
        return {}
    latitude, longitude = variables["latitude"][1], variables["longitude"][1]
    east, north = local_places(site, latitude, longitude, variables["height"][1] if "height" in variables else np.zeros(latitude.size))
    return {name: ("packet", values, {"units": "m", "long_name": KNOWN[name].long_name}) for name, values in (("east", east), ("north", north))}


def _scalar(value: Any) -> float:
    return float(value) if isinstance(value, (int, float)) else math.nan


def _variable(name: str, column: list[Any], findings: list[str]) -> tuple | None:
    """Return one variable; None for one that holds no number. What has another shape than the timeline's is not measured, which is said."""
    known = KNOWN.get(name)
    widths = {len(value) for value in column if isinstance(value, list)}
    parts = max(widths, default=0) if known is None or name in FINS else 0 if known.parts == 1 else known.parts
    strange = sum(value is not None and not _fits(value, parts, known is not None and name not in FINS) for value in column)
    if strange:
        wanted = f"{parts} numbers" if parts else "one number"
        findings.append(f"{counted(strange, 'packet')} with {shown(name)} that is not {wanted}: left out there")
    table = np.full((len(column), max(parts, 1)), np.nan)
    for k, value in enumerate(column):
        if _fits(value, parts, known is not None and name not in FINS):
            numbers = value if isinstance(value, list) else [value]
            table[k, : len(numbers)] = [_scalar(one) for one in numbers]
    if not np.isfinite(table).any():
        return None
    attributes = {"units": SI_NAMES.get(known.unit, known.unit), "long_name": known.long_name} if known else {"units": "as sent", "long_name": name}
    if not parts:
        return "packet", table[:, 0], attributes
    return ("packet", known.dims[-1] if known is not None else DIMS.get(parts, f"{name}_part")), table, attributes


def _fits(value: Any, parts: int, exactly: bool) -> bool:
    """Tell whether a value has so many parts (0: a number, or a word, which is none), or at most so many."""
    if isinstance(value, list):
        return len(value) == parts if exactly else len(value) <= parts
    return value is not None and parts == 0
