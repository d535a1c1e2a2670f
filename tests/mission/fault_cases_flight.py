"""As `fault_cases.py`: one mistake each in the tables of the flight computer."""

from __future__ import annotations

SERVO = 'natural_frequency = "10 Hz"'
PROFILE = 'time = ["0 s", "2 s"]\ntilt_pitch = ["0 deg", "5 deg"]'
RULE = 'action = "enable_fins"'


def servo(text: str) -> tuple[str, str]:
    """Return the replacement that adds lines to [servo]."""
    return SERVO, f"{SERVO}\n{text}"


def autopilot(text: str) -> tuple[str, str]:
    """Return the replacement that adds a table [autopilot]."""
    return "[autopilot.profile]", f"[autopilot]\n{text}\n[autopilot.profile]"


def tables(text: str) -> tuple[str, str]:
    """Return the replacement that adds tables before the rules."""
    return "[[rule]]", f"{text}\n[[rule]]"


POINT = "[[guidance.waypoint]]\neast = 100\nnorth = 0\nheight = "
FLIGHT = {
    # ---- servos
    "backlash": (*servo('backlash = "20 deg"'), "servo.backlash", "not less than deflection_limit, 0.262 rad", "0.3 deg"),
    "dead band": (*servo("dead_band = 0.3"), "servo.dead_band", "0.3 rad is not less", "a bare number is in rad"),
    "resolution": (*servo('resolution = "18 deg"'), "servo.resolution", "not less than deflection_limit", "0.3 deg"),
    "delay": (*servo('delay = "0.7 s"'), "servo.delay", "0.7 s is more than 62 ticks of the autopilot, 0.62 s", "10 ms"),
    "servo too fast": (
        SERVO,
        'natural_frequency = "70 Hz"',
        "servo.natural_frequency",
        "70 Hz is too fast for steps of 0.005 s",
        "solver.steps_per_tick = 3 or more",  # 2 pi 70/(100 x 2) = 2.2
    ),
    "servo too stiff": (
        SERVO,
        'natural_frequency = "30 Hz"\ndamping = 2',
        "servo.natural_frequency",
        "too fast",
        "steps_per_tick = 4",  # 2 pi 30 (2 + sqrt 3)/(100 x 2) = 3.5
    ),
    "failure of no fin": (*servo("failure = [{ fin = 5 }]"), "servo.failure[0].fin", "there is no control fin 5", "from 1 to 4"),
    "failure of fin 0": (*servo("failure = [{ fin = 0 }]"), "servo.failure[0].fin", "0 must be at least 1", "whole"),
    "failure twice": (*servo('failure = [{ fin = 2 }, { fin = 2, kind = "dead" }]'), "servo.failure[1].fin", "fin 2 fails already", "each fin once"),
    "failure of a kind": (*servo('failure = [{ fin = 2, kind = "stucked" }]'), "servo.failure[0].kind", '"stucked" is not one of', 'did you mean "stuck"?'),
    # ---- sensors
    "noise without its root": (*tables('[sensors.gyro]\nnoise = "0.01 deg/s"'), "sensors.gyro.noise", "wrong unit", '"0.01 deg/s/sqrt(Hz)"'),
    "noise, unknown unit": (*tables('[sensors.gyro]\nnoise = "0.01 deg/s/sqrt(Hertz)"'), "sensors.gyro.noise", "is not a quantity", '"0.01 deg/s/sqrt(Hz)"'),
    "noise, a wrong root": (*tables('[sensors.accelerometer]\nnoise = "1 m/s^2/Hz^2"'), "sensors.accelerometer.noise", "wrong unit", '"0.002 m/s^2/sqrt(Hz)"'),
    "range in grams": (*tables('[sensors.accelerometer]\nrange = "16 g"'), "sensors.accelerometer.range", "wrong unit", '"160 m/s^2"'),
    "latency": (*tables('[sensors.receiver]\nlatency = "2.56 s"'), "sensors.receiver.latency", "not less than 256 ticks", "at most 2.55 s"),
    "barometer too fast": (
        *tables('[sensors.barometer]\nrate = "200 Hz"'),
        "sensors.barometer.rate",
        "200 Hz is more than the autopilot's rate, 100 Hz",
        "raise autopilot.rate",
    ),
    "receiver too fast": (*tables('[sensors.receiver]\nrate = "101 Hz"'), "sensors.receiver.rate", "more than the autopilot's", "once per tick"),
    "unknown sensor": (*tables("[sensors.gyros]\nbias = 0"), "sensors.gyros", "unknown key", 'did you mean "gyro"?'),
    "share above one": (*tables("[estimator]\nfix_position = 1.5"), "estimator.fix_position", "must be at most 1", "for example"),
    # ---- guidance
    "waypoint on the ground": (*tables(POINT + '"0 m"'), "guidance.waypoint[0].height", "must be more than 0 m", '"75 mm"'),
    "waypoint below the floor": (
        *tables(POINT + '"30 m"'),
        "guidance.waypoint[0].height",
        "30 m is not above guidance.minimum_height, 50 m",
        "waypoints are places in the air only",
    ),
    "second waypoint on the floor": (
        *tables("[guidance]\nminimum_height = 80\n" + POINT + "300\n" + POINT + "80"),
        "guidance.waypoint[1].height",
        "80 m is not above guidance.minimum_height, 80 m",
        "in the air only",
    ),
    "no floor": (*tables("[guidance]\nminimum_height = 0"), "guidance.minimum_height", "must be more than 0 m", '"75 mm"'),
    "waypoints forgotten": (*tables('[guidance]\nmode = "waypoints"'), "guidance.waypoint", "missing", "[[guidance.waypoint]]"),
    "rule without waypoints": (RULE, 'action = "guide_waypoints"', "rule[0].action", "no waypoints to guide to", "[[guidance.waypoint]]"),
    # ---- profile
    "heights forgotten": (PROFILE, 'over = "height"', "autopilot.profile.height", "no points", "one or more heights"),
    "heights and times": (PROFILE, 'over = "height"\nheight = [0, 9]\ntime = [0, 1]', "autopilot.profile.time", "does not use it", "remove it"),
    "heights not used": (PROFILE, PROFILE + "\nheight = [0, 9]", "autopilot.profile.height", 'over = "time" does not use it', "remove it"),
    "heights fall": (PROFILE, 'over = "height"\nheight = [0, 90, 80]', "autopilot.profile.height[2]", "80 m follows 90 m", "must rise"),
    "heights and angles": (PROFILE, 'over = "height"\nheight = [0, 90]\nroll = [0]', "autopilot.profile.height", "height 2, tilt_pitch 2", "one entry a point"),
    # ---- gains
    "schedule and gains": (
        *autopilot("pitch = { p = 1 }\nschedule = [{ at = 100, pitch = { p = 1 } }]"),
        "autopilot.pitch",
        "a schedule, which takes their place, does not use it",
        "remove it",
    ),
    "schedule without at": (*autopilot("schedule = [{ at = 100 }, { pitch = { p = 1 } }]"), "autopilot.schedule[1].at", "missing", "dynamic pressure (Pa)"),
    "schedule falls": (*autopilot("schedule = [{ at = 100 }, { at = 100 }]"), "autopilot.schedule[1].at", "100 Pa follows 100 Pa", "must rise"),
    "schedule over nothing": (*autopilot('schedule_over = "mach"'), "autopilot.schedule_over", "without schedule does not use it", "remove"),
    "pressure twice": (
        *autopilot("gain_reference_q = 5000\nschedule = [{ at = 100 }]"),
        "autopilot.gain_reference_q",
        "a schedule over dynamic pressure does not use it",
        "remove it",
    ),
    "booster scheduled": (*autopilot("with_booster = { at = 3 }"), "autopilot.with_booster.at", "not scheduled", "remove it"),
    "cascade without rate gains": (*autopilot('structure = "cascade"\nyaw = { p = 5 }'), "autopilot.yaw.d", "without an answer", 'd = "0.09 s"'),
    "cascade without rate gains, scheduled": (
        *autopilot('structure = "cascade"\nschedule = [{ at = 1, roll = { p = 5 } }]'),
        "autopilot.schedule[0].roll.d",
        "without an answer",
        'd = "0.09 s"',
    ),
    "cascade with a filter": (*autopilot('structure = "cascade"\nfilter = "20 ms"'), "autopilot.filter", "does not use it", "remove it"),
    "rate limit of a pid": (*autopilot("rate_limit = 2"), "autopilot.rate_limit", 'structure "pid" does not use it', "remove it"),
    "derivative of the error": (*autopilot('derivative = "error"'), "autopilot.filter", "0 s passes one tick's noise", 'filter = "30 ms"'),
    "failed fin beyond": (*autopilot("known_failed = [1, 7]"), "autopilot.known_failed[1]", "there is no control fin 7", "from 1 to 4"),
    "failed fin 0": (*autopilot("known_failed = [0]"), "autopilot.known_failed[0]", "there is no fin 0", "counted from 1"),
    "failed fin twice": (*autopilot("known_failed = [2, 2]"), "autopilot.known_failed[1]", "fin 2 is named already", "once"),
    "every fin failed": (*autopilot("known_failed = [1, 2, 3, 4]"), "autopilot.known_failed", "no control fin is left", "at least one"),
    # ---- filters and delays
    "notch at half the rate": (
        *autopilot('notch = { frequency = "50 Hz" }'),
        "autopilot.notch.frequency",
        "50 Hz is not below half the rate of the autopilot, 50 Hz",
        "raise autopilot.rate",
    ),
    "notch above half the rate": (
        *autopilot('rate = "40 Hz"\nnotch = { frequency = "31 Hz" }'),
        "autopilot.notch.frequency",
        "31 Hz is not below half the rate of the autopilot, 20 Hz",
        "raise autopilot.rate",
    ),
    "notch without a frequency": (*autopilot("notch = { depth = 0.2 }"), "autopilot.notch.frequency", "missing", 'frequency = "100 Hz"'),
    "notch deeper than nothing": (*autopilot('notch = { frequency = "12 Hz", depth = 1.2 }'), "autopilot.notch.depth", "must be at most 1", "for example"),
    "computation delay": (
        *autopilot('computation_delay = "0.63 s"'),
        "autopilot.computation_delay",
        "0.63 s and servo.delay are together more than 62 ticks of the autopilot, 0.62 s",
        "2 ms",
    ),
    "negative computation delay": (*autopilot('computation_delay = "-1 ms"'), "autopilot.computation_delay", "must be at least 0 s", '"0.3 s"'),
    "negative gyro lag": (*tables('[sensors.gyro]\nlag = "-2 ms"'), "sensors.gyro.lag", "must be at least 0 s", '"0.3 s"'),
}
