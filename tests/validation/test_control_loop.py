"""The built-in control law against worked numbers: a PID sample by sample, and the critical gain of a discrete loop.

Source: a page of control-loop checks of this project, computed with public tools (python-control 0.10.2, scipy 1.17.1): plant,
servo, discrete margins and PID sequence are copied below. The closed forms behind them are in any text on sampled systems, e.g.
K. J. Astrom, B. Wittenmark, Computer-Controlled Systems (1997), chapters 3 and 8.
"""

from __future__ import annotations

import numpy as np
import pytest
from control_drivers import error_of, run_pid
from hypothesis import given, settings
from hypothesis import strategies as st
from models import gains as gains_of
from scipy.linalg import expm
from scipy.optimize import brentq
from scipy.signal import ss2tf
from scipy.spatial.transform import Rotation

from sixdof.core import layout as la
from sixdof.core.computer.control import built_in_control
from sixdof.core.layout import Demand, Sensed

# ---------------------------------------------------------------- PID, sample by sample
KP, KI, KD, TS, TF, CLAMP = 2.0, 5.0, 0.1, 0.01, 0.02, 3.0
ERRORS = [1.0, 1.0, 1.0, 0.5, 0.5, -0.2, -0.2, -0.2]
INTEGRAL = [0.05, 0.10, 0.15, 0.175, 0.20, 0.19, 0.18, 0.17]
DERIVATIVE = [3.333333333333, 2.222222222222, 1.481481481481, -0.679012345679, -0.452674897119, -2.635116598080, -1.756744398720, -1.171162932480]
OUTPUT = [3.0, 3.0, 3.0, 0.495987654321, 0.747325102881, -2.845116598080, -1.976744398720, -1.401162932480]
PRINTED = 6e-13  # the table has twelve decimals


def test_pid__sample_by_sample():
    gains = gains_of(ON_ERROR=1.0, FILTER=TF, INTEGRAL=np.inf, DEMAND_LIMIT=CLAMP)
    out = run_pid(ERRORS, gains, p=KP, i=KI, d=KD, period=TS)
    assert out[:, 0] == pytest.approx(OUTPUT, abs=PRINTED)
    assert out[:, 1] == pytest.approx(INTEGRAL, abs=PRINTED)
    assert out[:, 2] == pytest.approx(DERIVATIVE, abs=PRINTED)


def test_pid__derivative_on_the_rate_is_a_first_order_lag():
    """D <- D + T/(Tf + T) (-d rate - D): after n samples of a step of rate 1, -d (1 - (Tf/(Tf + T))^n)."""
    out = run_pid(np.zeros(50), gains_of(FILTER=TF, INTEGRAL=np.inf), d=KD, rates=np.ones(50), period=TS)
    n = np.arange(1, 51)
    assert out[:, 0] == pytest.approx(-KD * (1.0 - (TF / (TF + TS)) ** n), rel=1e-12)
    assert run_pid(np.zeros(3), gains_of(), d=KD, rates=[1.0, 2.0, -1.0])[:, 0] == pytest.approx([-0.1, -0.2, 0.1], rel=1e-15)


def test_pid__integral_is_limited_and_stands_still_at_the_stop():
    """i e T = 0.05 a sample; limit 0.12; while held it does not grow, but it may shrink."""
    gains = gains_of(INTEGRAL=0.12)
    assert run_pid(np.ones(4), gains, i=KI)[:, 1] == pytest.approx([0.05, 0.10, 0.12, 0.12], rel=1e-12)
    held = run_pid([1.0, 1.0, 1.0, -1.0], gains, i=KI, held=[0.0, 1.0, 1.0, 1.0])
    assert held[:, 1] == pytest.approx([0.05, 0.05, 0.05, 0.0], abs=1e-15)


def test_cascade__asks_for_a_limited_rate():
    """p e = 4 rad/s, limited to 1.5; answered with d (1.5 - rate) = 0.1 (1.5 - 0.5)."""
    gains = gains_of(CASCADE=1.0, RATE_LIMIT=1.5, INTEGRAL=np.inf)
    assert run_pid([1.0], gains, p=4.0, d=0.1, rates=[0.5])[0, 0] == pytest.approx(0.1, rel=1e-15)
    assert run_pid([0.1], gains, p=4.0, d=0.1, rates=[0.5])[0, 0] == pytest.approx(-0.01, rel=1e-12)


def test_cascade__the_goals_own_rate_counts_in_the_limit():
    """p e + goal rate = 0.3 + 0.5 rad/s, limited to 0.5: what is asked of the body stays the limit, whoever asks for it."""
    gains = gains_of(CASCADE=1.0, RATE_LIMIT=0.5, INTEGRAL=np.inf)
    asked = [(0.1, 0.5, 0.5), (0.1, -0.2, 0.1), (0.1, -0.5, -0.2), (-0.3, -0.4, -0.5), (0.3, -0.6, 0.3)]  # error, goal rate, rate asked for
    error, goal_rate, wanted = np.array(asked).T
    out = run_pid(error, gains, p=3.0, d=0.1, goal_rates=goal_rate)
    assert out[:, 0] == pytest.approx(0.1 * wanted, abs=1e-15)


def test_cascade__follows_a_profile_faster_than_its_limit_at_the_limit():
    """A perfect body (its rate is what was asked for) behind a goal that turns at 0.8 rad/s, then stands: it turns at 0.5 and no faster."""
    gains = gains_of(CASCADE=1.0, RATE_LIMIT=0.5, INTEGRAL=np.inf)
    ticks, angle, rates = 300, 0.0, []
    goal_rate = np.where(np.arange(ticks) < 100, 0.8, 0.0)
    for goal, turning in zip(np.cumsum(goal_rate) * TS, goal_rate):
        asked = run_pid([goal - angle], gains, p=4.0, d=1.0, goal_rates=[turning])[0, 0]  # d = 1: the answer is the rate itself
        rates.append(asked)
        angle += asked * TS
    assert max(rates) == pytest.approx(0.5, rel=1e-12)
    assert np.allclose(rates[:100], 0.5) and angle == pytest.approx(0.8, abs=1e-2)


# ---------------------------------------------------------------- attitude error

quaternions = st.integers(0, 2**32 - 1).map(lambda seed: Rotation.random(random_state=seed))


def sensed_of(truth: Rotation, goal: Rotation):
    sensed = np.zeros(len(la.SENSED))
    sensed[Sensed.Q_W : Sensed.Q_W + 4] = truth.as_quat(scalar_first=True)
    sensed[Sensed.COMMANDED_W : Sensed.COMMANDED_W + 4] = goal.as_quat(scalar_first=True)
    return sensed


@given(truth=quaternions, goal=quaternions, flip=st.booleans())
@settings(deadline=None)
def test_attitude_error__against_rotations(truth, goal, flip):
    """2 sin(angle/2) along the axis of the turn from truth to goal, in body axes, the short way (scipy's Rotation)."""
    sensed = sensed_of(truth, goal)
    if flip:
        sensed[Sensed.COMMANDED_W : Sensed.COMMANDED_W + 4] *= -1.0  # the same attitude
    turn = (truth.inv() * goal).as_rotvec()
    angle = np.linalg.norm(turn)
    wanted = turn / angle * 2.0 * np.sin(0.5 * angle) if angle > 1e-12 else turn
    if angle < np.pi - 1e-6:  # at half a turn both ways are short
        assert error_of(sensed) == pytest.approx(wanted, abs=1e-12)


@given(seed=st.integers(0, 10**6), lean=st.floats(0.0, 1e-3), small=st.floats(1e-9, 1e-3))
@settings(deadline=None)
def test_attitude_error__no_singularity_at_the_vertical(seed, lean, small):
    """However near the nose is to straight up, a small turn of the truth changes the error by that turn and no more."""
    rng = np.random.default_rng(seed)
    up = Rotation.from_matrix(np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]]))  # body x up
    truth = Rotation.from_rotvec(lean * rng.normal(size=3)) * up * Rotation.from_rotvec([rng.uniform(-3.0, 3.0), 0.0, 0.0])
    turn = small * rng.normal(size=3)
    error = error_of(sensed_of(truth, truth * Rotation.from_rotvec(turn)))
    size = np.linalg.norm(turn)
    assert error == pytest.approx(turn, abs=1e-12 + size**3 / 23.0)  # 2 sin(x/2) differs from x by x^3/24


# ---------------------------------------------------------------- critical gain

ZA, ZD, MA, MQ, MD = -1.5, -0.15, -60.0, -2.0, 80.0
SERVO_FREQUENCY, SERVO_DAMPING = 80.0, 0.7
LOOP_KP, LOOP_KD = 1.5, 0.15
CRITICAL = {0: 4.003248494821, 1: 2.668418898809}  # by extra samples of delay
NUMERATOR = [1.69196376e-4, 1.30467487e-3, -2.79812788e-4, -1.06386989e-3, -8.39058280e-5]
DENOMINATOR = [1.0, -3.92040952, 6.09527916, -4.74212699, 1.88231488, -0.31505754]
AMPLITUDE = 1e-5  # rad: the law sees 2 sin(e/2), which differs from e by 4e-12 of it
SAME = 1e-9  # relative: the amplitude above, and a root found to 1e-12


def plant():
    """Return (A, B) of alpha, q, theta, servo angle and rate over one sample, command held (exact)."""
    a = np.zeros((6, 6))
    a[0, [0, 1, 3]] = ZA, 1.0, ZD
    a[1, [0, 1, 3]] = MA, MQ, MD
    a[2, 1] = 1.0
    a[3, 4] = 1.0
    a[4, [3, 4, 5]] = -(SERVO_FREQUENCY**2), -2.0 * SERVO_DAMPING * SERVO_FREQUENCY, SERVO_FREQUENCY**2
    whole = expm(a * TS)
    a, b = whole[:5, :5], whole[:5, 5:]
    return a, b


def test_plant__is_that_of_the_source():
    a, b = plant()
    numerator, denominator = ss2tf(a, b, np.array([[0.0, 0.0, 1.0, 0.0, 0.0]]), np.zeros((1, 1)))
    assert numerator[0, 1:] == pytest.approx(NUMERATOR, rel=2e-8, abs=1e-12)  # printed to nine digits
    assert denominator == pytest.approx(DENOMINATOR, abs=5e-9)


class Loop:
    """Plant, whole samples of delay, and the built-in law on the pitch channel, scaled by a gain."""

    def __init__(self, gain, extra):
        self.a, self.b = plant()
        self.extra, self.memory = extra, np.zeros(64)
        self.gains = gains_of(pitch=(gain * LOOP_KP, 0.0, gain * LOOP_KD, 0.0), ON_ERROR=1.0)
        self.command, self.sensed = np.zeros(la.DEMAND_SIZE), np.zeros(len(la.SENSED))
        self.sensed[Sensed.ENABLED], self.sensed[Sensed.PERIOD], self.sensed[Sensed.COMMANDED_W] = 1.0, TS, 1.0

    def step(self, state):
        """Return the state (5 of the plant, the last error, `extra` commands on their way) one sample on."""
        self.memory[:] = 0.0
        self.memory[5] = state[5]  # last error of the pitch channel
        self.sensed[Sensed.Q_W], self.sensed[Sensed.Q_Y] = np.cos(0.5 * state[2]), np.sin(0.5 * state[2])
        built_in_control(0.0, self.sensed, self.memory, self.gains, self.command)
        waiting = [*state[6:], self.command[Demand.PITCH]]
        return np.concatenate([self.a @ state[:5] + self.b[:, 0] * waiting[0], [self.memory[5]], waiting[1:]])

    def radius(self):
        """Return the spectral radius of one sample of the loop."""
        n = 6 + self.extra
        matrix = np.stack([self.step(AMPLITUDE * row) / AMPLITUDE for row in np.eye(n)], axis=1)
        return np.abs(np.linalg.eigvals(matrix)).max()


@pytest.mark.parametrize("extra", [0, 1])
def test_critical_gain__of_the_law_in_the_loop(extra):
    found = brentq(lambda gain: Loop(gain, extra).radius() - 1.0, 2.0, 6.0, xtol=1e-12)
    assert found == pytest.approx(CRITICAL[extra], rel=SAME)


@pytest.mark.parametrize(("share", "grows"), [(0.999, False), (1.001, True)])
def test_critical_gain__decays_below_and_grows_above(share, grows):
    loop = Loop(share * CRITICAL[1], 1)
    state = np.zeros(7)
    state[2] = AMPLITUDE
    sizes = []
    for _ in range(6000):
        state = loop.step(state)
        sizes.append(abs(state[2]))
    early, late = max(sizes[500:1000]), max(sizes[5500:])
    assert (late > 1.1 * early) if grows else (late < 0.9 * early)
