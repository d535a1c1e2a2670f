"""Faults of a mission: what is wrong, where, and what would be right; one sentence each."""

from __future__ import annotations

import difflib
import re
import sys
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pydantic_core import PydanticCustomError

from sixdof.mission.place import brief, key_of, place_of

_LONG_WORD = re.compile(r"\S{80,}")  # no number and no name anybody reads
MOST_OPTIONS = 200  # characters of a list of what would be right


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
        what = f"{self.message}; {self.hint}" if self.hint else self.message
        where = self.place or self.key
        said = _LONG_WORD.sub(lambda word: brief(word[0]), f"{where}: {what}" if where else what)
        return printable(f"{self.file}: {said}" if self.file else said)


def warn(text: str, category: type[Warning] = UserWarning) -> None:
    """Warn at the line outside of this package that the call came from, however many calls lie between."""
    package, level, frame = __name__.partition(".")[0], 1, sys._getframe(0)
    while frame is not None and str(frame.f_globals.get("__name__", "")).partition(".")[0] == package:
        frame, level = frame.f_back, level + 1
    warnings.warn(text, category, stacklevel=level)


def printable(text: str) -> str:
    """Return `text` on one line that shows on any screen: what a key or a name holds of line ends and the like is escaped."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


class MissionError(ValueError):
    """A mission that cannot be flown. `faults` holds every fault found; the text lists them, one a line."""

    def __init__(self, faults: Iterable[Fault]):
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self):
        return type(self), (self.faults,)


def nearest_word(word: object, options: Iterable[str]) -> str | None:
    """Return the option spelled most like `word`, or None if none is near."""
    known = {option.lower(): option for option in options}
    found = difflib.get_close_matches(str(word).lower(), known, n=1, cutoff=0.6)
    return known[found[0]] if found else None


def suggestion(word: object, options: Sequence[str], what: str) -> str:
    """Return the hint for an unknown `word`: the nearest option, or all of them (`what` names them, plural).

    Of very many options those of the same table ("motor." of "motor.x") are told, and how many more there are.
    """
    near = nearest_word(word, options)
    if near is not None:
        return f'did you mean "{brief(near)}"?'
    if not options:
        return f"there are no {what}"
    names = [brief(option) for option in options]
    if len(", ".join(names)) > MOST_OPTIONS:
        alike = [name for name in names if "." in name and name.partition(".")[0] == str(word).partition(".")[0]]
        names = alike or names
        while len(", ".join(names)) > MOST_OPTIONS:
            names.pop()
    more = len(options) - len(names)
    return f"{what}: {', '.join(names)}{f' and {more} more' if more else ''}"


def raise_problems(problems: Iterable[Problem], root) -> None:
    """Raise all `problems` of `root` as one error that pydantic collects; do nothing if there are none."""
    found = tuple(problems)
    if found:
        text = "\n".join(str(problem.at(root)) for problem in found)
        raise PydanticCustomError("problems", "{text}", {"text": text, "problems": found})
