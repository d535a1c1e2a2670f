"""What a file of a recording holds: its packets, its sessions, what sources dropped and what is damaged."""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

from sixdof.postflight.recording.lines import Damage
from sixdof.postflight.recording.packet import LATEST, Packet
from sixdof.postflight.recording.replaying import packet_in, pieces

MOST_EXAMPLES = 5  # malformed packets kept


class Session(NamedTuple):
    """One run of a recorder. began, closed : receiver's clock, s; closed is None where it was killed. packets : recorded. cut : bytes cut as it began.

    sync_mean, sync_worst : what it took to have packets safe, s; None where it was killed.
    """

    began: float
    closed: float | None
    packets: int
    cut: int
    sync_mean: float | None
    sync_worst: float | None


class Held(NamedTuple):
    """All that a file holds. session : of each packet. about : what the recording says of itself (site, columns, names, title), the last word of each."""

    packets: list[Packet]
    session: list[int]
    sessions: list[Session]
    about: dict[str, Any]
    dropped: dict[str, int]
    examples: list[str]
    damage: list[Damage]
    strange: int


def held_in(path: Path, who: str) -> Held:
    """Return what a file holds. Raises ValueError for a file that is no recording."""
    found = Held([], [], [], {}, {}, [], [], 0)
    strange = 0
    for piece in pieces(path, who):
        if isinstance(piece, Damage):
            found.damage.append(piece)
            continue
        record = piece.record
        packet = packet_in(record)
        if packet is not None:
            found.packets.append(packet)
            found.session.append(max(len(found.sessions) - 1, 0))
        else:
            strange += not _noted_safely(found, record)
    if not found.sessions:  # its first record is damaged
        found.sessions.append(Session(found.packets[0].received if found.packets else 0.0, None, 0, 0, None, None))
    counts = [found.session.count(k) for k in range(len(found.sessions))]
    sessions = [one._replace(packets=count) for one, count in zip(found.sessions, counts)]
    return found._replace(sessions=sessions, strange=strange)


def _noted_safely(found: Held, record: dict[str, Any]) -> bool:
    """Do as `_noted`, and tell of a record with other values than a recorder writes that it is not known."""
    try:
        return _noted(found, record)
    except (KeyError, TypeError, ValueError, AttributeError):
        return False


def _noted(found: Held, record: dict[str, Any]) -> bool:
    """Take in a record that is no packet; tell whether it is known."""
    if "session" in record:
        found.sessions.append(Session(_time(record["began"]), None, 0, int(record.get("cut", 0)), None, None))
        kinds = {"site": dict, "columns": dict, "names": list, "title": str}
        found.about.update({name: record[name] for name, kind in kinds.items() if isinstance(record.get(name), kind)})
    elif "closed" in record and found.sessions:
        found.sessions[-1] = found.sessions[-1]._replace(
            closed=_time(record["closed"]), sync_mean=_number(record, "sync_mean"), sync_worst=_number(record, "sync_worst")
        )
    elif isinstance(record.get("dropped"), dict):
        for reason, count in record["dropped"].items():
            found.dropped[reason] = found.dropped.get(reason, 0) + int(count)
        found.examples.extend(map(str, record.get("examples", [])[: MOST_EXAMPLES - len(found.examples)]))
    else:
        return False
    return True


def _time(value: Any) -> float:
    """Return a receiver's time. Raises ValueError for anything else."""
    if not 0.0 <= float(value) <= LATEST:
        raise ValueError("no time of a receiver")
    return float(value)


def _number(record: dict[str, Any], name: str) -> float | None:
    return None if record.get(name) is None else float(record[name])
