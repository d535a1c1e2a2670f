"""How a flight ended: the kernel's code, and the sentence a person reads."""

from __future__ import annotations

from enum import IntEnum

from sixdof.core.layout import Descent as Descent  # how a body comes down: its numbers are the kernels'
from sixdof.core.layout import Ending


class Status(IntEnum):
    """How a flight ended; `sentence` says it in words."""

    LANDED = Ending.LANDED
    NO_LIFTOFF = Ending.NO_LIFTOFF
    DIVERGED = Ending.DIVERGED
    OUT_OF_TIME = Ending.OUT_OF_TIME
    ABOVE_AIR = Ending.ABOVE_AIR
    LAW_FAILED = Ending.LAW_FAILED
    LAW_NONSENSE = Ending.LAW_NONSENSE

    @property
    def sentence(self) -> str:
        """Return what happened, in one sentence."""
        return _SENTENCES[self]

    @property
    def by_law(self) -> bool:
        """Return whether a custom law ended it: `laws.Laws.report` then knows which, when and why."""
        return self in (Status.LAW_FAILED, Status.LAW_NONSENSE)


UNREACHED = -1  # status of a body that never came to be
_SENTENCES = {
    Status.LANDED: "The vehicle came back to the ground.",
    Status.NO_LIFTOFF: "The vehicle never left the rail: thrust did not carry it past its weight, or not for long enough.",
    Status.DIVERGED: "The motion grew without bound and the flight was stopped; look for gains or fins that drive it unstable.",
    Status.OUT_OF_TIME: "The flight was still going at solver.time_limit and was given up; raise that limit if it should go on.",
    Status.ABOVE_AIR: "The vehicle left the top of the air tables, 40 km above the ground, where this model ends.",
    Status.LAW_FAILED: "A custom guidance or control law reported an error, and the flight was stopped there.",
    Status.LAW_NONSENSE: "A custom guidance or control law wrote what no flight can use (no finite number, no unit quaternion, beyond its arrays), "
    "and the flight was stopped there; fly it alone to be told which, when and what.",
}


class FlightError(RuntimeError):
    """A flight whose numbers mean nothing. `dataset` holds what was logged before."""

    def __init__(self, message: str, dataset=None):
        super().__init__(message)
        self.dataset = dataset
