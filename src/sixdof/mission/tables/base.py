"""The base of every table of the mission file, and the register of the checks within one table."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, model_validator

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


def key(meaning: str, example: Any = None, *, default: Any = ..., factory: Callable[[], Any] | None = None, **limits: Any) -> Any:
    """Return the field of a key: what it means, in one line, and an example as it stands in a file (none where the key holds tables).

    default, factory : as in pydantic's Field; a key without either is needed. limits : further arguments of Field.
    """
    filled = {"default": default} if factory is None else {"default_factory": factory}
    return Field(description=meaning, examples=None if example is None else [example], **filled, **limits)


class Table(BaseModel):
    """A table of the mission file: frozen, and a key it does not know is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=False, defer_build=True)

    def __setattr__(self, name: str, value: Any) -> None:
        """Refuse to be changed in place, and say how a changed mission is made."""
        raise AttributeError(f'{type(self).__name__}.{name} cannot be set: a mission is frozen; mission.change({{"path.to.{name}": ...}}) makes a new one')

    @model_validator(mode="after")
    def _check_own(self):
        raise_problems(problems_in(self), self)
        return self
