"""The built-in guidance's constants."""

from __future__ import annotations

import math

import numpy as np

from sixdof.autopilot.optional import or_else
from sixdof.core.computer.columns import WAYPOINT_COLUMNS
from sixdof.core.computer.guidance import BY_HEIGHT, BY_MODE_TIME, BY_TIME, HOLD_DIRECTION, LAST_HOLD, LAST_PROFILE, LAST_UPRIGHT, PROFILE, WAYPOINTS, Guidance
from sixdof.mission.mission import Mission
from sixdof.vehicle.describe import balance
from sixdof.vehicle.geometry import shape_of

MODES = {"profile": PROFILE, "waypoints": WAYPOINTS, "hold": HOLD_DIRECTION}
_OVER = {"time": BY_TIME, "height": BY_HEIGHT, "mode_time": BY_MODE_TIME}
_PAST = {"hold": LAST_HOLD, "upright": LAST_UPRIGHT, "profile": LAST_PROFILE}


def guidance_table(mission: Mission) -> Guidance:
    """Return the built-in guidance's constants."""
    guidance, profile = mission.guidance, mission.autopilot.profile
    over = profile.height if profile.over == "height" else profile.time
    rows = np.column_stack([over, profile.tilt_pitch, profile.tilt_yaw, profile.roll]).astype(float)
    points = [[w.east, w.north, w.height, w.radius, w.timeout] for w in guidance.waypoint]
    return Guidance(
        profile=np.ascontiguousarray(rows),
        over=int(_OVER[profile.over]),
        smooth=1 if profile.join == "smooth" else 0,
        slew=or_else(guidance.slew_limit, math.inf),
        waypoint=np.ascontiguousarray(np.array(points, dtype=float).reshape(-1, WAYPOINT_COLUMNS)),
        lead=guidance.lead,
        most_incidence=guidance.incidence_limit,
        most_tilt=guidance.tilt_limit,
        most_load=or_else(guidance.load_limit, math.inf),
        load_slope=load_slope(mission) if guidance.load_limit is not None else 0.0,
        past_last=int(_PAST[guidance.after_last]),
        start_mode=int(MODES[guidance.mode]),
        feed_rate=1 if guidance.rate_feedforward else 0,
    )


def load_slope(mission: Mission) -> float:
    """Return the specific force across the axis per dynamic pressure and incidence (m^2/kg/rad) of the front stage, burnt, at Mach 0.3."""
    now = balance(mission, [0])
    shape = shape_of(mission.stage[:1])
    return float(now.slope * shape.area / now.burnt.mass)
