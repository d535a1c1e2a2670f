"""What happens to stations when the body of a stage gets longer or shorter: parts keep theirs, or move along."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from sixdof.mission.errors import warn
from sixdof.mission.units import QuantityError, parse

BODIES = ("nose", "tube", "transition")
ROUNDING = 1e-9  # m


class Stretch(NamedTuple):
    """A stage's body that is `by` m longer (negative: shorter) from now on: what had its middle at `start` or behind it moves, or should.

    what : the change in words, for sentences.
    """

    stage: int
    start: float
    by: float
    what: str


def lengths(parts: list[dict]) -> list[float]:
    """Return the length (m) of each part that makes the body longer, 0 of all others, and of one whose length cannot be read."""
    return [metres(part.get("length")) if part.get("kind") in BODIES else 0.0 for part in parts]


def metres(value: Any) -> float:
    """Return a length in m as it stands in a file, 0 for one that cannot be read."""
    try:
        return parse(value, "m")
    except QuantityError:
        return 0.0  # a fault that the mission's checks will name


def stretches(before: list[dict], after: list[dict]) -> Iterator[Stretch]:
    """Yield the bodies of `after`, tables of stages with the same parts as `before`, whose length is another.

    What has its middle in the fore half of a body keeps its distance to the body's fore end; what has it in the aft half, or behind, to the aft end.
    """
    for i, (old, new) in enumerate(zip(before, after)):
        if [part.get("kind") for part in old["part"]] != [_kind(part) for part in new["part"]]:
            continue
        fore = 0.0
        for was, now, part in zip(lengths(old["part"]), lengths(new["part"]), old["part"]):
            if abs(now - was) > ROUNDING:
                longer = f"{abs(now - was):g} m {'longer' if now > was else 'shorter'}"
                yield Stretch(i, fore + 0.5 * was, now - was, f"{called(part)} is {longer}")
            fore += was


def _half(part: dict) -> float:
    """Return half the length (m) of what stands in a body by its fore end: a motor that ends at the tail belongs there, however long it is."""
    return 0.5 * metres(part.get("length")) if part.get("kind") not in (*BODIES, "mass") else 0.0  # the station of a mass is its middle


def _kind(part: Any) -> Any:
    return part.get("kind") if isinstance(part, dict) else None


def called(part: dict) -> str:
    """Return a part in words."""
    return f'the {part.get("kind")} "{part["name"]}"' if part.get("name") else f"the {part.get('kind')}"


def move(data: dict, before: list[dict], found: list[Stretch], shift: bool | None, who: str) -> None:
    """Move what stands behind the stretches along (shift True), or leave it (False), or leave it with a warning (None).

    data : the mission's tables, changed in place. before : its stages as they were, with the same parts; a station that is another in
    `data` was written by the caller, and stays.
    """
    left: dict[str, list[str]] = {}
    for stretch in found:
        old, new = before[stretch.stage], data["stage"][stretch.stage]
        places = [(part, "station", was.get("station"), _half(was), called(part)) for part, was in zip(new["part"], old["part"])]
        own = {part.get("name") for part in new["part"] if part.get("kind") == "parachute"}
        harnesses = [harness for harness in data.get("harness") or () if isinstance(harness, dict) and harness.get("canopy") in own]
        places += [(harness, "separation_station", harness.get("separation_station"), 0.0, f'the harness of "{harness["canopy"]}"') for harness in harnesses]
        for table, key, was, half, name in places:
            if not isinstance(was, float) or not isinstance(table.get(key), float) or was + half < stretch.start - ROUNDING:
                continue
            if shift:
                table[key] += stretch.by
            elif table[key] == was:
                left.setdefault(stretch.what, []).append(name)
    if shift is None:
        for what, names in left.items():
            listed = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
            warn(f"{who}: {what}, and what stands behind keeps its station: {listed}; shift=True moves it along, shift=False is silent")
