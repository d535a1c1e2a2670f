"""Signals of an invented flight straight up in closed form, and logs made of them: rest, a boost of constant push, an arc without air, a steady descent."""

from __future__ import annotations

import numpy as np

G = 9.80665  # m/s^2, here the gravity of the place too
REST, PUSH, BURN, FALL = 3.0, 60.0, 1.5, 15.0  # s at rest, m/s^2 upward, s of it, m/s of descent
LIFTOFF = REST
SPEED = PUSH * BURN
BURNOUT = LIFTOFF + BURN
APOGEE = BURNOUT + SPEED / G
TOP = 0.5 * PUSH * BURN**2 + 0.5 * SPEED**2 / G
TURN = np.array([8.0, 1.2, -0.7])  # rad/s, of rates that swing
SWING = np.array([1.3, 2.1, 1.7])  # rad/s


def clock(rate: float = 100.0, end: float = 25.0) -> np.ndarray:
    """Return instants of the log's clock, s; none of them is liftoff itself."""
    return np.arange(0.0, end, 1.0 / rate) + 0.3 / rate


def motion(t: np.ndarray, push: float = PUSH):
    """Return height (m), climb rate (m/s) and the specific force along the body (m/s^2) at instants of the clock. push : m/s^2."""
    speed, apogee = push * BURN, BURNOUT + push * BURN / G
    s = np.clip(t - LIFTOFF, 0.0, BURN)
    c = np.clip(t - BURNOUT, 0.0, apogee - BURNOUT)
    d = np.clip(t - apogee, 0.0, None)
    height = 0.5 * push * s**2 + speed * c - 0.5 * G * c**2 - FALL * d
    climb = push * s - G * c - FALL * (d > 0.0)
    force = np.where(t < LIFTOFF, G, np.where(t < BURNOUT, push + G, np.where(t < apogee, 0.0, G)))
    return height, climb, force


def rates(t: np.ndarray) -> np.ndarray:
    """Return rates that swing from liftoff on, rad/s (rows, 3)."""
    s = np.clip(t - LIFTOFF, 0.0, None)[:, None]
    return TURN * np.sin(SWING * s)


def rate_changes(t: np.ndarray) -> np.ndarray:
    """Return the derivative of `rates`, rad/s^2 (rows, 3)."""
    s = np.clip(t - LIFTOFF, 0.0, None)[:, None]
    return TURN * SWING * np.cos(SWING * s) * (s > 0.0)


def table(rate: float = 100.0, end: float = 25.0, noise: float = 1.0, seed: int = 1, push: float = PUSH) -> dict[str, np.ndarray]:
    """Return a log's columns: t (s), n, alt (m), vz (m/s), ax ay az (m/s^2), gx gy gz (rad/s). noise : times that of ordinary sensors."""
    t = clock(rate, end)
    rng = np.random.default_rng(seed)
    height, climb, force = motion(t, push)
    turn = rates(t)
    found = {"t": t, "n": np.arange(t.size, dtype=float), "alt": height + 0.3 * noise * rng.standard_normal(t.size)}
    found["vz"] = climb + 0.1 * noise * rng.standard_normal(t.size)
    pushed = np.column_stack([force, np.zeros_like(t), np.zeros_like(t)]) + 0.05 * noise * rng.standard_normal((t.size, 3))
    found |= {name: pushed[:, k] for k, name in enumerate(("ax", "ay", "az"))}
    turn = turn + 0.003 * noise * rng.standard_normal((t.size, 3))
    return found | {name: turn[:, k] for k, name in enumerate(("gx", "gy", "gz"))}


def columns(**more) -> dict:
    """Return the column map of `table`; more : further tables of it, or changes of readings by their names."""
    read = {
        "height": {"column": "alt", "source": "barometer"},
        "velocity": {"columns": ["", "", "vz"], "source": "computer"},
        "specific_force": {"columns": ["ax", "ay", "az"]},
        "body_rate": {"columns": ["gx", "gy", "gz"]},
    }
    found: dict = {"clock": {"column": "t"}, "counter": {"column": "n"}}
    for name, value in more.items():
        if name in read:
            read[name] = read[name] | value
        else:
            found[name] = value
    return found | {"read": read}
