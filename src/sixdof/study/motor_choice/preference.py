"""What the builder prefers among motors that meet all criteria, in words: "most apogee_height", "least price then least landing distance".

wish [then wish ...]      a later one decides where an earlier one is equal
wish = most WHAT | least WHAT
WHAT   an outcome as criteria name it, by its median ("apogee_height", "tilt at separation drayhorse", "landing_ground_speed of drayhorse");
       "landing distance" or "landing distance of drayhorse", from the rail; a free column of numbers ("price"); a number of the motor
       ("total_impulse", "loaded_mass")
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from sixdof.mission.errors import printable, suggestion
from sixdof.mission.units import shown
from sixdof.study.variants.subjects import Subject, subject

EQUAL = 1e-9  # relative: two motors are as good as each other
_WISH = re.compile(r"(?P<way>most|least)\s+(?P<what>.+)")
_HOW = 'write, for example, "most apogee_height" or "least price then least landing distance"'


@dataclass(frozen=True)
class Wish:
    """One wish. sign : 1 for most, -1 for least. subject : the outcome whose median counts, None for a number of the motor."""

    sign: int
    what: str
    subject: Subject | None = None

    def __str__(self) -> str:
        return f"{'most' if self.sign > 0 else 'least'} {self.what}"


def wishes_of(text: str | None, numbers: Sequence[str], texts: Collection[str] = ()) -> list[Wish]:
    """Return the wishes of a preference, [] for none. numbers : names of what is known of motors. texts : of columns that are no numbers.

    Raises ValueError, in one sentence that quotes the text, for anything else.
    """
    if text is None:
        return []
    if not isinstance(text, str):
        raise ValueError(f"choose_motor: prefer must be text, not {shown(text)}; {_HOW}")
    return [_wish(part.strip(), numbers, texts) for part in re.split(r"\bthen\b", " ".join(text.split()))]


def _wish(text: str, numbers: Sequence[str], texts: Collection[str]) -> Wish:
    found = _WISH.fullmatch(text)
    if found is None:
        raise ValueError(printable(f'choose_motor: prefer "{text}" begins with neither most nor least; {_HOW}'))
    sign, what = 1 if found["way"] == "most" else -1, found["what"]
    if what in numbers:
        return Wish(sign, what)
    if what in texts:
        raise ValueError(printable(f'choose_motor: prefer "{text}": "{what}" is text for some motor, and a preference needs numbers; write 48, not "48 EUR"'))
    try:
        of = subject(re.sub(r"^landing distance\b", "landing", what))
    except ValueError as error:
        near = suggestion(what, list(numbers), "or a number of the motors, which are")
        raise ValueError(printable(f'choose_motor: prefer "{text}": {error}; {near}')) from None
    if of.variable.flags:
        raise ValueError(f'choose_motor: prefer "{text}": {of} is a flag, and a preference needs a number; {_HOW}')
    return Wish(sign, what, of)


def ranked(values: np.ndarray, wishes: Sequence[Wish]) -> list[int]:
    """Return the numbers of motors, the most preferred first. values : (motors, wishes); what has no value comes last.

    Motors as good as each other keep their order.
    """
    order = list(range(len(values)))
    for k in reversed(range(len(wishes))):
        scores = wishes[k].sign * values[:, k]
        order.sort(key=lambda i: _step(-scores[i]))
    return order


def _step(score: float) -> float:
    """Return a score in which rounding makes no difference, infinite for none."""
    return float(f"{score:.9g}") if np.isfinite(score) else np.inf
