"""From the mission's autopilot, servo, rules and recovery to the flight computer's constants."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.core import types as ct
from sixdof.core.actuator import DEAD, ISSUED, STUCK
from sixdof.core.computer.control import K_HEAD, K_ROW
from sixdof.core.computer.estimator import Estimator
from sixdof.core.computer.guidance import (
    BY_HEIGHT,
    BY_MODE_TIME,
    BY_TIME,
    HOLD_DIRECTION,
    LAST_HOLD,
    LAST_PROFILE,
    LAST_UPRIGHT,
    PROFILE,
    WAYPOINTS,
    WP_COLUMNS,
    Guidance,
)
from sixdof.core.computer.sensors import HISTORY, Barometer, Gnss, Inertial, Magnetometer, Sensors
from sixdof.mission import tables
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Parachute
from sixdof.vehicle.aero.table import fin_columns
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import mass_at, mass_table
from sixdof.world.gravity import EARTH_RATE

_TRIGGERS = {
    "time": ct.TRIGGER_TIME,
    "liftoff": ct.TRIGGER_LIFTOFF,
    "rail_departure": ct.TRIGGER_RAIL,
    "burnout": ct.TRIGGER_BURNOUT,
    "apogee": ct.TRIGGER_APOGEE,
    "climbing_through": ct.TRIGGER_CLIMBING,
    "falling_through": ct.TRIGGER_FALLING,
    "separation": ct.TRIGGER_SEPARATION,
    "ignition": ct.TRIGGER_IGNITION,
}
_ACTIONS = {
    "enable_fins": ct.ACTION_ENABLE,
    "disable_fins": ct.ACTION_DISABLE,
    "deploy": ct.ACTION_DEPLOY,
    "guide_profile": ct.ACTION_GUIDE,
    "guide_waypoints": ct.ACTION_GUIDE,
    "guide_hold": ct.ACTION_GUIDE,
    "separate": ct.ACTION_SEPARATE,
    "ignite": ct.ACTION_LIGHT,
}
ARM_MACH = 0.3  # at which a fin's load is put ahead of the centre of mass or behind it
_MODES = {"profile": PROFILE, "waypoints": WAYPOINTS, "hold": HOLD_DIRECTION}
_OVER = {"time": BY_TIME, "height": BY_HEIGHT, "mode_time": BY_MODE_TIME}
_PAST = {"hold": LAST_HOLD, "upright": LAST_UPRIGHT, "profile": LAST_PROFILE}


def _or(value, otherwise: float) -> float:
    return otherwise if value is None else float(value)


def servo_table(mission: Mission) -> ct.Servo:
    """Return the actuators' constants (rad, s).

    Raises
    ------
    ValueError
        If the transport delay is longer than the ticks whose commands are kept.
    """
    servo, period = mission.servo, 1.0 / mission.autopilot.rate
    delay = servo.delay + mission.autopilot.computation_delay
    if delay > (ISSUED - 2) * period:
        raise ValueError(
            f"servo.delay and autopilot.computation_delay, together {delay:g} s, must be at most {ISSUED - 2} ticks of the autopilot, "
            f"{(ISSUED - 2) * period:g} s"
        )
    return ct.Servo(
        frequency=2.0 * math.pi * servo.natural_frequency,
        damping=servo.damping,
        rate_limit=servo.rate_limit,
        acceleration_limit=_or(servo.acceleration_limit, math.inf),
        travel=servo.deflection_limit,
        delay=delay,
        backlash=servo.backlash,
        dead_band=servo.dead_band,
        resolution=servo.resolution,
        stall_torque=_or(servo.stall_torque, math.inf),
    )


def failure_table(mission: Mission, controls: int) -> np.ndarray:
    """Return kind and time of each fin's failure (controls, 2), zeros for sound ones."""
    out = np.zeros((controls, 2))
    for failure in mission.servo.failure:
        if failure.fin <= controls:
            out[failure.fin - 1] = (STUCK if failure.kind == "stuck" else DEAD), failure.time
    return out


def computer_table(mission: Mission, stages) -> ct.Computer:
    """Return the flight computer of a stack of stages: sensors, guidance, gains, mixer and event rules as arrays."""
    autopilot = mission.autopilot
    mixer = mixer_table(mission, stages)
    latitude = mission.site.latitude
    return ct.Computer(
        period=1.0 / autopilot.rate,
        steps_per_tick=mission.solver.steps_per_tick,
        azimuth=mission.rail.azimuth,
        guidance=guidance_table(mission),
        gains=gains_table(mission),
        mixer=mixer,
        roll_first=1 if autopilot.priority == "roll" else 0,
        rules=rules_table(mission, stages),
        sensors=sensors_table(mission),
        estimator=Estimator(
            mission.estimator.heading,
            mission.estimator.baro_position,
            mission.estimator.baro_velocity,
            mission.estimator.fix_position,
            mission.estimator.fix_velocity,
            mission.estimator.magnetic,
        ),
        earth_rate=ct.Vec3(0.0, EARTH_RATE * math.cos(latitude), EARTH_RATE * math.sin(latitude)),
        booster=1.0 if len(stages) > 1 else 0.0,
        detection=detection_table(mission),
        failure=failure_table(mission, mixer.shape[0]),
    )


def detection_table(mission: Mission) -> ct.Detection:
    """Return how the flight computer notices the phases of a flight."""
    d = mission.detection
    return ct.Detection(
        d.liftoff_specific_force,
        d.liftoff_height,
        d.ignition_specific_force,
        d.burnout_specific_force,
        d.burnout_debounce,
        1 if d.apogee == "barometer" else 0,
        d.apogee_drop,
        d.apogee_debounce,
    )


def sensors_table(mission: Mission) -> Sensors:
    """Return the sensors' constants; a mission without the table `sensors` has ideal ones."""
    ideal = mission.sensors is None
    s = tables.Sensors() if ideal else mission.sensors
    period = 1.0 / mission.autopilot.rate

    def ticks(rate: float) -> int:
        return max(1, round(1.0 / (rate * period)))

    receiver = s.receiver or tables.SatelliteReceiver()
    latency = round(receiver.latency / period)
    if latency >= HISTORY:
        raise ValueError(f"sensors.receiver.latency = {receiver.latency:g} s must be less than {HISTORY} ticks, {HISTORY * period:g} s")
    compass = s.magnetometer or tables.Magnetometer()
    level = math.cos(compass.dip)
    field = ct.Vec3(level * math.sin(compass.declination), level * math.cos(compass.declination), -math.sin(compass.dip))
    return Sensors(
        ideal=1 if ideal else 0,
        gyro=Inertial(s.gyro.bias, s.gyro.noise, s.gyro.scale, s.gyro.misalignment, s.gyro.range),
        accelerometer=Inertial(s.accelerometer.bias, s.accelerometer.noise, s.accelerometer.scale, s.accelerometer.misalignment, s.accelerometer.range),
        magnetometer=Magnetometer(compass.bias, compass.noise, field, 1 if s.magnetometer else 0),
        barometer=Barometer(s.barometer.bias, s.barometer.noise, s.barometer.lag, ticks(s.barometer.rate)),
        gnss=Gnss(
            receiver.position_noise,
            receiver.velocity_noise,
            latency,
            ticks(receiver.rate) if s.receiver else 0,
            _or(receiver.specific_force_limit, math.inf),
            _or(receiver.speed_limit, math.inf),
        ),
        gyro_lag=0.0 if ideal else s.gyro.lag,
    )


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
        slew=_or(guidance.slew_limit, math.inf),
        waypoint=np.ascontiguousarray(np.array(points, dtype=float).reshape(-1, WP_COLUMNS)),
        lead=guidance.lead,
        most_incidence=guidance.incidence_limit,
        most_tilt=guidance.tilt_limit,
        most_load=_or(guidance.load_limit, math.inf),
        load_slope=load_slope(mission) if guidance.load_limit is not None else 0.0,
        past_last=int(_PAST[guidance.after_last]),
        start_mode=int(_MODES[guidance.mode]),
        feed_rate=1 if guidance.rate_feedforward else 0,
    )


def load_slope(mission: Mission) -> float:
    """Return the specific force across the axis per dynamic pressure and incidence (m^2/kg/rad) of the front stage, burnt, at Mach 0.3."""
    from sixdof.vehicle.describe import balance

    now = balance(mission, [0])
    shape = shape_of(mission.stage[:1])
    return float(now.slope * shape.area / now.burnt.mass)


def gains_table(mission: Mission) -> np.ndarray:
    """Return the built-in control law's gains: head, rows without a booster, rows with one (core.control, K_*)."""
    autopilot = mission.autopilot
    alone = autopilot.schedule or (tables.GainSet(pitch=autopilot.pitch, yaw=autopilot.yaw, roll=autopilot.roll),)
    pairs = [alone, alone if autopilot.with_booster is None else (autopilot.with_booster,) * len(alone)]
    over = 0.0 if not autopilot.schedule else 1.0 if autopilot.schedule_over == "dynamic_pressure" else 2.0
    low, high = autopilot.gain_scale_limits
    head = [
        over,
        len(alone),
        autopilot.gain_reference_q or 0.0,
        low,
        high,
        autopilot.integral_limit,
        autopilot.filter,
        1.0 if autopilot.derivative == "error" else 0.0,
        1.0 if autopilot.structure == "cascade" else 0.0,
        _or(autopilot.rate_limit, math.inf),
        _or(autopilot.demand_limit, math.inf),
        *notch_numbers(autopilot),
    ]
    rows = []
    for chosen in pairs:
        for own, at in zip(chosen, alone):
            rows += [at.at or 0.0]
            for channel in (own.roll, own.pitch, own.yaw):
                rows += [channel.p, channel.i, channel.d, channel.f]
    out = np.array(head + rows, dtype=float)
    assert len(head) == K_HEAD and out.size == K_HEAD + 2 * len(alone) * K_ROW
    return out


def notch_numbers(autopilot: tables.Autopilot) -> tuple[float, ...]:
    """Return c0, c1, c2, a1, a2 of the structural filter at the autopilot's rate (core.control.notched), zeros without one.

    (s^2 + 2 depth width w s + w^2)/(s^2 + 2 width w s + w^2) by Tustin's rule, prewarped so that the centre stays where it is
    (e.g. K. J. Astrom, B. Wittenmark, Computer-Controlled Systems, 1997, section 8.2).
    """
    notch = autopilot.notch
    if notch is None:
        return (0.0,) * 5
    t = math.tan(math.pi * notch.frequency / autopilot.rate)
    scale = 1.0 + 2.0 * notch.width * t + t * t
    a1, a2 = 2.0 * (t * t - 1.0) / scale, (1.0 - 2.0 * notch.width * t + t * t) / scale
    b0, b2 = ((1.0 + sign * 2.0 * notch.depth * notch.width * t + t * t) / scale for sign in (1.0, -1.0))
    return b0 - 1.0, 0.0, b2 - a2, a1, a2


def control_fins(shape) -> list[tuple[int, int, float]]:
    """Return (set, panel, angle clockwise from body +z) of every control fin, in the order of the actuators."""
    found = []
    for number, fins in enumerate(shape.fins):
        if fins.part.control:
            step = 2.0 * math.pi / fins.part.count
            found += [(number, i, fins.part.clocking + i * step) for i in range(fins.part.count)]
    return found


def mixer_table(mission: Mission, stages) -> np.ndarray:
    """Return fin angle per roll, pitch and yaw demand (fins, 3).

    A fin at angle phi whose load acts behind the centre of mass makes, per unit angle, roll 1, pitch -sin(phi), yaw
    cos(phi) (body axes: force along n = (0, -cos phi, -sin phi) at x < 0 gives M_y = x (-F_z), M_z = x F_y); ahead of it
    the last two change sign. The mixer is the least-squares inverse of that geometry, scaled so that a demand of 1 rad
    in one channel moves the fin that works best in it by 1 rad.
    """
    shape = shape_of([mission.stage[i] for i in stages])
    fins = control_fins(shape)
    if not fins:
        return np.zeros((0, 3))
    ahead = [arm > 0.0 for arm in deflection_arms(mission, stages)]
    effect = np.empty((3, len(fins)))
    for k, (number, _, angle) in enumerate(fins):
        lever = 1.0 if ahead[number] else -1.0
        effect[:, k] = 1.0, lever * math.sin(angle), -lever * math.cos(angle)
    for number in mission.autopilot.known_failed:
        if number <= len(fins):
            effect[:, number - 1] = 0.0
    inverse = np.linalg.pinv(effect)
    inverse[np.abs(inverse) < 1e-12] = 0.0
    largest = np.abs(inverse).max(axis=0)
    return np.ascontiguousarray(inverse / np.where(largest > 0.0, largest, 1.0))


def deflection_arms(mission: Mission, stages, unburnt: float = 0.5) -> list[float]:
    """Return for each set of fins how far ahead of the centre of mass its deflection's load acts, m, at Mach 0.3.

    The load is the panel's and what it carries over onto the body, without what its vortices do behind. unburnt : share of the propellant
    left; the mixer's is half: fins that the centre of mass passes in the burn change their sense, and no mixer is right for them all the time.
    """
    shape = shape_of([mission.stage[i] for i in stages])
    cg = mass_at(mass_table(mission, stages), unburnt)[1][0]
    rows = [fin_columns(np.array([ARM_MACH]), fin, shape)[0] for fin in shape.fins]
    return [float(cg - (row[ct.FIN_DW] * row[ct.FIN_X] + row[ct.FIN_DB] * row[ct.FIN_XB]) / (row[ct.FIN_DW] + row[ct.FIN_DB])) for row in rows]


def canopies(mission: Mission) -> list[Parachute]:
    """Return the parachutes of all stages in file order; their index is the target of a deploy rule."""
    return [part for stage in mission.stage for part in stage.part if part.kind == "parachute"]


def canopy_stages(mission: Mission) -> list[int]:
    """Return which stage carries each canopy."""
    return [i for i, stage in enumerate(mission.stage) for part in stage.part if part.kind == "parachute"]


def canopy_table(mission: Mission) -> np.ndarray:
    """Return the rows (canopies, CANOPY_COLUMNS) of every canopy, its harness's columns those of none."""
    rows = np.zeros((len(canopies(mission)), ct.CANOPY_COLUMNS))
    for row, p in zip(rows, canopies(mission)):
        row[ct.CANOPY_DRAG_AREA] = p.drag_coefficient * math.pi * p.diameter**2 / 4.0
        row[ct.CANOPY_FILL_TIME], row[ct.CANOPY_WAIT] = p.fill_time, p.deployment_delay
        row[ct.CANOPY_REEF_SHARE], row[ct.CANOPY_REEF_TIME] = _or(p.reefing_ratio, 1.0), p.reefing_time
        row[ct.CANOPY_FACTOR], row[ct.CANOPY_STRENGTH] = p.opening_force_coefficient, _or(p.strength, math.inf)
        row[ct.CANOPY_CORD_STRENGTH] = math.inf
    return rows


class Trigger(NamedTuple):
    """One row of the rules: its name, the stage whose computer runs it, and what it does as columns types.RULE_*."""

    name: str
    owner: int
    row: list[float]


def burn_order(mission: Mission) -> list[int]:
    """Return the stages in the order of their burns: the last one on the rail, then as rules light them, in file order."""
    index = {stage.name: i for i, stage in enumerate(mission.stage)}
    lit = [index[rule.target] for rule in mission.rule if rule.action == "ignite" and rule.target in index]
    order = [len(mission.stage) - 1]
    for stage in sorted(set(lit), reverse=True):
        if stage not in order:
            order.append(stage)
    return order


def _order_of(mission: Mission, rule) -> int:
    """Return which burn or parting a rule waits for; the first one where the rule does not say."""
    if not rule.stage:
        return 0
    index = [stage.name for stage in mission.stage].index(rule.stage)
    if rule.when == "separation":
        return len(mission.stage) - 1 - index
    order = burn_order(mission)
    return order.index(index) if index in order else 0


def _row(trigger, action, target=0, *, threshold=0.0, order=0, delay=0.0, rule=None) -> list[float]:
    row = np.zeros(ct.RULE_COLUMNS)
    row[[ct.RULE_TRIGGER, ct.RULE_THRESHOLD, ct.RULE_ORDER, ct.RULE_DELAY]] = trigger, threshold, order, delay
    row[[ct.RULE_ACTION, ct.RULE_TARGET]] = action, target
    inf = math.inf
    limits = ("tilt_below", inf), ("speed_above", -inf), ("speed_below", inf), ("height_above", -inf), ("height_below", inf)
    row[ct.RULE_TILT_BELOW : ct.RULE_BOOSTER] = [_or(getattr(rule, name, None), otherwise) for name, otherwise in limits]
    row[ct.RULE_BOOSTER] = {"attached": 1.0, "separated": 0.0}.get(getattr(rule, "booster", None), -1.0)
    window = ("after", -inf), ("before", inf), ("timeout", inf)
    row[ct.RULE_AFTER :] = [_or(getattr(rule, name, None), otherwise) for name, otherwise in window]
    return row.tolist()


def _target(mission: Mission, rule) -> int:
    if rule.action.startswith("guide_"):
        return int(_MODES[rule.action.removeprefix("guide_")])
    if rule.action == "deploy":
        return [part.name for part in canopies(mission)].index(rule.target)
    if rule.action in ("separate", "ignite"):
        names = [stage.name for stage in mission.stage]
        return names.index(rule.target) if rule.target else len(names) - 1
    return 0


def triggers(mission: Mission) -> list[Trigger]:
    """Return everything that may fire: the mission's rules, then those its recovery stands for."""
    found = []
    for i, rule in enumerate(mission.rule):
        row = _row(
            _TRIGGERS[rule.when],
            _ACTIONS[rule.action],
            _target(mission, rule),
            threshold=rule.threshold or 0.0,
            order=_order_of(mission, rule),
            delay=rule.delay,
            rule=rule,
        )
        found.append(Trigger(rule.name or f"rule {i + 1}", 0, row))
    names, owners = [part.name for part in canopies(mission)], canopy_stages(mission)
    burns = burn_order(mission)
    for entry in mission.recovery:
        canopy = names.index(entry.canopy)
        owner = owners[canopy]
        order = 0
        if entry.when == "separation":
            order = max(len(mission.stage) - 1 - owner, 0) if owner else max(len(mission.stage) - 2, 0)
        elif entry.when == "burnout":
            order = burns.index(owner) if owner in burns else 0
        title = f"deploy {entry.canopy}"
        row = _row(_TRIGGERS[entry.when], ct.ACTION_DEPLOY, canopy, threshold=entry.height or 0.0, order=order, delay=entry.delay)
        found.append(Trigger(f"{title}: {entry.when.replace('_', ' ')}", owner, row))
        if entry.backup_time is not None:
            row = _row(ct.TRIGGER_LIFTOFF, ct.ACTION_DEPLOY, canopy, delay=entry.backup_time)
            found.append(Trigger(f"{title}: backup", owner, row))
        if entry.motor_delay is not None:
            row = _row(ct.TRIGGER_EJECTION, ct.ACTION_DEPLOY, canopy, order=owner, delay=entry.motor_delay)
            found.append(Trigger(f"{title}: motor delay", owner, row))
    return found


def rules_table(mission: Mission, stages) -> np.ndarray:
    """Return the rows (rules, RULE_COLUMNS) of `triggers`; those whose computer is not among `stages` never fire."""
    found = triggers(mission)
    rows = np.array([each.row for each in found], dtype=float).reshape(-1, ct.RULE_COLUMNS)
    rows[[each.owner not in stages for each in found], ct.RULE_TRIGGER] = ct.TRIGGER_NEVER
    return np.ascontiguousarray(rows)
