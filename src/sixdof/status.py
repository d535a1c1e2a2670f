"""How a flight ended: the kernel's code, and the sentence a person reads."""

from __future__ import annotations

from enum import IntEnum

from sixdof.core import layout


class Status(IntEnum):
    """How a flight ended; `sentence` says it in words."""

    LANDED = layout.LANDED_OK
    NO_LIFTOFF = layout.NO_LIFTOFF
    DIVERGED = layout.DIVERGED
    OUT_OF_TIME = layout.OUT_OF_TIME
    ABOVE_AIR = layout.ABOVE_AIR
    LAW_FAILED = layout.LAW_FAILED

    @property
    def sentence(self) -> str:
        """What happened, in one sentence."""
        return _SENTENCES[self]


_SENTENCES = {
    Status.LANDED: "The vehicle came back to the ground.",
    Status.NO_LIFTOFF: "The vehicle never left the rail: thrust did not carry it past its weight, or not for long enough.",
    Status.DIVERGED: "The motion grew without bound and the flight was stopped; look for gains or fins that drive it unstable.",
    Status.OUT_OF_TIME: "The flight was still going at solver.time_limit and was given up; raise that limit if it should go on.",
    Status.ABOVE_AIR: "The vehicle left the top of the air tables, 40 km above the ground, where this model ends.",
    Status.LAW_FAILED: "A guidance or control law of the user's own reported an error, and the flight was stopped there.",
}


class FlightError(RuntimeError):
    """A flight whose numbers mean nothing. `dataset` holds what was logged before."""

    def __init__(self, message: str, dataset=None):
        super().__init__(message)
        self.dataset = dataset
