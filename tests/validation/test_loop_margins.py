"""Margins of the sampled loops against tables, closed forms, python-control, and the closed loop's own poles.

Source of the tables: a page of control-loop checks of this project, computed with public tools (python-control 0.10.2, scipy; every
margin cross-checked by root solving on the exact frequency response). The plant is the one of test_control_loop.
"""

from __future__ import annotations

import math

import control
import numpy as np
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from sixdof.study.loops.crossings import response_margins
from sixdof.study.loops.linear import CHANNELS, DEMANDS, linearise
from sixdof.study.loops.linear_slopes import GUSTS, STATES
from sixdof.study.loops.loop import BREAKS, closed_response, loops_of, open_loop
from sixdof.study.loops.margins import coupled_margins, margins
from sixdof.study.loops.sampled_plant import BendingMode, sampled_plant

ZA, ZD, MA, MQ, MD = -1.5, -0.15, -60.0, -2.0, 80.0
LP, LD = -3.0, 400.0  # roll, which the page does not have
TS, KP, KD = 0.01, 1.5, 0.15
SPEED = 50.0  # m/s: the page counts in alpha = w/V
LOOP = {  # a mission may not have a filter of nothing; 1e-15 s of a tick of 10 ms is 1e-13 of it
    "servo.natural_frequency": 80.0 / (2.0 * math.pi),
    "servo.damping": 0.7,
    "servo.delay": 0.0,
    "autopilot.rate": 1.0 / TS,
    "autopilot.derivative": "error",
    "autopilot.filter": 1e-15,
    "autopilot.gain_reference_q": None,
    "autopilot.gain_scale_limits": (0.2, 3.0),
    "autopilot.pitch": {"p": KP, "i": 0.0, "d": KD},
    "autopilot.yaw": {"p": KP, "i": 0.0, "d": KD},
    "autopilot.roll": {"p": 0.3, "i": 0.0, "d": 0.02},
}
# by extra samples of delay: gain margin, phase margin (deg), gain crossover, phase crossover (rad/s)
TABLE = {0: (4.003248494821, 42.49786746772, 17.51762494646, 48.71218626365), 1: (2.668418898809, 32.46100770247, 17.51762494646, 35.52632014894)}
POLES = [0.92079054 + 0.16188541j, 0.23266470 + 0.01181420j, 0.66425021, 0.98961020, -0.04036137]  # one extra sample
PRINTED = 2e-12  # relative, of the table's 13 digits, and a root found to 1e-13


def plant_models(*, speed=SPEED, turning=(0.0, 0.0, 0.0), ma=MA, md=MD, ld=LD) -> xr.Dataset:
    """Return one linear model whose pitch and yaw are the page's plant, in the states of `linearise`."""
    a, b = np.zeros((1, 10, 10)), np.zeros((1, 10, 6))
    s = {name: k for k, name in enumerate(STATES)}
    u = {name: k for k, name in enumerate((*DEMANDS, *GUSTS))}
    for plane, v, rate, sign in (("pitch", "w", "q", 1.0), ("yaw", "v", "r", -1.0)):
        a[0, s[v], [s[v], s[rate]]] = ZA, sign * speed
        a[0, s[rate], [s[v], s[rate]]] = sign * ma / speed, MQ
        a[0, s[f"{plane}_angle"], s[rate]] = 1.0
        b[0, [s[v], s[rate]], u[f"{plane}_demand"]] = sign * speed * ZD, md
        b[0, [s[v], s[rate]], u[f"gust_{v}"]] = -ZA, -sign * ma / speed
    a[0, s["p"], s["p"]], a[0, s["roll_angle"], s["p"]], b[0, s["p"], u["roll_demand"]] = LP, 1.0, ld
    one = ("point", [0.0])
    return xr.Dataset(
        {
            "state_matrix": (("point", "rate_of", "state"), a),
            "input_matrix": (("point", "rate_of", "input"), b),
            "mass": ("point", [2.0]),
            "sensed_pressure": ("point", [5000.0]),
            "sensed_mach": ("point", [0.3]),
            "booster": one,
            "gain_factor": ("channel", np.ones(3)),
            "servo_factor": 1.0,
            "body_rate": (("point", "axis"), [list(turning)]),
            "incidence": one,
        },
        {
            "time": one,
            "mach": ("point", [0.3]),
            "dynamic_pressure": ("point", [5000.0]),
            "state": list(STATES),
            "rate_of": list(STATES),
            "input": list(u),
            "channel": list(CHANNELS),
        },
    )


@pytest.fixture(scope="module")
def page_mission(demo_mission):
    return demo_mission.change(LOOP)


@pytest.fixture(scope="module")
def flown(demo_mission):
    """The demo's own models, at three moments."""
    return linearise(demo_mission, at=[0.8, 2.0, 5.0])


def db(gain):
    return 20.0 * np.log10(gain)


def poles(models, mission, channel="pitch"):
    return np.linalg.eigvals(loops_of(models, mission, channel).matrices().a[0])


def at_actuator(models, mission, channel="pitch"):
    return margins(models, mission, channels=channel, broken_at="actuator").isel(point=0, channel=0, broken_at=0)


# ---------------------------------------------------------------- the page's loop


@pytest.mark.parametrize("extra", [0, 1])
@pytest.mark.parametrize("channel", ["pitch", "yaw"])
def test_page__margins_of_the_discrete_loop(page_mission, channel, extra):
    gain, phase, crossover, phase_crossover = TABLE[extra]
    found = at_actuator(plant_models(), page_mission.change({"servo.delay": extra * TS}), channel)
    assert float(found.gain_margin_db) == pytest.approx(db(gain), rel=PRINTED)
    # the servo's frequency goes through Hz and back, the phase through a slope of some degrees a rad/s: 1e-11 leaves room
    assert math.degrees(found.phase_margin) == pytest.approx(phase, rel=1e-11)
    assert float(found.crossover) == pytest.approx(crossover, rel=1e-11)
    assert float(found.phase_crossover) == pytest.approx(phase_crossover, rel=1e-11)
    assert float(found.delay_margin) == pytest.approx(math.radians(phase) / crossover, rel=1e-11)
    assert bool(found.stable)


@pytest.mark.parametrize("extra", [0, 1])
def test_page__growth_is_nothing_at_the_critical_gain(page_mission, extra):
    k = TABLE[extra][0]
    mission = page_mission.change({"servo.delay": extra * TS, "autopilot.pitch.p": k * KP, "autopilot.pitch.d": k * KD})
    # |z| = 1 to the table's 1e-12, over a tick of 10 ms
    assert float(at_actuator(plant_models(), mission).growth) == pytest.approx(0.0, abs=1e-8)


def test_page__closed_loop_poles(page_mission):
    found = poles(plant_models(), page_mission.change({"servo.delay": TS}))
    for pole in [*POLES, *np.conj(POLES)]:
        assert np.abs(found - pole).min() < 1e-8  # printed to eight decimals
    # what is left is memory that nobody reads any more: zeros, which a defective matrix smears (1e-16 to the power 1/3)
    assert np.sort(np.abs(found))[: len(found) - 7].max() < 1e-4


def test_page__speed_is_a_matter_of_units(page_mission):
    one, other = (at_actuator(plant_models(speed=v), page_mission) for v in (1.0, 300.0))
    assert float(one.gain_margin_db) == pytest.approx(float(other.gain_margin_db), rel=1e-10)


# ---------------------------------------------------------------- crossings alone


def of_loop(loop, low=0.1, high=1000.0):
    grid = np.geomspace(low, high, 320)
    return response_margins(lambda w, k: loop(w), grid, loop(grid)[None])


def test_crossings__integrator_with_dead_time():
    """K e^(-sT)/s, K 10, T 50 ms: PM = 90 deg - K T, GM = pi/(2 K T), at w = pi/(2 T) (closed forms)."""
    found = of_loop(lambda w: 10.0 * np.exp(-0.05j * w) / (1j * w))
    assert math.degrees(found.phase_margin[0]) == pytest.approx(61.35211024346, rel=PRINTED)
    assert found.gain_margin_db[0] == pytest.approx(9.942997453883, rel=PRINTED)
    assert found.phase_crossover[0] == pytest.approx(31.41592653590, rel=PRINTED)
    assert found.delay_margin[0] == pytest.approx((0.5 * math.pi - 0.5) / 10.0, rel=PRINTED)
    assert found.gain_reduction_db[0] == math.inf


def test_crossings__double_integrator():
    """(Kp + Kd s)/s^2: wc^2 = (Kd^2 + sqrt(Kd^4 + 4 Kp^2))/2, PM = atan(Kd wc/Kp), the gain never ends (closed forms)."""
    found = of_loop(lambda w: (100.0 + 14.0j * w) / (1j * w) ** 2)
    assert found.crossover[0] == pytest.approx(15.42771159263, rel=PRINTED)
    assert math.degrees(found.phase_margin[0]) == pytest.approx(65.1563934750, rel=PRINTED)
    assert np.isnan(found.gain_margin_db[0]) and found.gain_reduction_db[0] == math.inf


def test_crossings__printed_example():
    """25/(s^3 + 10 s^2 + 10 s + 10): a printed margin example, its numbers to the digits printed; GM = 90/25 at w^2 = 10 exactly."""
    found = of_loop(lambda w: 25.0 / np.polyval([1.0, 10.0, 10.0, 10.0], 1j * w))
    assert found.gain_margin_db[0] == pytest.approx(db(3.6), rel=1e-12)
    assert found.phase_crossover[0] == pytest.approx(math.sqrt(10.0), rel=1e-12)
    assert math.degrees(found.phase_margin[0]) == pytest.approx(29.1104, abs=6e-5)
    assert found.crossover[0] == pytest.approx(1.7844, abs=6e-5)
    assert found.delay_margin[0] == pytest.approx(0.2847, abs=6e-5)


def test_crossings__delay_goes_the_long_way_round():
    """(10/w) e^(-j (pi + 0.5)): beyond the critical phase already, so a delay must turn it on by a whole turn less 0.5."""
    found = of_loop(lambda w: 10.0 / w * np.exp(-1j * (math.pi + 0.5)))
    assert found.phase_margin[0] == pytest.approx(0.5, rel=1e-12)
    assert found.delay_margin[0] == pytest.approx((2.0 * math.pi - 0.5) / 10.0, rel=1e-12)


def test_crossings__gain_may_also_fall_too_far():
    """K (s + 1)/(s (s - 1)) closes to s^2 + (K - 1) s + K: stable above K = 1, so at K = 4 the gain may fall by 4 (closed form)."""
    found = of_loop(lambda w: 4.0 * (1j * w + 1.0) / (1j * w * (1j * w - 1.0)))
    assert found.gain_reduction_db[0] == pytest.approx(db(4.0), rel=1e-12)
    assert np.isnan(found.gain_margin_db[0])


def test_crossings__sampled_integrator_ends_at_half_the_sampling_frequency():
    """K/(z - 1) closes to z - 1 + K: it alternates from K = 2 on, at z = -1, where the response is real and does not cross the axis."""
    found = of_loop(lambda w: 0.5 / (np.exp(1j * w * TS) - 1.0), high=(1.0 - 1e-9) * math.pi / TS)
    assert found.gain_margin_db[0] == pytest.approx(db(4.0), rel=1e-9)
    assert found.phase_crossover[0] == pytest.approx(math.pi / TS, rel=1e-8)


# ---------------------------------------------------------------- python-control on the same loops


def by_control(system, low=0.3):
    """Return (GM up, PM, SM) by python-control from its own response of a system; above `low`, where its spline can follow."""
    grid = np.geomspace(low, 0.999 * math.pi / system.dt, 2500)
    magnitude, phase, _ = control.frequency_response(system, grid)
    gm, pm, sm, *_ = control.stability_margins((np.ravel(magnitude), np.degrees(np.ravel(phase)), grid), returnall=True)
    up = gm[gm > 1.0]
    return up.min() if up.size else math.nan, np.abs(pm).min() if pm.size else math.nan, sm.min()


@pytest.mark.parametrize("where", BREAKS)
@pytest.mark.parametrize("channel", CHANNELS)
def test_margins__against_python_control(flown, channel, where):
    found = margins(flown, channels=channel, broken_at=where).isel(channel=0, broken_at=0)
    for point in range(flown.sizes["point"]):
        gain, phase, distance = by_control(open_loop(flown, point, channel, broken_at=where))
        one = found.isel(point=point)
        # python-control interpolates 2500 points by splines
        assert float(one.gain_margin_db) == pytest.approx(db(gain), abs=1e-5, nan_ok=True)
        assert math.degrees(one.phase_margin) == pytest.approx(phase, abs=1e-4, nan_ok=True)
        assert float(one.distance) == pytest.approx(distance, rel=1e-5)


def test_margins__python_control_finds_what_is_not_there(page_mission):
    """The double pole at z = 1 makes its polynomials report crossings near 1e-5 rad/s; above a lower frequency limit both agree."""
    system = open_loop(plant_models(), gains=page_mission)
    fraction = control.minreal(control.ss2tf(system), 1e-6, verbose=False)
    gm, pm, _, at, crossover, _ = control.stability_margins(fraction, returnall=True, method="poly")
    gain, phase, *_ = TABLE[0]
    assert gm[at > 0.1].min() == pytest.approx(gain, rel=1e-5)  # polynomials of a sampled loop hold some six digits
    assert pm[crossover > 0.1].min() == pytest.approx(phase, rel=1e-5)


@pytest.mark.parametrize("where", BREAKS)
def test_disk_margin__against_python_control(flown, where):
    found = margins(flown, channels="pitch", broken_at=where).isel(channel=0, broken_at=0)
    for point in range(flown.sizes["point"]):
        system = open_loop(flown, point, broken_at=where)
        grid = np.geomspace(0.1, 0.999 * math.pi / system.dt, 2000)
        # a minimum taken from a grid of ratio 1.004 lies above the true one by its square
        assert float(found.disk_margin[point]) == pytest.approx(control.disk_margins(system, grid, skew=0.0)[0], rel=1e-4)


def test_coupled__against_singular_values(flown):
    """From the demands with disturbances to those without, S = (1 + L)^-1: least |1 + L| = 1/max s(S), and (1 - L)(1 + L)^-1 = 2 S - 1."""
    found = coupled_margins(flown)
    inputs, outputs = [f"{c}_demand_added" for c in CHANNELS], [f"{c}_demand" for c in CHANNELS]
    for point in range(flown.sizes["point"]):
        whole = closed_response(flown, point, "full")
        b, c = [[names.index(x) for x in chosen] for names, chosen in ((whole.input_labels, inputs), (whole.output_labels, outputs))]
        s = control.ss(whole.A, whole.B[:, b], whole.C[c], whole.D[np.ix_(c, b)], whole.dt)
        balanced = control.ss(whole.A, whole.B[:, b], 2.0 * whole.C[c], 2.0 * whole.D[np.ix_(c, b)] - np.eye(3), whole.dt)
        grid = np.geomspace(0.1, 0.999 * math.pi / whole.dt, 1500)
        for system, name, factor in ((s, "distance", 1.0), (balanced, "disk_margin", 2.0)):
            largest = control.singular_values_response(system, grid).magnitude.max()
            # ours is taken from its grid of 160 points, a ratio of 1.05: within the square of that of the minimum, at worst
            assert float(found[name][point]) == pytest.approx(factor / largest, rel=3e-3)


def test_coupled__one_channel_at_its_margin_with_the_others_closed(flown):
    found = coupled_margins(flown)
    for point in range(flown.sizes["point"]):
        for k, channel in enumerate(CHANNELS):
            factor = np.ones(3)
            factor[k] = 10.0 ** (float(found.gain_margin_db[point, k]) / 20.0)
            scaled = flown.isel(point=[point]).assign(gain_factor=("channel", flown.gain_factor.values * factor))
            values = poles(scaled, loops_mission(flown), "full")
            swinging = values[np.abs(values.imag) > 1e-3]
            assert np.abs(np.abs(swinging) - 1.0).min() < 1e-9  # a pole of a well-conditioned matrix, a root to 1e-13


def loops_mission(models):
    from sixdof.study.loops.loop import flown_mission

    return flown_mission(models, None, "test")


# ---------------------------------------------------------------- the closed loop says the same

SENSORS = {"sensors.gyro.lag": 0.006, "sensors.barometer.rate": 20.0}
CASCADE = {"autopilot.structure": "cascade", "autopilot.derivative": "rate", "autopilot.filter": 0.0}
STRUCTURES = {
    "pid on rate": {"autopilot.derivative": "rate", "autopilot.filter": 0.0, "autopilot.pitch.i": 1.0},
    "pid on rate, filtered": {"autopilot.derivative": "rate", "autopilot.filter": 0.01, "autopilot.pitch.i": 1.0},
    "pid on error, filtered": {"autopilot.filter": 0.008, "autopilot.pitch.i": 2.0},
    "cascade": CASCADE | {"autopilot.pitch": {"p": 8.0, "i": 0.4, "d": 0.15}},
    "notch": {"autopilot.notch": {"frequency": 25.0, "depth": 0.2, "width": 0.4}},
    "gyro lag": SENSORS | {"autopilot.derivative": "rate", "autopilot.pitch.i": 1.0},
    "gyro lag, cascade, notch": SENSORS | CASCADE | {"autopilot.pitch": {"p": 8.0, "i": 0.0, "d": 0.15}, "autopilot.notch": {"frequency": 20.0, "depth": 0.1}},
}
ON_CIRCLE = 1e-8  # poles of some 20 states, and roots to 1e-13; zeros of the memory are far away


def scaled(models, factor):
    """Return the models with the pitch loop's gain at the demand times a factor: the fins do so much more."""
    out = models.copy(deep=True)
    out["input_matrix"].loc[{"input": "pitch_demand"}] *= factor
    return out


def growth_of(models, mission, bending=None):
    return float(loops_of(models, mission, "pitch", bending).matrices().growth()[0])


def check_closed(models, mission):
    """Assert that the closed loop swings at the crossover when its gain is what the margin says, grows above and decays below."""
    found = at_actuator(models, mission)
    assert bool(found.stable)
    gain, down = 10.0 ** (float(found.gain_margin_db) / 20.0), 10.0 ** (-float(found.gain_reduction_db) / 20.0)
    z = np.exp(1j * float(found.phase_crossover) / mission.autopilot.rate)
    assert np.abs(poles(scaled(models, gain), mission) - z).min() < ON_CIRCLE
    growth = [growth_of(scaled(models, k), mission) for k in (0.5 * (1.0 + gain), 0.998 * gain, 1.002 * gain)]
    # integrating gyros never forget an offset: that pole is 1 to rounding whatever the gain
    assert growth[0] < 1e-6 and growth[1] < 1e-6 and growth[2] > 1e-6
    if 0.0 < down < 1.0:
        values = poles(scaled(models, down), mission)
        assert np.abs(np.abs(values[np.abs(values.imag) > 1e-9]) - 1.0).min() < ON_CIRCLE


@pytest.mark.parametrize("delay", [0.0, 0.008, 0.025])
@pytest.mark.parametrize("name", STRUCTURES)
def test_closed__growth_crosses_nothing_at_the_gain_margin(page_mission, name, delay):
    mission = page_mission.change(STRUCTURES[name] | {"servo.delay": delay})
    # the page's gains do not bear the longest delay
    check_closed(scaled(plant_models(), 0.5 if delay > 0.02 else 1.0), mission)


LOOPS = {
    "p": st.floats(0.1, 2.0),
    "i": st.sampled_from([0.0, 0.5]),
    "d": st.floats(0.02, 0.2),
    "delay": st.floats(0.0, 0.03),
    "rate": st.sampled_from([20, 50, 100, 250, 400]),
    "servo": st.floats(5.0, 40.0),
    "structure": st.sampled_from(sorted(STRUCTURES)),
    "ma": st.floats(-150.0, 20.0),
}


def check_any(mission, p, i, d, delay, rate, servo, structure, ma):
    changes = STRUCTURES[structure] | {"servo.delay": delay, "autopilot.rate": rate, "solver.steps_per_tick": 10, "servo.natural_frequency": servo}
    changes |= {"autopilot.pitch": {"p": 10.0 * p if "cascade" in structure else p, "i": i, "d": d}}
    if rate <= 50:
        changes["autopilot.notch"] = None  # a notch must lie below half the rate
    mission, models = mission.change(changes), plant_models(ma=ma)
    found = at_actuator(models, mission)
    if not bool(found.stable):
        assert float(found.gain_margin_db) == float(found.phase_margin) == float(found.distance) == 0.0
    elif np.isnan(found.gain_margin_db):
        assert growth_of(scaled(models, 1e3), mission) < 0.1
    elif float(found.gain_margin_db) > 0.05 and float(found.growth) < 1e-6:
        check_closed(models, mission)


@given(**LOOPS)
@settings(deadline=None, max_examples=20)
def test_closed__any_loop(page_mission, **loop):
    check_any(page_mission, **loop)


@pytest.mark.slow
@given(**LOOPS)
@settings(deadline=None, max_examples=400)
def test_closed__very_many_loops(page_mission, **loop):
    check_any(page_mission, **loop)


def test_delay_margin__put_into_the_servo(page_mission):
    """Whole ticks are e^(-jwT n) exactly: the margin falls by them, and the loop is stable until they are more than it."""
    models, mission = plant_models(), page_mission.change({"autopilot.rate": 400.0})
    margin = float(at_actuator(models, mission).delay_margin)
    most = int(margin * 400.0)
    left = [at_actuator(models, mission.change({"servo.delay": n / 400.0})) for n in (0, 3, most, most + 1)]
    assert [float(one.delay_margin) for one in left[:3]] == pytest.approx([margin, margin - 3 / 400.0, margin - most / 400.0], abs=1e-12)
    assert float(left[2].growth) < 0.0 < float(left[3].growth)
    # parts of a tick: the hold's images answer too, little at a crossover 70 times below the rate
    low, high = (float(at_actuator(models, mission.change({"servo.delay": f * margin})).growth) for f in (0.99, 1.01))
    assert low < 0.0 < high


# ---------------------------------------------------------------- hold and bending


@pytest.mark.parametrize(("w", "lag"), [(10.0, 2.8648), (20.0, 5.7296), (50.0, 14.3239)])
def test_hold__costs_half_a_tick(page_mission, w, lag):
    """Phase lag of the hold near w T/2: 100 Hz -> 2.8648 deg at 10 rad/s, 5.7296 at 20, 14.3239 at 50 (the page)."""
    models = plant_models(ma=0.0)
    angle = sampled_plant(models, page_mission, "pitch").response(np.exp(1j * w * TS)[None])[0, 0, 0]
    s, wn = 1j * w, 80.0
    q = np.linalg.solve(s * np.eye(2) - np.array([[ZA, SPEED], [0.0, MQ]]), np.array([SPEED * ZD, MD]))[1]
    exact = q / s * wn**2 / (s * s + 1.4 * wn * s + wn * wn)
    # images of the hold at 628 rad/s less w are down by the plant's four poles
    assert math.degrees(np.angle(exact / angle)) == pytest.approx(lag, abs=0.01 if w < 30.0 else 0.1)


@pytest.mark.parametrize("channel", ["pitch", "yaw"])
def test_bending__against_an_independent_model(page_mission, channel):
    """Mode driven by the fins' force, read by the gyro with its slope; continuous by python-control, sampled by its own exact hold."""
    mode = BendingMode(18.0, 0.02, 1.3, shape_at_fins=0.9, slope_at_gyro=-1.7)
    w, force = 2.0 * math.pi * 18.0, 2.0 * SPEED * ZD  # mass times acceleration, N/rad, in the page's plane
    s = control.tf("s")
    servo = 6400.0 / (s**2 + 112.0 * s + 6400.0)
    rigid = control.ss([[ZA, SPEED, 0], [MA / SPEED, MQ, 0], [0, 1, 0]], [[SPEED * ZD], [MD], [0]], [[0, 0, 1]], [[0]])
    bend = 0.9 * force / 1.3 / (s**2 + 0.04 * w * s + w**2)
    sampled = control.sample_system((rigid - 1.7 * control.ss(bend)) * control.ss(servo), TS, method="zoh")
    grid = np.array([2.0, 20.0, 100.0, w, 130.0, 250.0])
    angle, rate = sampled_plant(plant_models(), page_mission, channel, mode).response(np.exp(1j * grid * TS)[None])[:, 0, 0]
    # two ways to the same exact hold
    assert angle == pytest.approx(sampled(np.exp(1j * grid * TS)), rel=1e-8)
    without = sampled_plant(plant_models(), page_mission, channel).response(np.exp(1j * grid * TS)[None])[1, 0, 0]
    assert np.abs(rate[3]) > 4.0 * np.abs(without[3])  # the mode is in it: at its peak 1/(2 damping) = 25 times its own


@pytest.mark.parametrize(("frequency", "damping", "slope"), [(6.75, 0.005, 1.0), (7.6, 0.003, 1.0), (9.0, 0.003, 1.0), (21.3, 0.02, -1.0), (33.1, 0.003, -1.0)])
def test_bending__no_peak_is_too_narrow(page_mission, frequency, damping, slope):
    """A peak of a half width of 0.3 % stands between two points of an even grid; the margin must see it as the poles do.

    The modal mass is sought at which the poles cross the circle at a gain of 1.4; the margin must then be 1.4.
    """
    mission, models = page_mission.change({"autopilot.rate": 400.0}), plant_models()

    def mode(log_mass):
        return BendingMode(frequency, damping, math.exp(log_mass), slope_at_gyro=slope)

    def growth(log_mass, k):
        return growth_of(scaled(models, k), mission, mode(log_mass))

    grid = np.linspace(6.0, -5.0, 45)
    k = [growth(m, 1.4) > 0.0 for m in grid].index(True)
    mass = brentq(growth, grid[k], grid[k - 1], args=(1.4,), xtol=1e-12)
    found = margins(models, mission, channels="pitch", broken_at="actuator", bending=mode(mass))
    assert bool(found.stable.squeeze())
    # the growth's slope over the gain is small for a mode so lightly damped: 1e-13 of the mass is some 1e-9 of the gain
    assert float(found.gain_margin_db.squeeze()) == pytest.approx(db(1.4), rel=1e-7)
