"""Plain kernel models for tests: tables written by hand, so that a test of the core needs no other room."""

from __future__ import annotations

import math

import numpy as np

from sixdof.core import types as ct
from sixdof.core.columns import BODY_COLUMNS, CANOPY_COLUMNS, FIN_COLUMNS, GRAIN_COLUMNS, GUST_COLUMNS, PANEL_COLUMNS, SLOPE_COLUMNS, WAKE_COLUMNS, BodyColumn
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW, RULE_COLUMNS, WAYPOINT_COLUMNS, Gain, RuleColumn
from sixdof.core.computer.control import CHANNELS
from sixdof.core.computer.estimator import Estimator
from sixdof.core.computer.guidance import BY_TIME, LAST_HOLD, PROFILE, Guidance
from sixdof.core.computer.sensors import Barometer, Gnss, Inertial, Magnetometer, Sensors
from sixdof.core.draw import Draw
from sixdof.core.layout import Event

G0 = 9.80665
RHO = 1.225


def world(*, density=RHO, gravity=G0, sound=340.0, viscosity=1.8e-5, wind=(0.0, 0.0), earth_rate=(0.0, 0.0, 0.0)):
    """A world of constant air, gravity and wind (east, north: where the air moves to)."""
    row = [density, 101325.0, sound, viscosity, gravity]
    return ct.World(
        np.array([row, row]),
        -1000.0,
        1e-5,
        np.array([[wind, wind]], dtype=float),
        1e-3,
        ct.Vec3(*earth_rate),
        0.0,
        flat_earth(),
        ct.Turbulence(0, 0.0),
        np.zeros((0, GUST_COLUMNS)),
    )


def flat_earth():
    return ct.Globe(0, 6378137.0, 0.0, 0.0, 0.0, 0.0, (0.0,) * 9, ct.Vec3(0.0, 0.0, 0.0))


def aero(*, area=0.0078539816339744831, length=0.1, slopes=((2.0, 0.25), (8.0, 1.75)), ca=0.0, panels=(), fins=None, wakes=None):
    """Constant slopes [(CN_alpha, x)], constant axial coefficient, no cross-flow; panels as rows of types.PANEL_*.

    wakes : (wake_pair, wake) of types.Aero, none by default.
    """
    body = np.zeros((2, BODY_COLUMNS))
    for slope, x in slopes:
        body[:, BodyColumn.S0] += slope
        body[:, BodyColumn.S1] += slope * x
        body[:, BodyColumn.S2] += slope * x * x
    body[:, BodyColumn.S0_BACK : BodyColumn.S2_BACK + 1] = body[:, BodyColumn.S0 : BodyColumn.S2 + 1]  # the same backwards
    body[:, BodyColumn.CA] = body[:, BodyColumn.CA_BACK] = ca
    fin = np.zeros((2, 1, FIN_COLUMNS)) if fins is None else np.ascontiguousarray(np.stack([fins, fins]))
    panel = np.ascontiguousarray(np.array(panels, dtype=float).reshape(-1, PANEL_COLUMNS))
    pair, wake = (np.zeros((0, WAKE_COLUMNS)), np.zeros((0, 2, 3, 3))) if wakes is None else wakes
    return ct.Aero(
        area,
        length,
        1.0,
        body,
        fin,
        np.zeros((2, 2)),
        1.0,
        np.zeros((2, 2)),
        np.ones((2, 2)),
        panel,
        pair,
        wake,
        np.zeros((2, 1, SLOPE_COLUMNS)),
        1.0,
        1.0,
        1.0 + 1.0 / 12.0,
        ct.Plain(0.0, 0.0, 0.0, 0.0),
    )


def mass(*, dry=8.0, cg=1.0, inertia=(0.012, 1.2, 1.2, 0.0, 0.0, 0.0), grains=()):
    """Dry mass properties and grains as rows of types.GRAIN_*."""
    rows = np.ascontiguousarray(np.array(grains, dtype=float).reshape(-1, GRAIN_COLUMNS))
    return ct.Mass(dry, cg, 0.0, 0.0, *inertia, rows)


def thrust(time=(0.0,), force=(0.0,), *, propellant=0.0, exit_x=2.0, exit_area=0.0, exit_radius=0.0):
    """A thrust curve of straight lines."""
    t, f = np.array(time, dtype=float), np.array(force, dtype=float)
    running = np.concatenate([[0.0], np.cumsum(0.5 * (f[1:] + f[:-1]) * np.diff(t))])
    total = running[-1] if running[-1] > 0.0 else 1.0
    return ct.Thrust(t, f, running / total, total, propellant, exit_x, exit_area, exit_radius, 101325.0)


def servo(frequency=60.0, damping=0.7, rate_limit=7.0, acceleration_limit=math.inf, travel=0.26, **more):
    """A servo without delay, play, dead band, steps of the command or load, unless `more` says otherwise."""
    ideal = {"delay": 0.0, "backlash": 0.0, "dead_band": 0.0, "resolution": 0.0, "stall_torque": math.inf}
    return ct.Servo(frequency, damping, rate_limit, acceleration_limit, travel, **{**ideal, **more})


def upright():
    """Guidance that wants the vehicle upright all the time."""
    return Guidance(
        profile=np.zeros((1, 4)),
        over=int(BY_TIME),
        smooth=0,
        slew=math.inf,
        waypoint=np.zeros((0, WAYPOINT_COLUMNS)),
        lead=0.0,
        most_incidence=math.inf,
        most_tilt=math.inf,
        most_load=math.inf,
        load_slope=0.0,
        past_last=int(LAST_HOLD),
        start_mode=int(PROFILE),
        feed_rate=0,
    )


def gains(roll=(0.0, 0.0, 0.0, 0.0), pitch=(0.0, 0.0, 0.0, 0.0), yaw=(0.0, 0.0, 0.0, 0.0), **head):
    """Gains of the built-in law: p, i, d, f of each channel, one row with and without a booster; head: Gain members=value."""
    out = np.zeros(GAIN_HEAD + 2 * GAIN_ROW)
    out[Gain.ROWS], out[Gain.LOW], out[Gain.HIGH] = 1.0, 1.0, 1.0
    out[Gain.RATE_LIMIT] = out[Gain.DEMAND_LIMIT] = math.inf
    for first in (GAIN_HEAD, GAIN_HEAD + GAIN_ROW):
        out[first + 1 : first + 1 + 4 * CHANNELS] = [*roll, *pitch, *yaw]
    for name, value in head.items():
        out[Gain[name]] = value
    return out


def ideal_sensors():
    """Sensors and estimator that tell the truth."""
    triad = Inertial(0.0, 0.0, 0.0, 0.0, math.inf)
    compass = Magnetometer(0.0, 0.0, ct.Vec3(0.0, 1.0, 0.0), 0)
    return Sensors(1, triad, triad, compass, Barometer(0.0, 0.0, 0.0, 1), Gnss(0.0, 0.0, 0, 0, math.inf, math.inf))


def alone(nose_x=0.0, base_x=2.0):
    """The leg of a vehicle of one stage."""
    return ct.Leg(1, 0, 0, 1, -1, int(Event.BURNOUT), 0, np.zeros((2, 1)), 0.0, math.inf, nose_x, base_x)


def canopy(drag_area, fill_time=0.0, wait=0.0, reef_share=1.0, reef_time=0.0, factor=1.0, strength=math.inf):
    """A row of CanopyColumn without a cord."""
    return [drag_area, fill_time, wait, reef_share, reef_time, factor, strength, 0.0, 0.0, math.inf, 0.0]


def rule(trigger, action, *, threshold=0.0, order=0, delay=0.0, target=0, **limits):
    """A row of RuleColumn; limits: tilt_below, speed_above, ..., none where omitted; booster: 1 attached, 0 gone."""
    inf = math.inf
    free = {
        "tilt_below": inf,
        "speed_above": -inf,
        "speed_below": inf,
        "height_above": -inf,
        "height_below": inf,
        "booster": -1.0,
        "after": -inf,
        "before": inf,
        "timeout": inf,
    }
    assert not set(limits) - set(free), limits
    row = np.zeros(RULE_COLUMNS)
    row[RuleColumn.TRIGGER], row[RuleColumn.THRESHOLD], row[RuleColumn.ORDER] = trigger, threshold, order
    row[RuleColumn.DELAY], row[RuleColumn.ACTION], row[RuleColumn.TARGET] = delay, action, target
    for name, value in (free | limits).items():
        row[RuleColumn[name.upper()]] = value
    return row


def detection(**values):
    """How the flight computer notices phases: no debounce, apogee from the climb rate, but for `values`."""
    usual = {
        "liftoff_specific_force": 20.0,
        "liftoff_height": 10.0,
        "ignition_specific_force": 20.0,
        "burnout_specific_force": 0.0,
        "burnout_debounce": 0.0,
        "by_barometer": 0,
        "apogee_drop": 3.0,
        "apogee_debounce": 0.0,
    }
    return ct.Detection(**(usual | values))


def model(**parts):
    """A Model of the given parts: world, aero, mass, thrust, rail, servo, computer, canopy."""
    controls = parts.pop("controls", 0)
    computer = ct.Computer(
        period=parts.pop("period", 0.01),
        steps_per_tick=parts.pop("steps_per_tick", 2),
        azimuth=0.0,
        guidance=upright(),
        gains=gains(),
        mixer=np.zeros((controls, 3)),
        roll_first=1,
        rules=np.zeros((0, RULE_COLUMNS)),
        sensors=ideal_sensors(),
        estimator=Estimator(0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        earth_rate=ct.Vec3(0.0, 0.0, 0.0),
        booster=0.0,
        detection=detection(),
        failure=np.zeros((controls, 2)),
    )
    return ct.Model(
        world=parts.pop("world", world()),
        aero=parts.pop("aero", aero()),
        mass=parts.pop("mass", mass()),
        thrust=parts.pop("thrust", thrust()),
        rail=parts.pop("rail", ct.Rail(math.pi / 2, 0.0, 0.0, 1.0, 2.0, 1.8, 2.0)),
        servo=parts.pop("servo", servo()),
        computer=parts.pop("computer", computer),
        canopy=parts.pop("canopy", np.zeros((0, CANOPY_COLUMNS))),
        leg=parts.pop("leg", alone()),
        tumble_area=parts.pop("tumble_area", 0.0),
        tolerance=parts.pop("tolerance", 0.0),
        log_every=parts.pop("log_every", 1),
        time_limit=parts.pop("time_limit", 200.0),
        **parts,
    )


def draw(**fields):
    """The nominal draw with some fields changed."""
    ones = {
        "impulse",
        "burn_time",
        "mass",
        "inertia",
        "drag",
        "normal_force",
        "damping",
        "control_force",
        "servo_speed",
        "servo_rate",
        "gain_pitch",
        "gain_yaw",
        "gain_roll",
        "pressure",
        "wind_scale",
        "wind_cos",
    }
    values = {name: 1.0 if name in ones else 0.0 for name in Draw._fields}
    values["elevation"], values["wind_at_20_ft"] = math.pi / 2, -1.0
    values["centring"] = np.zeros(4)
    values.update(fields)
    return Draw(**values)
