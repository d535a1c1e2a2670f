"""The base of every table of the mission file."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, model_validator

from sixdof.mission.errors import raise_problems


class Table(BaseModel):
    """A table of the mission file: frozen, and a key it does not know is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=False)

    @model_validator(mode="after")
    def _check_own(self):
        from sixdof.mission.checks import within as table_checks  # noqa: F401  they import this module, and register
        from sixdof.mission.checks.register import problems_in

        raise_problems(problems_in(self), self)
        return self
