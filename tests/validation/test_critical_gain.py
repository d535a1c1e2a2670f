"""The gain at which the simulator's own flight begins to swing, against the gain margin of the linear loop.

Whole flights with limits, gravity, a turning Earth, air that thins and a motor that burns, in calm air: the goal steps by 0.02 deg, so
that nothing saturates, and the swing of the second behind the step is fitted. Measured: critical gains within 0.4 % of 10^(margin/20).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import sixdof
from sixdof.study.loops.linear import CHANNELS, linearise
from sixdof.study.loops.margins import margins
from sixdof.study.reading.oscillation import strongest_oscillation

STEP, FIRST, LAST = math.radians(0.02), 2.1, 2.9  # the goal steps at 2 s; the demo coasts then, from Mach 0.28 to 0.26
SHARES = (0.94, 0.98, 1.02, 1.06)  # of the critical gain that are flown
STILL = {
    "air.wind.speed": 0.0,
    "rail.elevation": 0.5 * math.pi,
    "record.rate": 100.0,
    "autopilot.integral_limit": 1.0,
    "autopilot.profile.time": [0.0, 2.0, 2.01],
}
GOAL = {"pitch": "tilt_pitch", "yaw": "tilt_yaw", "roll": "roll"}
REAL = {"servo.delay": 0.008, "servo.natural_frequency": 14.0, "sensors.gyro.lag": 0.004}  # the two-stage demo's servo; ideal but for lag
NOTCH = {"autopilot.notch": {"frequency": 22.0, "depth": 0.2, "width": 0.5}, "autopilot.computation_delay": 0.003}
CASCADE = {"autopilot.structure": "cascade", "autopilot.pitch": {"p": 5.0, "i": 0.2, "d": 0.09}}


def still_mission(demo, channel, changes):
    """Return the demo in calm air with a step of the goal of one channel."""
    none = {f"autopilot.profile.{name}": [0.0, 0.0, 0.0] for name in GOAL.values()}
    return demo.change(STILL | none | {f"autopilot.profile.{GOAL[channel]}": [0.0, 0.0, STEP]} | changes)


def with_gain(mission, channel, k):
    """Return the mission with all of a channel's loop gain times k (in a cascade p sits inside of d and i)."""
    own = getattr(mission.autopilot, channel)
    names = "id" if mission.autopilot.structure == "cascade" else "pid"
    return mission.change({f"autopilot.{channel}.{name}": k * getattr(own, name) for name in names})


def growth(signal, step):
    """Return how fast the strongest swing of a signal grows, 1/s, and its frequency, rad/s."""
    found = strongest_oscillation(signal - signal.mean(), step)
    w = 2.0 * math.pi * found.frequency
    return -found.damping * w / math.sqrt(1.0 - found.damping**2), w


def swings(mission, channel):
    """Return the growth of a channel's body rate and of its demand, and the swing's frequency, from a flight."""
    flight = sixdof.fly(mission).sel(time=slice(FIRST, LAST))
    assert float(np.abs(flight["fin_command"]).max()) < 0.1 * mission.servo.deflection_limit
    rate, w = growth(flight["body_rate"].values[:, CHANNELS.index(channel)], 0.01)
    demand, _ = growth(flight[f"{channel}_demand"].values, 0.01)
    return rate, demand, w


def critical(mission, channel):
    """Return the share of the linear critical gain at which rate, demand, and both together neither grow nor decay; and both frequencies."""
    models = linearise(mission, at=0.5 * (FIRST + LAST))
    found = margins(models, channels=channel, broken_at="actuator").squeeze()
    gain = 10.0 ** (float(found.gain_margin_db) / 20.0)
    flown = np.array([swings(with_gain(mission, channel, share * gain), channel) for share in SHARES])
    assert (np.diff(flown[:, 0]) > 0.0).all() and flown[0, 0] < -0.4 and flown[-1, 0] > 0.4
    both = 0.5 * (flown[:, 0] + flown[:, 1])
    at = [float(np.interp(0.0, values, SHARES)) for values in (flown[:, 0], flown[:, 1], both)]
    return at, float(np.interp(at[2], SHARES, flown[:, 2])), float(found.phase_crossover)


def check(demo, channel, changes):
    (rate, demand, both), frequency, crossover = critical(still_mission(demo, channel, changes), channel)
    # the vehicle slows down by a tenth in that second and the gains rise by 1/q: the rate of a swing that neither grows nor decays sinks
    # and its demand rises, each by some 0.2 1/s, which is 1.5 % of gain; the two together stay. What is left is the flight's change.
    assert both == pytest.approx(1.0, abs=0.01)
    assert rate == pytest.approx(1.0, abs=0.03) and demand == pytest.approx(1.0, abs=0.03)
    assert frequency == pytest.approx(crossover, rel=0.01)


@pytest.mark.parametrize(("channel", "changes"), [("pitch", {}), ("roll", {}), ("pitch", REAL)], ids=["pitch", "roll", "pitch, delay and gyro"])
def test_critical_gain__of_whole_flights(demo_mission, channel, changes):
    check(demo_mission, channel, changes)


@pytest.mark.slow
@pytest.mark.parametrize(
    "changes", [{}, REAL, NOTCH, REAL | NOTCH, CASCADE, CASCADE | REAL], ids=["as it is", "real", "notch", "real, notch", "cascade", "cascade, real"]
)
@pytest.mark.parametrize("channel", CHANNELS)
def test_critical_gain__of_whole_flights_with_more(demo_mission, channel, changes):
    if channel != "pitch" and "autopilot.structure" in changes:
        changes = changes | {f"autopilot.{channel}": {"p": 5.0, "i": 0.0, "d": 0.09 if channel == "yaw" else 0.005}}
    elif "autopilot.structure" in changes:
        changes = changes | {"autopilot.yaw": {"p": 5.0, "i": 0.2, "d": 0.09}}
    check(demo_mission, channel, changes)
