"""Plain kernel models for tests: tables written by hand, so that a test of the core needs no other room."""

from __future__ import annotations

import math

import numpy as np

from sixdof.core import types as ct
from sixdof.core.draw import Draw
from sixdof.core.layout import GAINS

G0 = 9.80665
RHO = 1.225


def world(*, density=RHO, gravity=G0, sound=340.0, viscosity=1.8e-5, wind=(0.0, 0.0), earth_rate=(0.0, 0.0, 0.0)):
    """A world of constant air, gravity and wind (east, north: where the air moves to)."""
    row = [density, 101325.0, sound, viscosity, gravity]
    return ct.World(
        np.array([row, row]), -1000.0, 1e-5, np.array([wind, wind], dtype=float), 1e-3, ct.Vec3(*earth_rate), 0.0
    )


def aero(*, area=0.0078539816339744831, length=0.1, slopes=((2.0, 0.25), (8.0, 1.75)), ca=0.0, panels=(), fins=None):
    """Constant slopes [(CN_alpha, x)], constant axial coefficient, no cross-flow; panels as rows of types.PANEL_*."""
    body = np.zeros((2, ct.BODY_COLUMNS))
    for slope, x in slopes:
        body[:, ct.BODY_S0] += slope
        body[:, ct.BODY_S1] += slope * x
        body[:, ct.BODY_S2] += slope * x * x
    body[:, ct.BODY_CA] = body[:, ct.BODY_CA_BACK] = ca
    fin = np.zeros((2, 1, ct.FIN_COLUMNS)) if fins is None else np.ascontiguousarray(np.stack([fins, fins]))
    panel = np.ascontiguousarray(np.array(panels, dtype=float).reshape(-1, ct.PANEL_COLUMNS))
    return ct.Aero(area, length, 1.0, body, fin, np.zeros((2, 2)), 1.0, panel, 1.0, 1.0, 1.0 + 1.0 / 12.0)


def mass(*, dry=8.0, cg=1.0, inertia=(0.012, 1.2, 1.2, 0.0, 0.0, 0.0), grains=()):
    """Dry mass properties and grains as rows of types.GRAIN_*."""
    rows = np.ascontiguousarray(np.array(grains, dtype=float).reshape(-1, ct.GRAIN_COLUMNS))
    return ct.Mass(dry, cg, 0.0, 0.0, *inertia, rows)


def thrust(time=(0.0,), force=(0.0,), *, propellant=0.0, exit_x=2.0, exit_area=0.0, exit_radius=0.0):
    """A thrust curve of straight lines."""
    t, f = np.array(time, dtype=float), np.array(force, dtype=float)
    running = np.concatenate([[0.0], np.cumsum(0.5 * (f[1:] + f[:-1]) * np.diff(t))])
    total = running[-1] if running[-1] > 0.0 else 1.0
    return ct.Thrust(t, f, running / total, total, propellant, exit_x, exit_area, exit_radius, 101325.0)


def model(**parts):
    """A Model of the given parts: world, aero, mass, thrust, rail, servo, computer, canopy."""
    controls = parts.pop("controls", 0)
    computer = ct.Computer(
        period=parts.pop("period", 0.01),
        steps_per_tick=parts.pop("steps_per_tick", 2),
        azimuth=0.0,
        profile=np.zeros((1, 4)),
        gains=np.zeros(len(GAINS)),
        mixer=np.zeros((controls, 3)),
        rules=np.zeros((0, ct.RULE_COLUMNS)),
        has_fins=controls > 0,
    )
    return ct.Model(
        world=parts.pop("world", world()),
        aero=parts.pop("aero", aero()),
        mass=parts.pop("mass", mass()),
        thrust=parts.pop("thrust", thrust()),
        rail=parts.pop("rail", ct.Rail(math.pi / 2, 0.0, 0.0, 1.0, 2.0, 1.8, 2.0)),
        servo=parts.pop("servo", ct.Servo(60.0, 0.7, 7.0, math.inf, 0.26)),
        computer=parts.pop("computer", computer),
        canopy=parts.pop("canopy", np.zeros((0, ct.CANOPY_COLUMNS))),
        tumble_area=parts.pop("tumble_area", 0.0),
        log_every=parts.pop("log_every", 1),
        time_limit=parts.pop("time_limit", 200.0),
        **parts,
    )


def draw(**fields):
    """The nominal draw with some fields changed."""
    ones = {"impulse", "burn_time", "mass", "inertia", "drag", "normal_force", "servo_speed", "servo_rate", "gain_pitch",
            "gain_yaw", "gain_roll", "canopy_drag", "pressure", "wind_scale", "wind_cos"}  # fmt: skip
    values = {name: 1.0 if name in ones else 0.0 for name in Draw._fields}
    values["elevation"] = math.pi / 2
    values["centring"] = np.zeros(4)
    values.update(fields)
    return Draw(**values)
