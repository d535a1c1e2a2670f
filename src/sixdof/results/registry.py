"""The registry of every variable a result may hold: dims, unit, meaning, and the columns of the log it is made of. Results keep its order."""

from __future__ import annotations

from dataclasses import dataclass

from sixdof.core.layout import EventColumn, Log, Outcome, Sensed
from sixdof.results.status import UNREACHED, Descent, Status


@dataclass(frozen=True)
class Variable:
    """One variable of a result: its dims in a single flight (an ensemble puts `flight` in front), unit and meaning.

    flags : what the values of a flag mean, one word each, from `first_flag` up; () for a number.
    """

    name: str
    dims: tuple[str, ...]
    units: str
    long_name: str
    columns: tuple[str, ...] = ()  # columns of the log it is made of, one for each step of its last dim
    flags: tuple[str, ...] = ()
    first_flag: int = 0


ENDS = tuple(status.name.lower() for status in Status)


_VECTORS = {  # variables of several columns, by the first of them: name, meaning, columns
    Log.VELOCITY_EAST: ("velocity", "velocity over the ground: east, north, up", (Log.VELOCITY_EAST, Log.VELOCITY_NORTH, Log.VELOCITY_UP)),
    Log.Q_W: ("attitude", Log.Q_W.meaning, (Log.Q_W, Log.Q_X, Log.Q_Y, Log.Q_Z)),
    Log.RATE_X: ("body_rate", Log.RATE_X.meaning, (Log.RATE_X, Log.RATE_Y, Log.RATE_Z)),
    Log.SPECIFIC_FORCE_X: ("specific_force", Log.SPECIFIC_FORCE_X.meaning, (Log.SPECIFIC_FORCE_X, Log.SPECIFIC_FORCE_Y, Log.SPECIFIC_FORCE_Z)),
    Log.ESTIMATED_Q_W: ("estimated_attitude", Log.ESTIMATED_Q_W.meaning, (Log.ESTIMATED_Q_W, Log.ESTIMATED_Q_X, Log.ESTIMATED_Q_Y, Log.ESTIMATED_Q_Z)),
}
_NO_VARIABLE = (Log.TIME, Log.UP)  # the coordinate; and a height over the plane of the launch point


def _timeline():
    """Yield the variables of the timeline in the order of the log's columns."""
    joined = {column for *_, columns in _VECTORS.values() for column in columns}
    for column in Log:
        if column in _VECTORS:
            name, meaning, columns = _VECTORS[column]
            yield Variable(name, ("time", "quaternion" if len(columns) == 4 else "axis"), column.unit, meaning, tuple(c.label for c in columns))
        elif column not in joined and column not in _NO_VARIABLE:
            yield Variable(column.label, ("time",), column.unit, column.meaning, (column.label,))


TIMELINE = tuple(_timeline())

FIN = (
    Variable("fin_angle", ("time", "fin"), "rad", "fin angle"),
    Variable("fin_command", ("time", "fin"), "rad", "commanded fin angle"),
    Variable("hinge_moment", ("time", "fin"), "N m", "moment of the air about the fin's hinge line, positive where it drives the angle up"),
)

EVENT = tuple(Variable(f"event_{column.label}", ("body", "event"), column.unit, f"{column.meaning} at the event") for column in EventColumn)

OUTCOME = tuple(Variable(column.label, (), column.unit, column.meaning) for column in Outcome)
WAYPOINT = (
    Variable("waypoint_time", ("waypoint_number",), "s", "time at which a waypoint was captured, passed or given up"),
    Variable("waypoint_miss", ("waypoint_number",), "m", "miss distance of a waypoint"),
)
STATUS = Variable("status", (), "1", "how the flight ended", flags=ENDS)

# ---------------------------------------------------------------- bodies, joints, rules, canopies, branches


def _facts(dim: str, *entries) -> tuple[Variable, ...]:
    """Return variables along one dim from (name, unit, meaning), and for a flag its words and its first value."""
    return tuple(Variable(name, (dim,), units, text, (), *flag) for name, units, text, *flag in entries)


BODY = _facts(
    "body",
    ("body_landing_time", "s", "time at which the body lands"),
    ("body_landing_east", "m", "landing place of the body east of the rail"),
    ("body_landing_north", "m", "landing place of the body north of the rail"),
    ("body_landing_ground_speed", "m/s", "speed over the ground as the body lands"),
    ("body_landing_energy", "J", "kinetic energy as the body lands"),
    ("body_landing_mass", "kg", "mass of the body as it lands"),
    ("fall_time", "s", "time from the body's apogee to the ground"),
    ("descent", "1", "way in which the body comes down", tuple(way.name.lower() for way in Descent)),
    ("body_status", "1", "how the body's flight ended", ("never_separated", *ENDS), UNREACHED),
    ("descent_incidence", "rad", "mean incidence over the last 1.5 to 3 s of a fall without a canopy"),
    ("time_falling_incidence", "s", "time falling without a canopy beyond 15 deg incidence"),
    ("time_falling_mach", "s", "time falling without a canopy above Mach 0.8"),
    ("time_falling_reynolds", "s", "time falling without a canopy at a Reynolds number on length outside 5e5 to 1e8"),
    ("time_falling_crisis", "s", "time falling without a canopy at a Reynolds number of the cross flow on diameter above 1e5"),
)
PLACE = _facts(
    "body",
    ("body_landing_latitude", "degrees_north", "geodetic latitude of the body's landing place"),
    ("body_landing_longitude", "degrees_east", "longitude of the body's landing place"),
)
JOINT = _facts(
    "joint",
    ("separation_time", "s", "time at which the joint separates"),
    ("separation_cause", "1", "what separates the joint", ("none", "command", "drag", "upper_motor")),
    ("separation_speed", "m/s", "speed of the two bodies away from each other at separation"),
    ("drag_separation_time", "s", "time from which drag alone would separate the joint"),
    ("gap_min", "m", "smallest clearance after separation"),
    ("recontact", "1", "whether the separated bodies touch again", ("no", "yes")),
)
RULE = _facts(
    "rule",
    ("rule_armed", "s", "time at which the rule's trigger was sensed"),
    ("rule_fired", "s", "time at which the rule fired"),
    ("rule_acted", "1", "whether the rule did what it says, or another had before", ("no", "yes")),
    ("rule_given_up", "s", "time at which the rule gave up waiting for its conditions"),
)
CANOPY = _facts(
    "canopy",
    ("opening_load", "N", "largest load of the opening canopy"),
    ("snatch_load", "N", "load of the harness as the ejection charge throws the pieces apart"),
    ("deployment_airspeed", "m/s", "airspeed at deployment of the canopy"),
    ("line_stretch_airspeed", "m/s", "airspeed at line stretch, where the canopy begins to fill"),
)
FAILURE = Variable("failure_happened", ("failure",), "1", "whether the failure happened", flags=("no", "yes"))
DRAWN = Variable("failure_drawn", ("failure",), "1", "whether the failure was drawn to happen", flags=("no", "yes"))
BRANCH = Variable("branch", (), "1", "failures of the flight, joined by +, or nominal")
PIECE = (
    Variable("body_time", ("body", "row"), "s", "time since ignition, of a body's own track", ("time",)),
    Variable("body_east", ("body", "row"), "m", "position of a body east of the rail", ("east",)),
    Variable("body_north", ("body", "row"), "m", "position of a body north of the rail", ("north",)),
    Variable("body_height", ("body", "row"), "m", "height of a body above ground", ("height",)),
    Variable("body_airspeed", ("body", "row"), "m/s", "airspeed of a body", ("airspeed",)),
    Variable("body_tilt", ("body", "row"), "rad", "angle of a body's nose from the vertical", ("tilt",)),
    Variable("body_incidence", ("body", "row"), "rad", "incidence of a body", ("incidence",)),
    Variable("body_mach", ("body", "row"), "1", "Mach number of a body", ("mach",)),
)
GAP = (
    Variable("gap_time", ("joint", "gap_row"), "s", "time since ignition, while the pieces are near each other"),
    Variable("gap", ("joint", "gap_row"), "m", "gap along the axis between the pieces"),
    Variable("clearance", ("joint", "gap_row"), "m", "clearance between the pieces"),
)
SENSED = Variable("sensed", ("time", "reading"), "as reading_units", "what the flight computer sensed, estimated and commanded")
REGISTRY = {
    v.name: v
    for v in (*OUTCOME, STATUS, BRANCH, *WAYPOINT, *EVENT, *BODY, *PLACE, *JOINT, *RULE, *CANOPY, FAILURE, DRAWN, *TIMELINE, *FIN, SENSED, *PIECE, *GAP)
}
TRACK = ("phase", "east", "north", "height", "tilt", "mach", "airspeed")  # what an ensemble keeps of the timeline


READING_UNITS = tuple(column.unit for column in Sensed)
