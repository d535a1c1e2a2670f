"""The registry of every variable a result may hold: dims, unit, meaning, and the columns of the log it is made of. Results keep its order."""

from __future__ import annotations

from dataclasses import dataclass

from sixdof.core import layout
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


def _log(name, units, long_name, *columns):
    dims = ("time",) if len(columns) < 2 else ("time", "quaternion" if len(columns) == 4 else "axis")
    return Variable(name, dims, units, long_name, columns or (name,))


TIMELINE = (
    _log("phase", "1", "flight phase: 0 held, 1 on the rail, 2 pivoting, 3 free, 4 under a canopy, 5 landed"),
    _log("east", "m", "position east of the rail"),
    _log("north", "m", "position north of the rail"),
    _log("height", "m", "height above ground"),
    _log("velocity", "m/s", "velocity over the ground: east, north, up", "velocity_east", "velocity_north", "velocity_up"),
    _log("attitude", "1", "attitude quaternion, body to east-north-up, scalar first", "q_w", "q_x", "q_y", "q_z"),
    _log("body_rate", "rad/s", "body rate against inertial space, body axes", "rate_x", "rate_y", "rate_z"),
    _log("tilt_pitch", "rad", "tilt, nose leans downrange"),
    _log("tilt_yaw", "rad", "tilt, nose leans right of the launch azimuth"),
    _log("roll", "rad", "roll angle"),
    _log("tilt", "rad", "angle of the nose from the vertical"),
    _log("commanded_pitch", "rad", "commanded tilt downrange"),
    _log("commanded_yaw", "rad", "commanded tilt to the right"),
    _log("commanded_roll", "rad", "commanded roll angle"),
    _log("tilt_error", "rad", "angle between the nose and its commanded direction"),
    _log("airspeed", "m/s", "airspeed"),
    _log("mach", "1", "Mach number"),
    _log("dynamic_pressure", "Pa", "dynamic pressure"),
    _log("incidence", "rad", "incidence, the total angle of attack (body axis against the flow)"),
    _log("incidence_pitch", "rad", "incidence in the body's x-z plane"),
    _log("incidence_yaw", "rad", "incidence in the body's x-y plane"),
    _log("static_margin", "1", "static margin, calibres"),
    _log("thrust", "N", "thrust at the reference pressure"),
    _log("mass", "kg", "mass"),
    _log("cg", "m", "station of the centre of mass, aft from the nose tip"),
    _log("specific_force", "m/s^2", "specific force, body axes (what an accelerometer reads)", "specific_force_x", "specific_force_y", "specific_force_z"),
    _log("wind_east", "m/s", "wind towards east"),
    _log("wind_north", "m/s", "wind towards north"),
    _log("drag_area", "m^2", "drag area of deployed canopies and hanging airframe"),
    _log("joint_force", "N", "force of the stages behind the aft joint on those ahead, negative where drag pulls them apart"),
    _log("guidance_mode", "1", "guidance: 0 profile, 1 waypoints, 2 hold"),
    _log("waypoint", "1", "number of the current waypoint, from 1; past the last, one more than there are"),
    _log("estimated_east", "m", "estimated position east of the rail"),
    _log("estimated_north", "m", "estimated position north of the rail"),
    _log("estimated_height", "m", "estimated height above ground"),
    _log(
        "estimated_attitude",
        "1",
        "estimated attitude quaternion, body to east-north-up, scalar first",
        "estimated_q_w",
        "estimated_q_x",
        "estimated_q_y",
        "estimated_q_z",
    ),
    _log("attitude_error", "rad", "error of the estimated attitude"),
    _log("position_error", "m", "error of the estimated position"),
    _log("velocity_error", "m/s", "error of the estimated velocity"),
    _log("roll_demand", "rad", "roll demand of the control law"),
    _log("pitch_demand", "rad", "pitch demand of the control law"),
    _log("yaw_demand", "rad", "yaw demand of the control law"),
)

FIN = (
    Variable("fin_angle", ("time", "fin"), "rad", "fin angle"),
    Variable("fin_command", ("time", "fin"), "rad", "commanded fin angle"),
    Variable("hinge_moment", ("time", "fin"), "N m", "moment of the air about the fin's hinge line, positive where it drives the angle up"),
)

_EVENT_UNITS = {
    "time": ("s", "time since ignition"),
    "east": ("m", "position east of the rail"),
    "north": ("m", "position north of the rail"),
    "height": ("m", "height above ground"),
    "velocity_east": ("m/s", "velocity east"),
    "velocity_north": ("m/s", "velocity north"),
    "velocity_up": ("m/s", "climb rate"),
    "airspeed": ("m/s", "airspeed"),
    "mach": ("1", "Mach number"),
    "dynamic_pressure": ("Pa", "dynamic pressure"),
    "tilt": ("rad", "angle of the nose from the vertical"),
    "incidence": ("rad", "incidence"),
    "static_margin": ("1", "static margin, calibres"),
    "sensed_height": ("m", "height by the flight computer"),
    "sensed_speed": ("m/s", "speed by the flight computer"),
    "sensed_tilt": ("rad", "angle of the nose from the vertical by the flight computer"),
}
EVENT = tuple(Variable(f"event_{name}", ("body", "event"), units, f"{text} at the event") for name, (units, text) in _EVENT_UNITS.items())

_OUTCOMES = {
    "apogee_height": ("m", "apogee above ground"),
    "apogee_time": ("s", "time of apogee since ignition"),
    "apogee_east": ("m", "apogee, distance east of the rail"),
    "apogee_north": ("m", "apogee, distance north of the rail"),
    "rail_departure_speed": ("m/s", "speed as the aft guide leaves the rail"),
    "rail_departure_incidence": ("rad", "incidence as the aft guide leaves the rail"),
    "rail_departure_margin": ("1", "static margin as the aft guide leaves the rail, calibres"),
    "burnout_airspeed": ("m/s", "airspeed at burnout"),
    "burnout_height": ("m", "height above ground at burnout"),
    "airspeed_max": ("m/s", "largest airspeed"),
    "mach_max": ("1", "largest Mach number"),
    "dynamic_pressure_max": ("Pa", "largest dynamic pressure"),
    "specific_force_max": ("m/s^2", "largest specific force in free flight"),
    "incidence_max": ("rad", "largest incidence while climbing faster than 20 m/s through the air"),
    "tilt_max": ("rad", "largest tilt from the vertical while climbing faster than 20 m/s through the air"),
    "tilt_error_rms": ("rad", "root mean square of the tilt error while the fins are live"),
    "tilt_error_max": ("rad", "largest tilt error while the fins are live"),
    "roll_error_max": ("rad", "largest roll error while the fins are live"),
    "saturation_share": ("1", "share of ticks with live fins at which a fin was commanded to its stop"),
    "static_margin_min": ("1", "smallest static margin while climbing faster than 20 m/s, calibres"),
    "landing_east": ("m", "landing place east of the rail"),
    "landing_north": ("m", "landing place north of the rail"),
    "landing_ground_speed": ("m/s", "speed over the ground at landing"),
    "flight_time": ("s", "time from ignition to the end of the flight"),
    "time_above_mach_08": ("s", "time above Mach 0.8, where the aerodynamic model is less sure"),
    "time_beyond_incidence": ("s", "time climbing beyond 15 deg incidence, where the aerodynamic model is less sure"),
    "opening_airspeed": ("m/s", "airspeed at line stretch of the first canopy"),
    "time_transonic": ("s", "time between Mach 0.8 and 1.2 (transonic), where the tables are interpolated between theories"),
    "time_stalled": ("s", "time climbing with a stalled fin"),
    "time_beyond_reynolds": ("s", "time climbing at a Reynolds number on length outside 5e5 to 1e8"),
    "hinge_moment_max": ("N m", "largest moment of the air about a control fin's hinge line in the climb"),
    "tilt_error_boost_rms": ("rad", "root mean square of the tilt error while the fins are live and a motor burns"),
    "tilt_error_coast_rms": ("rad", "root mean square of the tilt error while the fins are live and no motor burns"),
    "roll_error_rms": ("rad", "root mean square of the roll error while the fins are live"),
    "rate_reversals": ("1", "changes of sign of pitch and yaw rate while the fins are live"),
    "rate_limit_share": ("1", "share of the servos' time at their rate limit while the fins are live"),
    "fin_travel_total": ("rad", "total fin travel while live"),
    "servo_energy": ("J", "work of all fins against the air while live"),
    "attitude_error_max": ("rad", "largest error of the estimated attitude in the climb"),
    "position_error_max": ("m", "largest error of the estimated position in the climb"),
    "velocity_error_max": ("m/s", "largest error of the estimated velocity in the climb"),
    "load_factor_max": ("1", "largest specific force across the axis in the climb, over standard gravity"),
    "waypoints_captured": ("1", "waypoints flown through within their radius"),
    "waypoint_miss_max": ("m", "largest miss distance of the waypoints flown to"),
}
OUTCOME = tuple(Variable(name, (), units, text) for name, (units, text) in _OUTCOMES.items())
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


def _reading_units(name: str) -> str:
    if name.startswith(("time", "period", "fix_age")):
        return "s"
    if name.startswith(("rate_", "commanded_rate_")):
        return "rad/s"
    if name.startswith("specific_force_"):
        return "m/s^2"
    if "velocity" in name:
        return "m/s"
    if name.endswith(("east", "north", "height")):
        return "m"
    return "Pa" if name == "dynamic_pressure" else "1"


READING_UNITS = tuple(_reading_units(name) for name in layout.SENSED)

assert tuple(_OUTCOMES) == layout.SUMMARY and tuple(_EVENT_UNITS) == layout.EVENT_COLUMNS
