"""The base of every table of the mission file, and the register of the checks within one table."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from pydantic import BaseModel, ConfigDict, model_validator

from sixdof.mission.errors import Problem, raise_problems

_CHECKS: dict[type, Callable[..., Iterator[Problem]]] = {}  # filled by the modules of `mission/checks`, which `sixdof.mission` loads


def check_of(kind: type[Table]):
    """Register a generator of problems as the check of a kind of table."""

    def register(function):
        _CHECKS[kind] = function
        return function

    return register


def problems_in(table: Table) -> Iterator[Problem]:
    """Yield what is wrong within `table`; the problems' paths start from it."""
    for kind in type(table).__mro__:
        if kind in _CHECKS:
            yield from _CHECKS[kind](table)


class Table(BaseModel):
    """A table of the mission file: frozen, and a key it does not know is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=False)

    @model_validator(mode="after")
    def _check_own(self):
        raise_problems(problems_in(self), self)
        return self
