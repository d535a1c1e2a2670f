"""The sampled loops: their law, servo and sensors against the kernel's own, sample by sample; what open_loop and closed_response return."""

from __future__ import annotations

import math

import control
import numpy as np
import pytest
from control_drivers import estimates, servo_chain
from scipy.spatial.transform import Rotation

import sixdof
from sixdof.autopilot.gains import gains_table
from sixdof.autopilot.servo import servo_table
from sixdof.core import layout as la
from sixdof.core.computer.control import built_in_control
from sixdof.core.computer.sensors import lagged_rate
from sixdof.core.layout import Sensed
from sixdof.core.types import Vec3
from sixdof.study.loops.blocks import linked, response
from sixdof.study.loops.law_model import law_block, law_gains
from sixdof.study.loops.linear import CHANNELS, linearise
from sixdof.study.loops.loop import closed_response, loops_of, open_loop
from sixdof.study.loops.sampled_plant import BendingMode, sampled_plant

TICKS = 60
SMALL = 1e-6  # rad: the law sees 2 sin(e/2), which differs from e by 4e-14 of it
SETS = [
    {"at": at, "pitch": {"p": p, "i": 0.4, "d": 0.08}, "yaw": {"p": p, "i": 0.1, "d": 0.1}, "roll": {"p": 0.04, "d": 0.004}}
    for at, p in ((0.0, 0.9), (8000.0, 0.3))
]
NO_SETS = {"autopilot.pitch": {}, "autopilot.yaw": {}, "autopilot.roll": {}}
LAWS = {
    "as it is": {},
    "filtered": {"autopilot.filter": 0.02, "autopilot.roll.i": 0.3},
    "error": {"autopilot.derivative": "error", "autopilot.filter": 0.03, "autopilot.pitch.f": 0.05, "guidance.rate_feedforward": True},
    "cascade": {"autopilot.structure": "cascade", "autopilot.pitch": {"p": 5.0, "i": 0.5, "d": 0.1, "f": 0.02}, "guidance.rate_feedforward": True},
    "notch": {"autopilot.notch": {"frequency": 20.0, "depth": 0.1, "width": 0.3}},
    "schedule": NO_SETS | {"autopilot.schedule": SETS, "autopilot.gain_reference_q": None, "autopilot.gain_scale_limits": (0.2, 3.0)},
}


@pytest.fixture(scope="module")
def models(demo_mission):
    return linearise(demo_mission, at=[0.6, 2.0, 5.0])


@pytest.fixture(scope="module")
def real(demo_mission):
    """The demo with a servo that waits and gyros that lag, and its models."""
    mission = demo_mission.change({"servo.delay": 0.013, "sensors.gyro.lag": 0.006})
    return linearise(mission, at=[2.0, 5.0])


# ---------------------------------------------------------------- against the kernel


def kernel_demands(mission, models, point, channel, goal, angle, rate):
    """Return the demands (ticks,) of the kernel's law for rows of small goals, angles and rates about one body axis."""
    gains, memory, command, out = gains_table(mission), np.zeros(64), np.zeros(la.DEMAND_SIZE), []
    sensed = np.zeros(len(la.SENSED))
    sensed[Sensed.ENABLED], sensed[Sensed.PERIOD] = 1.0, 1.0 / mission.autopilot.rate
    sensed[Sensed.DYNAMIC_PRESSURE], sensed[Sensed.MACH] = (float(models[name][point]) for name in ("sensed_pressure", "sensed_mach"))
    last = 0.0
    for g, a, w in zip(goal, angle, rate):
        sensed[Sensed.Q_W], sensed[Sensed.Q_X + channel] = math.cos(0.5 * a), math.sin(0.5 * a)
        sensed[Sensed.COMMANDED_W], sensed[Sensed.COMMANDED_X + channel] = math.cos(0.5 * g), math.sin(0.5 * g)
        sensed[Sensed.RATE_X + channel] = w
        if mission.guidance.rate_feedforward:  # as core.computer.steer
            sensed[Sensed.COMMANDED_RATE_X + channel] = 2.0 * math.sin(0.5 * (g - last)) * mission.autopilot.rate
        last = g
        built_in_control(0.0, sensed, memory, gains, command)
        out.append(command[channel])
    return np.array(out)


@pytest.mark.parametrize("channel", range(3))
@pytest.mark.parametrize("name", LAWS)
def test_law__matrices_are_the_kernel(demo_mission, models, name, channel):
    mission = demo_mission.change(LAWS[name])
    rng = np.random.default_rng(channel)
    goal, angle = SMALL * rng.normal(size=(2, TICKS))
    rate = 30.0 * SMALL * rng.normal(size=TICKS)
    for point in (0, 2):
        law = law_block(law_gains(models, mission), channel)
        a, b, c, d = (m[point] for m in (law.a, law.b, law.c, law.d))
        x, found = np.zeros(len(a)), []
        for given in zip(goal, angle, rate):
            found.append((c @ x + d @ given)[0])
            x = a @ x + b @ given
        wanted = kernel_demands(mission, models, point, channel, goal, angle, rate)
        # 2 sin(e/2) for e, and rounding of unit quaternions: 1e-16 of 1e-6 rad, times D's 1/T
        assert found == pytest.approx(wanted, abs=1e-9 * np.abs(wanted).max())
        assert np.abs(wanted).max() > 0.0


def textbook_law(gains, channel, z):
    """Return the law's answers at z to goal, angle and rate, (points, 3): sums and differences by their own transfer functions."""
    p, i, d, f = (x[:, channel] for x in (gains.p, gains.i, gains.d, gains.f))
    t, back = gains.period, 1.0 / z
    total, difference = i * t / (1.0 - back), (1.0 - back) / t
    goal_rate = difference if gains.feed else 0.0
    share = t / (gains.filter + t)
    lagged = share / (1.0 - (1.0 - share) * back)
    if gains.cascade:
        rate = d + total
        angle = p * rate
        goal = angle + (rate + f) * goal_rate
    elif gains.on_error:
        angle, rate = p + total + d * difference * lagged, 0.0 * p
        goal = angle + f * goal_rate
    else:
        angle, rate = p + total, d * lagged
        goal = angle + f * goal_rate
    c0, c1, c2, a1, a2 = gains.notch if channel > 0 else np.zeros(5)
    shaped = gains.scale * (1.0 + (c0 + c1 * back + c2 * back**2) / (1.0 + a1 * back + a2 * back**2))
    return (shaped * np.stack([goal, -angle, -rate])).T


@pytest.mark.parametrize("name", LAWS)
def test_law__response_is_that_of_the_textbook(demo_mission, models, name):
    gains = law_gains(models, demo_mission.change(LAWS[name]))
    z = np.exp(1j * np.array([0.3, 4.0, 30.0, 200.0]) * gains.period)
    for channel in range(3):
        found = response(law_block(gains, channel), np.broadcast_to(z, (3, 4)))[0]
        for k, zk in enumerate(z):
            exact = textbook_law(gains, channel, zk)
            # the sum of what a tick makes of it loses three digits near the integral's pole at z = 1
            assert pytest.approx(exact, rel=1e-11, abs=1e-13) == found[:, :, k].T


def test_law__drawn_factors_and_pressure(demo_mission, models):
    """Gains at 5 kPa times 5 kPa/q within their limits [0.4, 2.5], times the drawn factor."""
    drawn = models.assign(gain_factor=("channel", [1.0, 1.1, 1.0]))
    gains = law_gains(drawn, demo_mission)
    assert gains.p[:, 1] == pytest.approx(1.1 * 0.35 * np.ones(3), rel=1e-14)
    assert gains.scale == pytest.approx(np.clip(5000.0 / models.sensed_pressure.values, 0.4, 2.5), rel=1e-14)


@pytest.mark.parametrize("delay", [0.0, 0.004, 0.01, 0.025])
def test_servo__states_are_the_kernel(demo_mission, models, delay):
    """Random commands through core.actuator, and through the sampled plant's servo: the fin at every tick."""
    mission = demo_mission.change({"servo.delay": delay})
    commands = 1e-3 * np.random.default_rng(3).normal(size=TICKS)
    steps = 40
    _, fins, _, _ = servo_chain(commands, servo_table(mission), steps=steps)
    plant = sampled_plant(models, mission, "pitch")
    servo = linked([plant.hold, plant.vehicle], ["pitch_demand"], ["pitch_fin"])
    x, found = np.zeros(len(servo.states)), []
    for command in commands:
        x = servo.a[0] @ x + servo.b[0][:, 0] * command
        found.append((servo.c[0] @ x)[0])
    # RK4 at (w h) = 57 x 0.25 ms/2: (w h)^4/120 a step's share, 1e-10 in all
    assert found == pytest.approx(fins[steps - 1 :: steps, 0], abs=1e-9 * 1e-3)


def test_servo__delay_changes_nothing_but_commands(demo_mission, models):
    """A gust blows, and the vehicle moves on, for the whole of a tick, whenever in it a command is taken."""
    at_once, late = (sampled_plant(models, demo_mission.change({"servo.delay": delay}), "full").vehicle for delay in (0.0, 0.013))
    gusts = [k for k, name in enumerate(late.inputs) if name.startswith("gust")]
    for whole, parts in ((at_once.a, late.a), (at_once.b[:, :, gusts], late.b[:, :, gusts])):
        assert np.abs(whole).max() > 1e-3
        # one exponential against two in a row: rounding, found as some 1e-15 of the largest
        assert np.abs(parts - whole).max() < 1e-12 * np.abs(whole).max()
    assert np.abs(late.b[:, :, late.inputs.index("pitch_command_before")]).max() > 1e-3  # so that a tick does have two parts


def test_sensors__lag_and_estimate_are_the_kernel(real):
    """The pitch rate of a decaying motion through core's gyro lag and estimator, and as the closed loop's states have it."""
    m = loops_of(real, sixdof.parts.loads_mission(real.attrs["mission"]), "pitch").matrices()
    rng = np.random.default_rng(1)
    x, rates, lagged, angle = np.zeros(len(m.states)), [], [], []
    for _ in range(TICKS):
        u = np.zeros(len(m.inputs))
        u[m.inputs.index("pitch_goal")] = 1e-4 * rng.normal()
        rates.append((m.c[0] @ x + m.d[0] @ u)[m.outputs.index("pitch_rate")])
        x = m.a[0] @ x + m.b[0] @ u
        lagged.append(x[m.states.index("pitch_read")])
        angle.append(x[m.states.index("pitch_estimate")])
    state = np.zeros(6)
    read = np.array([lagged_rate(Vec3(0.0, w, 0.0), 0.006, m.period, state)[1] for w in rates])
    assert lagged == pytest.approx(read, rel=1e-12, abs=1e-18)
    told = estimates(np.stack([0.0 * read, read, 0.0 * read], axis=1), np.zeros((TICKS, 3)))[:, 2]
    # half angles of some 1e-4 rad: sin x for x leaves x^2/6
    assert angle == pytest.approx(2.0 * told, abs=1e-9 * np.abs(told).max())
    assert np.abs(rates).max() > 1e-6


def test_sensors__small_angles_turn_with_a_rolling_body(real):
    """Two estimates, of a rolling motion and of one that differs by small rates: their difference, as the coupled loops take it."""
    turning = np.array([6.0, 0.4, -0.3])
    mission = sixdof.parts.loads_mission(real.attrs["mission"])
    mission = mission.change({"sensors.gyro.lag": 0.0})
    sensors = sampled_plant(real.assign(body_rate=(("point", "axis"), np.tile(turning, (2, 1)))), mission, "full").sensors
    t = sensors.period * np.arange(1, TICKS + 1)
    extra = 1e-4 * np.stack([np.sin(9.0 * t), np.cos(5.0 * t) - 1.0, np.sin(3.0 * t)], axis=1)
    base = np.tile(turning, (TICKS, 1))
    q0, q1 = (Rotation.from_quat(estimates(w, 0.0 * w)[:, :4], scalar_first=True) for w in (base, base + extra))
    wanted = (q0.inv() * q1).as_rotvec()
    x, found = np.zeros(len(sensors.states)), []
    for row in extra:
        given = np.concatenate([np.zeros(3), row])
        found.append((sensors.c[0] @ x + sensors.d[0] @ given)[:3])
        x = sensors.a[0] @ x + sensors.b[0] @ given
    # trapezoids turned by the whole tick for rates turned on their way: (0.06 rad)^2/12 = 3e-4 of a tick's part
    assert np.array(found) == pytest.approx(wanted, abs=1e-3 * np.abs(wanted).max())
    straight = sensors.period * np.cumsum(extra, axis=0)
    assert np.abs(straight - wanted).max() > 0.5 * np.abs(wanted[:, 1:]).max()  # the body's own turning is in it


# ---------------------------------------------------------------- open_loop and closed_response


@pytest.mark.parametrize("where", ["actuator", "attitude", "rate"])
@pytest.mark.parametrize("channel", CHANNELS)
def test_open_loop__is_the_response_that_margins_use(real, channel, where):
    from sixdof.study.loops.loop import broken

    system = open_loop(real, 1, channel, broken_at=where)
    loops = loops_of(real, sixdof.parts.loads_mission(real.attrs["mission"]), channel)
    w = np.array([0.5, 5.0, 40.0, 250.0])
    wanted = broken(loops.parts(np.broadcast_to(w, (2, 4))), where)[1]
    # two ways to one response; near z = 1 the sums of angles lose some digits
    assert system(np.exp(1j * w * 0.01)) == pytest.approx(wanted, rel=1e-8)
    assert system.dt == 0.01 and system.name == f"{channel}_1_open_at_{where}"


def test_closed_response__closes_open_loop(real):
    """From what is added to the demand to the demand: 1/(1 + L)."""
    z = np.exp(1j * np.array([1.0, 10.0, 60.0]) * 0.01)
    whole, opened = closed_response(real, 0), open_loop(real, 0)
    i, o = whole.input_labels.index("pitch_demand_added"), whole.output_labels.index("pitch_demand")
    assert whole(z)[o, i] == pytest.approx(1.0 / (1.0 + opened(z)), rel=1e-8)


def test_closed_response__full_closes_the_coupled_loops(real):
    """As for one channel, of all three together: (1 + L)^-1 with L in rows of demands, element by element."""
    w = np.array([1.0, 5.0, 20.0])
    whole = closed_response(real, 0, "full")
    parts = loops_of(real, sixdof.parts.loads_mission(real.attrs["mission"]), "full").parts(np.broadcast_to(w, (2, 3)))
    wanted = np.linalg.inv(np.eye(3) + (parts["angle"] + parts["rate"])[0])
    o, i = ([names.index(f"{c}_{what}") for c in CHANNELS] for names, what in ((whole.output_labels, "demand"), (whole.input_labels, "demand_added")))
    found = whole(np.exp(1j * w * 0.01))[np.ix_(o, i)].transpose(2, 0, 1)
    assert np.abs(found - wanted).max() < 1e-9  # of numbers about 1: two ways to one response, near z = 1 some digits are lost
    assert (np.abs(wanted * (1.0 - np.eye(3))).max(axis=(1, 2)) > 0.01).all()  # the channels do act on each other


def test_closed_response__step_by_control_is_its_matrices(real):
    system = closed_response(real, 0, "pitch")
    assert system.name == "pitch_0_closed" and system.dt == 0.01
    assert system.input_labels == ["pitch_goal", "gust_w", "pitch_demand_added", "pitch_angle_added", "pitch_rate_added"]
    assert system.output_labels == ["pitch_angle", "pitch_rate", "pitch_demand", "pitch_fin"]
    steps = control.step_response(system, T=np.arange(TICKS) * 0.01, input=0)
    x, found = np.zeros(system.nstates), []
    for _ in range(TICKS):
        found.append(system.C @ x + system.D[:, 0])
        x = system.A @ x + system.B[:, 0]
    assert pytest.approx(np.array(found), rel=1e-10, abs=1e-14) == steps.outputs[:, 0].T


def test_closed_response__full_has_all_three(real):
    system = closed_response(real, 1, "full")
    assert [name for name in system.input_labels if name.endswith("_goal")] == ["roll_goal", "pitch_goal", "yaw_goal"]
    assert [name for name in system.input_labels if name.startswith("gust")] == ["gust_u", "gust_v", "gust_w"]
    assert len(system.output_labels) == 12


@pytest.mark.parametrize("changes", [{}, {"servo.delay": 0.013, "sensors.gyro.lag": 0.006}], ids=["ideal", "delay and gyro"])
def test_closed_response__step_in_a_whole_flight(demo_mission, changes):
    """The goal steps by 0.05 deg at 2 s of a calm flight; less the same flight without the step, that is the linear step response."""
    step = math.radians(0.05)
    still = demo_mission.change(
        {
            "air.wind.speed": 0.0,
            "rail.elevation": 0.5 * math.pi,
            "record.rate": 100.0,
            "autopilot.profile.time": [0.0, 2.0, 2.0 + 1e-9],
            "autopilot.profile.tilt_pitch": [0.0, 0.0, 0.0],
        }
        | changes
    )
    with_step, without = (sixdof.fly(still.change({"autopilot.profile.tilt_pitch": [0.0, 0.0, s]})) for s in (step, 0.0))
    shown = with_step.time.values[(with_step.time.values > 2.0 - 1e-6) & (with_step.time.values < 2.6)]
    flown = (with_step["tilt_pitch"] - without["tilt_pitch"]).sel(time=shown, method="nearest").values / step
    goal = (with_step["commanded_pitch"] - without["commanded_pitch"]).sel(time=shown, method="nearest").values / step
    system = closed_response(linearise(still, at=2.1), 0, "pitch")
    # tilt_pitch is positive downrange, where the launch frame's Y turn is against it; the goal at each tick is the log's own
    linear = control.forced_response(system, np.arange(len(shown)) * 0.01, np.vstack([goal, np.zeros((4, len(shown)))])).outputs[0]
    # frozen at 2.1 s: the speed falls by 4 % in the stretch, and the response with it by less than that
    assert flown == pytest.approx(linear, abs=0.02)
    assert flown.max() > 0.4
    # at first the vehicle has not changed and neither has anything but the fins: tick for tick, the share of a tick's delay too
    assert flown[3:8] == pytest.approx(linear[3:8], rel=0.03) and (flown[:2] == 0.0).all()


# ---------------------------------------------------------------- what is wrong


def test_errors__in_a_sentence(models):
    for call, text in (
        (lambda: open_loop(models, 9), "open_loop: point = 9 must be a whole number from 0 to 2"),
        (lambda: open_loop(models, 0, "full"), "a loop is broken one at a time"),
        (lambda: open_loop(models, 0, broken_at="servo"), 'broken_at = "servo" must be'),
        (lambda: closed_response(models, 0, "heave"), "closed_response: channel"),
        (lambda: closed_response(models, True), "closed_response: point = true"),
        (lambda: open_loop(models.drop_vars("state_matrix")), "sixdof.loops.linearise and finds no state_matrix"),
    ):
        with pytest.raises(ValueError, match=text.replace("(", r"\(")):
            call()
    with pytest.raises(TypeError, match="open_loop: gains must be a Mission"):
        open_loop(models, 0, gains=3.0)


@pytest.mark.parametrize(("name", "value"), [("frequency", 0.0), ("damping", math.inf), ("modal_mass", -1.0), ("frequency", "20 Hz")])
def test_bending__needs_numbers_above_nothing(name, value):
    with pytest.raises(ValueError, match=f"BendingMode: {name} = .* must be (above 0|a finite number)"):
        BendingMode(**({"frequency": 20.0} | {name: value}))
