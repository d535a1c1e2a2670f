"""Distances, ceilings and cautions of a launch card: common practice, marked so."""

from __future__ import annotations

import math
from typing import NamedTuple

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Mount
from sixdof.vehicle.motor import motor_facts

FOOT = 0.3048  # m
# top of the installed impulse (N s); cleared diameter, distance of people, and of a complex vehicle (several motors), ft
_DISTANCES = (
    (1280.0, 50, 100, 200),
    (2560.0, 75, 200, 300),
    (5120.0, 100, 300, 500),
    (10240.0, 125, 500, 1000),
    (20480.0, 125, 1000, 1500),
    (40960.0, 125, 1500, 2000),
)
STANDING = (
    "Distances as the high-power rocket safety code common in the USA has them, from memory: common practice, not law here. The code in force "
    "at your range and its safety officer say what holds."
)
CAUTIONS = (
    "A calculation, not a clearance to fly. Local law, the range safety officer and licensed practice come first.",
    "Igniters go in last, on the rail, with the power off; nobody stands under the rail's lean or downwind of it.",
    "Valid only for what was weighed, set and measured as written here, below Mach 0.8 and 15 deg incidence.",
)
MOST_TILT = math.radians(20.0)  # of a launcher from the vertical, by the same code


class Distances(NamedTuple):
    """Installed impulse (N s), motors, and the distances it asks for, m; NaN beyond the table."""

    impulse: float
    motors: int
    cleared: float
    people: float


def distances(mission: Mission) -> Distances:
    """Return the diameter to clear and the distance of people for the motors installed: all stages, "complex" for more than one motor."""
    mounts = [part for stage in mission.stage for part in stage.part if isinstance(part, Mount)]
    motors = sum(part.count for part in mounts)
    impulse = sum(part.count * motor_facts(mission.motor[part.motor]).total_impulse for part in mounts)
    for top, cleared, people, complex_ in _DISTANCES:
        if impulse <= top:
            return Distances(impulse, motors, cleared * FOOT, (complex_ if motors > 1 else people) * FOOT)
    return Distances(impulse, motors, math.nan, math.nan)
