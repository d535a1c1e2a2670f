"""What packets measured, as variables along them under the timeline's names."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from sixdof.mission.tables import Site
from sixdof.postflight.recording.packet import SENT, SEQUENCE, Malformed, Packet, checked
from sixdof.results.registry import REGISTRY

DIMS = {3: "axis", 4: "quaternion"}
RESERVED = ("packet", "received", "session", "run", "repeated", "late", "latency", "lost", "finding", "bursts")


class Measured(NamedTuple):
    """variables : name -> (dims, values, attributes) along packet. sent, sequence : (packets,), NaN where not said. findings : sentences."""

    variables: dict[str, tuple]
    sent: np.ndarray
    sequence: np.ndarray
    findings: list[str]


def measured(packets: Sequence[Packet], about: Mapping[str, Any], site: Site | None, decode: Callable[[Any], Mapping[str, Any]] | None) -> Measured:
    """Return what packets measured; `about` may hold a column map and the names of raw columns."""
    rows, strange = rows_of(packets, about.get("names"), decode)
    findings = [f"{strange} packets could not be decoded: they count as come, and measure nothing"] if strange else []
    raw = sum(1 for packet, row in zip(packets, rows) if not row and not isinstance(packet.payload, dict)) - strange
    if raw > 0 and decode is None:
        findings.append(f"{raw} packets are raw text or bytes, and nothing says how to read them: give columns and names, or decode")
    sent, sequence = (np.array([_scalar(row.get(name)) for row in rows]) for name in (SENT, SEQUENCE))
    variables = {}
    for name in dict.fromkeys(name for row in rows for name in row if name not in (SENT, SEQUENCE)):
        if name in RESERVED or name.startswith(("silence_", "session_", "clock_", "sync_", "burst_", "loss_")):
            findings.append(f"packets hold {name}, which is a name of the recording itself; it is left out")
            continue
        made = _variable(name, [row.get(name) for row in rows])
        if made is not None:
            variables[name] = made
    return Measured(variables, sent, sequence, findings)


def rows_of(packets: Sequence[Packet], names: Sequence[str] | None, decode: Callable[[Any], Mapping[str, Any]] | None) -> tuple[list[dict[str, Any]], int]:
    """Return the mapping of every packet, empty where it has none, and how many could not be decoded."""
    rows: list[dict[str, Any]] = []
    strange = 0
    for packet in packets:
        try:
            rows.append(checked(decode(packet.payload)) if decode is not None else packet.payload if isinstance(packet.payload, dict) else {})
        except (ValueError, Malformed):
            rows.append({})
            strange += 1
    return rows, strange


def _scalar(value: Any) -> float:
    return float(value) if isinstance(value, (int, float)) else math.nan


def _variable(name: str, column: list[Any]) -> tuple | None:
    """Return one variable; None for one that holds words alone."""
    lists = [len(value) for value in column if isinstance(value, list)]
    known = REGISTRY.get(name)
    attributes = {"units": known.units, "long_name": known.long_name} if known is not None else {"units": "as sent", "long_name": name.replace("_", " ")}
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
