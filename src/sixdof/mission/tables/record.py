"""The tables of the computation: what is kept of a flight, and how it is integrated."""

from __future__ import annotations

from sixdof.mission.tables.base import Table, key
from sixdof.mission.units import Frequency, NonNegativeLength, PositiveTime


class Record(Table):
    """What is kept of a flight, and of the tracks of an ensemble.

    A flight too long for `track_points` at an even `track_rate` keeps every second, third ... of them.
    """

    rate: Frequency = key("rows of the log of one flight per second", "50 Hz", default=50.0)
    track_points: int = key("points kept of each track of an ensemble", 64, default=64, ge=0, le=16384, strict=True)
    track_rate: Frequency | None = key("points of a track per second, evenly; closer at the start if omitted", "2 Hz", default=None)


class Solver(Table):
    """How the motion is integrated, and when a flight is given up.

    With a `tolerance` steps are as long as it allows, up to a tick; speeds count in it with 1 s, angles with the vehicle's length.
    """

    steps_per_tick: int = key("integration steps per tick of the flight computer", 2, default=2, ge=1, le=64, strict=True)
    tolerance: NonNegativeLength = key("largest error of a step in position, which then chooses its length up to a tick; fixed steps if 0", "1 um", default=0.0)
    time_limit: PositiveTime = key("time since ignition at which a flight is given up", "900 s", default=900.0)
