"""The demos with one set of gains in place of their schedules: what tests change gain by gain, and swings that are large enough to measure."""

from __future__ import annotations

import sixdof

WAYPOINTS = {
    "autopilot.schedule": [],
    "autopilot.schedule_over": "dynamic_pressure",
    "autopilot.pitch": {"p": 0.4, "i": 0.4, "d": 0.07},
    "autopilot.yaw": {"p": 0.4, "i": 0.4, "d": 0.07},
    "autopilot.roll": {"p": 0.03, "i": 0.0, "d": 0.004},
    "autopilot.gain_scale_limits": [0.4, 4.0],
}
TWO_STAGES = {
    "autopilot.schedule": [],
    "autopilot.schedule_over": "dynamic_pressure",
    "autopilot.pitch": {"p": 0.9, "i": 3.5, "d": 0.15},
    "autopilot.yaw": {"p": 0.9, "i": 3.5, "d": 0.15},
    "autopilot.roll": {"p": 0.04, "i": 0.0, "d": 0.006},
    "autopilot.gain_scale_limits": [0.25, 4.0],
}


def waypoints(folder, **changes) -> sixdof.Mission:
    """Return configs/waypoints.toml of a folder with one set of gains, and other changes."""
    return sixdof.load_mission(folder / "waypoints.toml").change(WAYPOINTS | changes)


def two_stages(mission: sixdof.Mission) -> sixdof.Mission:
    """Return the two-stage demo with one set of gains."""
    return mission.change(TWO_STAGES)
