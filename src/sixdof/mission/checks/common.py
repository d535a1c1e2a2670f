"""What many checks of a single table say."""

from __future__ import annotations

from collections.abc import Iterator

from sixdof.mission.errors import Problem
from sixdof.mission.files import curves


def missing(table, keys, why: str) -> Iterator[Problem]:
    """Yield a problem for each of `keys` that is omitted although `why` needs it."""
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
