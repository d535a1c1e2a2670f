"""The register of checks within one table, and what many of them say.

`problems_in(table)` is called by every table after its own values have been parsed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from sixdof.mission.errors import Problem
from sixdof.mission.files import curves

_CHECKS: dict[type, Callable[..., Iterator[Problem]]] = {}


def check_of(kind: type):
    """Register a generator of problems as the check of a kind of table."""

    def register(function):
        _CHECKS[kind] = function
        return function

    return register


def problems_in(table) -> Iterator[Problem]:
    """Yield what is wrong within `table`; the problems' paths start from it."""
    for kind in type(table).__mro__:
        if kind in _CHECKS:
            yield from _CHECKS[kind](table)


def missing(table, keys, why: str) -> Iterator[Problem]:
    """Yield a problem for each of `keys` left out although `why` needs it."""
    for key in keys:
        if getattr(table, key) in (None, (), ""):
            yield Problem((key,), None, "missing", f"{why} needs {', '.join(keys)}")


def unused(table, keys, why: str) -> Iterator[Problem]:
    """Yield a problem for each of `keys` given although `why` does not use it."""
    for key in keys:
        value = getattr(table, key)
        if value != type(table).model_fields[key].get_default(call_default_factory=True):
            yield Problem((key,), value, f"{why} does not use it", "remove it")


def problem_of(flaw: curves.Flaw) -> Problem:
    """Return the problem of a flaw in a curve whose columns are keys of the table."""
    loc = tuple(step for step in (flaw.column, flaw.row) if step is not None)
    return Problem(loc, None, flaw.message, flaw.hint)
