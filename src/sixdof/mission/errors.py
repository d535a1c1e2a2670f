"""Faults of a mission: what is wrong, where, and what would be right; one sentence each."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pydantic_core import PydanticCustomError

from sixdof.mission.place import key_of, place_of


@dataclass(frozen=True)
class Problem:
    """A finding of one check. `loc` is the path of keys and indices from the table the check was given."""

    loc: tuple
    value: object
    message: str
    hint: str = ""

    def at(self, root) -> Fault:
        """Return the fault of this problem found in `root` (a mission, a table of it, or the raw dictionary)."""
        return Fault("", key_of(self.loc), self.value, self.message, self.hint, place_of(root, self.loc))


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a mission.

    file : the mission or CSV file ("" for a mission built in Python). key : dotted path as the user wrote it, such as
    `stage[0].part[3].root_chord`. place : the same in words, naming parts by their kind and name.
    """

    file: str
    key: str
    value: object
    message: str
    hint: str = ""
    place: str = ""

    def __str__(self) -> str:
        where = ": ".join(text for text in (self.file, self.place or self.key) if text)
        what = f"{self.message}; {self.hint}" if self.hint else self.message
        return f"{where}: {what}" if where else what


class MissionError(ValueError):
    """A mission that cannot be flown. `faults` holds every fault found; the text lists them, one a line."""

    def __init__(self, faults: Iterable[Fault]):
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self):
        return type(self), (self.faults,)


def nearest(word: object, options: Iterable[str]) -> str | None:
    """Return the option spelled most like `word`, or None if none is near."""
    known = {option.lower(): option for option in options}
    found = difflib.get_close_matches(str(word).lower(), known, n=1, cutoff=0.6)
    return known[found[0]] if found else None


def suggestion(word: object, options: Sequence[str], what: str) -> str:
    """Return the hint for an unknown `word`: the nearest option, or all of them (`what` names them, plural)."""
    near = nearest(word, options)
    if near is not None:
        return f'did you mean "{near}"?'
    return f"{what}: {', '.join(options)}" if options else f"there are no {what}"


def raise_problems(problems: Iterable[Problem], root) -> None:
    """Raise all `problems` of `root` as one error that pydantic collects; do nothing if there is none."""
    found = tuple(problems)
    if found:
        text = "\n".join(str(problem.at(root)) for problem in found)
        raise PydanticCustomError("problems", "{text}", {"text": text, "problems": found})
