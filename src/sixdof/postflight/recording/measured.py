"""What packets measured, as variables along them under the timeline's names."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from sixdof.mission.tables import Site
from sixdof.postflight.logs.checks.finding import counted
from sixdof.postflight.logs.columns.names import KNOWN, SI_NAMES
from sixdof.postflight.logs.places import local_places
from sixdof.postflight.recording.mapped import by_map, rows_of_text
from sixdof.postflight.recording.packet import SENT, SEQUENCE, Packet, checked

DIMS = {3: "axis", 4: "quaternion"}
RESERVED = ("packet", "received", "session", "run", "repeated", "late", "latency", "lost", "finding", "bursts", "sent", "sequence")
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
        made = {name: _variable(name, [row.get(name) for row in rows]) for name in names}
        variables = {name: one for name, one in made.items() if one is not None}
    for name in [name for name in variables if name in RESERVED or name.startswith(OWN)]:
        findings.append(f"packets hold {name}, which is a name of the recording itself; it is left out")
        del variables[name]
    return Measured(variables | _on_the_ground(variables, site), sent, sequence, findings)


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


def _variable(name: str, column: list[Any]) -> tuple | None:
    """Return one variable; None for one that holds words alone."""
    lists = [len(value) for value in column if isinstance(value, list)]
    known = KNOWN.get(name)
    attributes = {"units": SI_NAMES.get(known.unit, known.unit), "long_name": known.long_name} if known else {"units": "as sent", "long_name": name}
    if not lists:
        values = np.array([_scalar(value) for value in column])
        return ("packet", values, attributes) if np.isfinite(values).any() else None
    width = max(lists)
    table = np.full((len(column), width), np.nan)
    for k, value in enumerate(column):
        if isinstance(value, list):
            table[k, : len(value)] = [_scalar(one) for one in value]
    dim = known.dims[-1] if known is not None and len(known.dims) == 2 else DIMS.get(width, f"{name}_part")
    expected = {"axis": 3, "quaternion": 4}.get(dim, width)
    if width != expected:
        dim = f"{name}_part"
    return ("packet", dim), table, attributes
