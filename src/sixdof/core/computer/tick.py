"""The flight computer at one tick: sensors -> estimate -> event rules -> guidance -> control -> mixer -> commands to the servos.

Trigonometry is allowed here: this runs once a tick, not once a derivative. Guidance and control are the built-in laws or whatever
stands at the address of a custom law.
"""

from __future__ import annotations

from math import inf

import numpy as np

from sixdof._jit import call_law, helper, kernel
from sixdof.core.actuator import issue
from sixdof.core.algebra import Matrix, conjugate, fill, matrix_of, multiply, norm, put_quaternion, put_vector, quaternion_at, sub, vector_at
from sixdof.core.columns import CanopyColumn, StageColumn
from sixdof.core.computer.columns import MOST_BURNS, ErrorColumn, EstimateColumn, GuidanceMemory, Noticed, RuleColumn, RuleState, Slot, Switch
from sixdof.core.computer.control import built_in_control, mix
from sixdof.core.computer.estimator import estimate
from sixdof.core.computer.guidance import built_in_guidance
from sixdof.core.computer.sensors import (
    ACCELEROMETER,
    GYRO,
    Chance,
    fix_due,
    lagged_rate,
    read_barometer,
    read_gnss,
    read_inertial,
    read_magnetometer,
    remember,
)
from sixdof.core.forces.loads import air_at, height_of
from sixdof.core.lanes import acos, asin, atan2, clip, like, sqrt
from sixdof.core.layout import COMMANDED_SIZE, Commanded, Demand, Ending, Sensed
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.leg.work import Work
from sixdof.core.types import (
    ACTION_DEPLOY,
    ACTION_DISABLE,
    ACTION_ENABLE,
    ACTION_GUIDE,
    ACTION_IGNITE,
    ACTION_SEPARATE,
    FAILED,
    TRIGGER_APOGEE,
    TRIGGER_BURNOUT,
    TRIGGER_CLIMBING,
    TRIGGER_EJECTION,
    TRIGGER_FALLING,
    TRIGGER_IGNITION,
    TRIGGER_LIFTOFF,
    TRIGGER_RAIL,
    TRIGGER_SEPARATION,
    TRIGGER_TIME,
    Computer,
    Detection,
    Leg,
    Model,
    Quat,
    State,
    Vec3,
)

SOON = 1e-9  # s: rounding of sums of times
MOST_WRITTEN = 1e12  # by a custom law: sums and products of what lies beyond are no numbers any more
UNIT = 1e-3  # that the length of a law's quaternion may differ from 1


@helper
def sensed_command(sensed: np.ndarray) -> Quat:
    return quaternion_at(sensed, Sensed.COMMANDED_W)


@helper
def sensed_attitude(sensed: np.ndarray) -> Quat:
    return quaternion_at(sensed, Sensed.Q_W)


@helper
def sensed_frame(sensed: np.ndarray) -> Quat:
    return quaternion_at(sensed, Sensed.FRAME_W)


@helper
def sensed_place(sensed: np.ndarray) -> Vec3:
    return vector_at(sensed, Sensed.EAST)


@helper
def sensed_velocity(sensed: np.ndarray) -> Vec3:
    return vector_at(sensed, Sensed.VELOCITY_EAST)


@kernel
def measure(tick: int, stride: int, s: State, height: float, force: Vec3, matrix: Matrix, computer: Computer, chance: Chance, work: Work) -> None:
    """Read the sensors of a tick, advance the estimate, and fill `sensed` with readings and estimate."""
    sensors, state, constants = computer.sensors, work.estimate, work.constants
    step = stride * computer.period
    rate = lagged_rate(s.w, sensors.gyro_lag, step, state[EstimateColumn.GYRO : EstimateColumn.GYRO + 6])
    gyro = read_inertial(rate, sensors.gyro, constants, ErrorColumn.GYRO, GYRO, chance, tick, computer.period)
    felt = read_inertial(force, sensors.accelerometer, constants, ErrorColumn.ACCELEROMETER, ACCELEROMETER, chance, tick, computer.period)
    state[EstimateColumn.BARO_LAG], baro = read_barometer(height, state[EstimateColumn.BARO_LAG], sensors.barometer, constants, chance, tick, step)
    zero = like(0.0, baro)
    magnet = Vec3(zero, zero, zero)
    if sensors.magnetometer.fitted > 0:
        magnet = read_magnetometer(matrix, sensors.magnetometer, constants, chance, tick)
    fix = like(0.0, baro)
    if fix_due(tick, stride, sensors.gnss):
        fix = read_gnss(work.history, tick, sensors.gnss, chance, norm(force), norm(s.v), state[EstimateColumn.FIX : EstimateColumn.FIX + 6])
    every = sensors.barometer.every
    fresh = 1 if tick // every > (tick - stride) // every else 0
    if fresh == 0:
        baro = state[EstimateColumn.BARO]
    moving = (work.notice[Noticed.LIFTOFF] >= 0.0) | (felt.x > computer.detection.liftoff_specific_force)
    estimate(
        state,
        gyro,
        felt,
        baro,
        fresh,
        fix,
        magnet,
        sensors.gnss.latency * computer.period,
        computer.estimator,
        computer.earth_rate,
        moving,
        step,
        sensors.magnetometer.fitted,
        sensors.magnetometer.field,
    )
    sensed = work.sensed
    for i in range(3):
        sensed[Sensed.EAST + i] = state[EstimateColumn.POSITION + i]
        sensed[Sensed.VELOCITY_EAST + i] = state[EstimateColumn.VELOCITY + i]
        sensed[Sensed.FIELD_X + i] = state[EstimateColumn.MAGNET + i]
    for i in range(4):
        sensed[Sensed.Q_W + i] = state[EstimateColumn.ATTITUDE + i]
    for i in range(6):
        sensed[Sensed.FIX_EAST + i] = state[EstimateColumn.FIX + i]
    put_vector(sensed, Sensed.RATE_X, gyro)
    put_vector(sensed, Sensed.SPECIFIC_FORCE_X, felt)
    sensed[Sensed.BARO_HEIGHT], sensed[Sensed.FIX_AGE] = baro, state[EstimateColumn.FIX_AGE]


@kernel
def tell_truth(s: State, height: float, force: Vec3, sensed: np.ndarray) -> None:
    """Fill `sensed` with the truth: ideal sensors and estimator."""
    place = Vec3(s.r.x, s.r.y, height)
    put_vector(sensed, Sensed.EAST, place)
    put_vector(sensed, Sensed.VELOCITY_EAST, s.v)
    put_quaternion(sensed, Sensed.Q_W, s.q)
    put_vector(sensed, Sensed.RATE_X, s.w)
    put_vector(sensed, Sensed.SPECIFIC_FORCE_X, force)
    sensed[Sensed.BARO_HEIGHT], sensed[Sensed.FIX_AGE] = height, 0.0
    put_vector(sensed, Sensed.FIX_EAST, place)
    put_vector(sensed, Sensed.FIX_EAST + 3, s.v)


@kernel
def sense(t: float, tick: int, stride: int, s: State, force: Vec3, matrix: Matrix, model: Model, frame: Quat, chance: Chance, work: Work) -> None:
    """Fill `sensed` with everything but the commanded."""
    computer, sensed = model.computer, work.sensed
    height = height_of(model.world, s.r)
    if computer.sensors.ideal > 0:
        tell_truth(s, height, force, sensed)
    else:
        for k in range(tick - stride + 1, tick + 1):
            remember(work.history, k, Vec3(s.r.x, s.r.y, height), s.v)
        measure(tick, stride, s, height, force, matrix, computer, chance, work)
    sensed[Sensed.TIME] = t
    air = air_at(model.world, sensed[Sensed.HEIGHT])
    speed2 = sensed[Sensed.VELOCITY_EAST] ** 2 + sensed[Sensed.VELOCITY_NORTH] ** 2 + sensed[Sensed.VELOCITY_UP] ** 2
    sensed[Sensed.DYNAMIC_PRESSURE] = 0.5 * air.density * speed2
    sensed[Sensed.MACH] = sqrt(speed2) / air.sound
    put_quaternion(sensed, Sensed.FRAME_W, frame)
    sensed[Sensed.PERIOD] = stride * computer.period


@kernel
def start_notice(notice: np.ndarray, attached: float) -> None:
    """Fill `notice` before a flight: nothing noticed, so many stages behind the first."""
    fill(notice, -1.0)
    notice[Noticed.BURNS] = notice[Noticed.THRUSTING] = notice[Noticed.SEPARATIONS] = 0.0
    notice[Noticed.HIGHEST] = -inf
    notice[Noticed.ATTACHED] = attached


@kernel
def notice_phases(sensed: np.ndarray, aft_travel: float, detection: Detection, attached: float, notice: np.ndarray) -> None:
    """Update what the computer has noticed (liftoff, rail, ignitions, burnouts, separations, apogee) from sensed values alone.

    attached : stages behind this one, as the break-wires tell.
    """
    t = sensed[Sensed.TIME]
    if notice[Noticed.LIFTOFF] < 0.0:
        if not (sensed[Sensed.SPECIFIC_FORCE_X] > detection.liftoff_specific_force or sensed[Sensed.HEIGHT] > detection.liftoff_height):
            return
        notice[Noticed.LIFTOFF] = notice[Noticed.IGNITION] = t
        notice[Noticed.THRUSTING] = 1.0
    while attached < notice[Noticed.ATTACHED]:  # several stages may go at once
        k = int(notice[Noticed.SEPARATIONS])
        notice[Noticed.ATTACHED] -= 1.0
        if k < MOST_BURNS:
            notice[Noticed.SEPARATION + k] = t
            notice[Noticed.SEPARATIONS] += 1.0
    e, n, h = sensed[Sensed.EAST], sensed[Sensed.NORTH], sensed[Sensed.HEIGHT]
    if notice[Noticed.RAIL] < 0.0 and e * e + n * n + h * h > aft_travel * aft_travel:
        notice[Noticed.RAIL] = t
    _notice_burns(t, sensed[Sensed.SPECIFIC_FORCE_X], detection, notice)
    if notice[Noticed.APOGEE] < 0.0 and notice[Noticed.RAIL] >= 0.0:
        _notice_apogee(t, sensed, detection, notice)


@helper
def _notice_burns(t: float, force: float, detection: Detection, notice: np.ndarray) -> None:
    k = int(notice[Noticed.BURNS])
    if k >= MOST_BURNS:
        return
    if notice[Noticed.THRUSTING] > 0.5:
        if force >= detection.burnout_specific_force:
            notice[Noticed.QUIET] = -1.0
        else:
            if notice[Noticed.QUIET] < 0.0:
                notice[Noticed.QUIET] = t
            if t - notice[Noticed.QUIET] >= detection.burnout_debounce - SOON:
                notice[Noticed.BURNOUT + k] = t
                notice[Noticed.BURNS], notice[Noticed.THRUSTING], notice[Noticed.QUIET] = k + 1.0, 0.0, -1.0
    elif notice[Noticed.APOGEE] < 0.0 and force > detection.ignition_specific_force:  # later it is a canopy that pulls the nose
        notice[Noticed.IGNITION + k] = t
        notice[Noticed.THRUSTING] = 1.0


@helper
def _notice_apogee(t: float, sensed: np.ndarray, detection: Detection, notice: np.ndarray) -> None:
    sinking = sensed[Sensed.VELOCITY_UP] < 0.0
    if detection.by_barometer > 0:
        notice[Noticed.HIGHEST] = max(notice[Noticed.HIGHEST], sensed[Sensed.BARO_HEIGHT])
        sinking = sensed[Sensed.BARO_HEIGHT] < notice[Noticed.HIGHEST] - detection.apogee_drop
    if not sinking:
        notice[Noticed.SINKING] = -1.0
        return
    if notice[Noticed.SINKING] < 0.0:
        notice[Noticed.SINKING] = t
    if t - notice[Noticed.SINKING] >= detection.apogee_debounce - SOON:
        notice[Noticed.APOGEE] = t


@helper
def _triggered(trigger: int, threshold: float, order: int, sensed: np.ndarray, notice: np.ndarray, stage: np.ndarray) -> bool:
    if trigger == TRIGGER_TIME:
        return sensed[Sensed.TIME] >= threshold
    if trigger == TRIGGER_LIFTOFF:
        return notice[Noticed.LIFTOFF] >= 0.0
    if trigger == TRIGGER_RAIL:
        return notice[Noticed.RAIL] >= 0.0
    if trigger == TRIGGER_BURNOUT:
        return notice[Noticed.BURNOUT + order] >= 0.0
    if trigger == TRIGGER_APOGEE:
        return notice[Noticed.APOGEE] >= 0.0
    if trigger == TRIGGER_CLIMBING:
        return notice[Noticed.LIFTOFF] >= 0.0 and sensed[Sensed.HEIGHT] >= threshold
    if trigger == TRIGGER_FALLING:
        return notice[Noticed.APOGEE] >= 0.0 and sensed[Sensed.HEIGHT] <= threshold
    if trigger == TRIGGER_SEPARATION:
        return notice[Noticed.SEPARATION + order] >= 0.0
    if trigger == TRIGGER_IGNITION:
        return notice[Noticed.IGNITION + order] >= 0.0
    if trigger == TRIGGER_EJECTION:
        return stage[order, StageColumn.BURNOUT] >= 0.0
    return False


@kernel
def tilt_angles(frame: Quat, q: Quat) -> tuple[float, float, float, float]:
    """Return (tilt_pitch, tilt_yaw, roll, tilt) of an attitude in the launch frame; tilt is the nose's angle from the vertical."""
    m = matrix_of(multiply(conjugate(frame), q))
    return (
        asin(clip(m.zx, -1.0, 1.0)),  # theta = -asin(m_zx), tilt_pitch = -theta
        atan2(m.yx, m.xx),
        atan2(m.zy, m.zz),
        acos(clip(m.xx, -1.0, 1.0)),
    )


@kernel
def run_rules(
    rules: np.ndarray,
    delays: np.ndarray,
    state: np.ndarray,
    sensed: np.ndarray,
    notice: np.ndarray,
    stage: np.ndarray,
    canopy: np.ndarray,
    switches: np.ndarray,
    deployed: np.ndarray,
) -> None:
    """Fire the rules that are due.

    delays : (rules,) of this flight. state : (rules, RULE_STATES). stage : (stages, STAGE_COLUMNS), whose commands are filled in.
    canopy : (canopies, CANOPY_COLUMNS). switches: columns.Switch. deployed[c]: time canopy c was deployed, -1 before.
    """
    t = sensed[Sensed.TIME]
    for i in range(rules.shape[0]):
        rule = rules[i]
        if state[i, RuleState.FIRED] >= 0.0 or state[i, RuleState.GIVEN_UP] >= 0.0:
            continue
        if state[i, RuleState.ARMED] < 0.0:
            order = int(rule[RuleColumn.ORDER])
            if not _triggered(int(rule[RuleColumn.TRIGGER]), rule[RuleColumn.THRESHOLD], order, sensed, notice, stage):
                continue
            state[i, RuleState.ARMED] = t
        due = state[i, RuleState.ARMED] + delays[i]
        if t < due - SOON:
            continue
        if _inhibited(rule, sensed):
            if t - due >= rule[RuleColumn.TIMEOUT] - SOON or sensed[Sensed.TIME_SINCE_LIFTOFF] > rule[RuleColumn.BEFORE]:
                state[i, RuleState.GIVEN_UP] = t
            continue
        state[i, RuleState.FIRED] = t
        state[i, RuleState.ACTED] = act(int(rule[RuleColumn.ACTION]), int(rule[RuleColumn.TARGET]), t, stage, canopy, switches, deployed)


@kernel
def act(action: int, target: int, t: float, stage: np.ndarray, canopy: np.ndarray, switches: np.ndarray, deployed: np.ndarray) -> float:
    """Do what a rule or a law says; return 1 if it changed anything, 0 if another had done it before."""
    done = False
    if action == ACTION_ENABLE:
        done = switches[Switch.FINS] < 0.5
        switches[Switch.FINS] = 1.0
    elif action == ACTION_DISABLE:
        done = switches[Switch.FINS] > 0.5
        switches[Switch.FINS] = 0.0
    elif action == ACTION_GUIDE:
        done = switches[Switch.MODE] != target
        switches[Switch.MODE] = float(target)
    elif action == ACTION_SEPARATE:
        done = stage[target, StageColumn.SEPARATE] < 0.0
        if done:
            stage[target, StageColumn.SEPARATE] = t
    elif action == ACTION_IGNITE:
        done = stage[target, StageColumn.IGNITE] < 0.0
        if done:
            stage[target, StageColumn.IGNITE] = t
    elif 0 <= target < deployed.shape[0] and deployed[target] == -1.0:
        done = True
        deployed[target] = t if canopy[target, CanopyColumn.FAILS] < 0.5 else FAILED
    return 1.0 if done else 0.0


@helper
def _inhibited(rule: np.ndarray, sensed: np.ndarray) -> bool:
    if sensed[Sensed.HEIGHT] < rule[RuleColumn.HEIGHT_ABOVE] or sensed[Sensed.HEIGHT] > rule[RuleColumn.HEIGHT_BELOW]:
        return True
    if sensed[Sensed.TIME_SINCE_LIFTOFF] < rule[RuleColumn.AFTER] or sensed[Sensed.TIME_SINCE_LIFTOFF] > rule[RuleColumn.BEFORE]:
        return True
    if rule[RuleColumn.BOOSTER] >= 0.0 and (sensed[Sensed.BOOSTER] > 0.5) != (rule[RuleColumn.BOOSTER] > 0.5):
        return True
    low, high = max(rule[RuleColumn.SPEED_ABOVE], 0.0), rule[RuleColumn.SPEED_BELOW]
    speed2 = sensed[Sensed.VELOCITY_EAST] ** 2 + sensed[Sensed.VELOCITY_NORTH] ** 2 + sensed[Sensed.VELOCITY_UP] ** 2
    if speed2 < low * low or (high < inf and speed2 > high * high):
        return True
    if rule[RuleColumn.TILT_BELOW] < inf:
        _, _, _, tilt = tilt_angles(sensed_frame(sensed), sensed_attitude(sensed))
        return tilt > rule[RuleColumn.TILT_BELOW]
    return False


@helper
def _no_number(command: np.ndarray) -> int:
    """Return the index of the first entry of what a law wrote that no flight can use, -1 if there is none."""
    for i in range(command.shape[0]):
        if not abs(command[i]) <= MOST_WRITTEN:  # NaN too
            return i
    return -1


@helper
def _blame(work: Work, law: float, what: int, status: int) -> int:
    """Note which law failed, and with what; return `status`."""
    work.switches[Switch.FAILED], work.switches[Switch.STATUS] = law, float(what)
    return status


@kernel
def _own_guidance(t: float, work: Work) -> int:
    """Run a custom guidance law and check what it commands; return 0, Ending.LAW_FAILED or Ending.LAW_NONSENSE."""
    commanded = work.commanded
    failed = call_law(work.laws[Slot.GUIDANCE], t, work.sensed, work.guidance_memory, work.guidance_gains, commanded)
    if failed != 0:
        return _blame(work, 1.0, failed, Ending.LAW_FAILED)
    wrong = _no_number(commanded)
    if wrong >= 0:
        return _blame(work, 1.0, wrong, Ending.LAW_NONSENSE)
    q = quaternion_at(commanded, Commanded.Q_W)
    if abs(sqrt(q.w**2 + q.x**2 + q.y**2 + q.z**2) - 1.0) > UNIT:
        return _blame(work, 1.0, COMMANDED_SIZE, Ending.LAW_NONSENSE)
    for i in range(COMMANDED_SIZE):
        work.sensed[Sensed.COMMANDED_W + i] = commanded[i]
    return 0


@kernel
def steer(t: float, model: Model, frame: Quat, work: Work) -> int:
    """Run guidance and leave its commanded in `sensed`; return 0, or how a custom law ends the flight (Ending.LAW_FAILED, Ending.LAW_NONSENSE)."""
    sensed, guidance = work.sensed, model.computer.guidance
    if work.laws[Slot.GUIDANCE] != 0:
        return _own_guidance(t, work)
    commanded = built_in_guidance(
        t,
        sensed[Sensed.TIME_SINCE_LIFTOFF],
        sensed_place(sensed),
        sensed_velocity(sensed),
        sensed_attitude(sensed),
        frame,
        sensed[Sensed.DYNAMIC_PRESSURE],
        int(work.switches[Switch.MODE]),
        work.guidance_memory,
        guidance,
        work.passed,
        model.computer.period,
    )
    sensed[Sensed.WAYPOINT] = work.guidance_memory[GuidanceMemory.WAYPOINT]
    if sensed[Sensed.TIME_SINCE_LIFTOFF] >= 0.0 and guidance.feed_rate > 0:
        # the commanded attitude's own turning rate, from its change since the last tick
        e = multiply(conjugate(sensed_command(sensed)), commanded)
        k = 2.0 / model.computer.period if e.w >= 0.0 else -2.0 / model.computer.period
        put_vector(sensed, Sensed.COMMANDED_RATE_X, Vec3(k * e.x, k * e.y, k * e.z))
    put_quaternion(sensed, Sensed.COMMANDED_W, commanded)
    return 0


@kernel
def _obey(t: float, command: np.ndarray, leg: Leg, work: Work) -> None:
    """Do what a custom control law says beside steering: fins, canopies, separation, ignition."""
    if command[Demand.ENABLE] > 0.0:
        work.switches[Switch.FINS] = 1.0
    elif command[Demand.ENABLE] < 0.0:
        work.switches[Switch.FINS] = 0.0
    if command[Demand.DEPLOY] > 0.0:
        act(ACTION_DEPLOY, int(command[Demand.DEPLOY]) - 1, t, work.stage, work.canopy, work.switches, work.deployed)
    if command[Demand.SEPARATE] > 0.0 and leg.last > leg.first:
        act(ACTION_SEPARATE, leg.last, t, work.stage, work.canopy, work.switches, work.deployed)
    if command[Demand.IGNITE] > 0.0:
        upper = leg.last - 1 if leg.last > leg.first else leg.last
        act(ACTION_IGNITE, upper, t, work.stage, work.canopy, work.switches, work.deployed)


@kernel
def _own_demand(t: float, leg: Leg, work: Work) -> int:
    """Run a custom control law, check its command and obey it; return 0, Ending.LAW_FAILED or Ending.LAW_NONSENSE."""
    command = work.command
    failed = call_law(work.laws[Slot.CONTROL], t, work.sensed, work.memory, work.gains, command)
    if failed != 0:
        return _blame(work, 2.0, failed, Ending.LAW_FAILED)
    wrong = _no_number(command)
    if wrong < 0 and int(command[Demand.DEPLOY]) > work.deployed.shape[0]:
        wrong = Demand.DEPLOY
    if wrong >= 0:
        return _blame(work, 2.0, wrong, Ending.LAW_NONSENSE)
    _obey(t, command, leg, work)
    return 0


@helper
def _take_angles(command: np.ndarray, travel: float, fin_command: np.ndarray) -> float:
    """Fill the fin commands with the angles that a custom law commands itself; return 1 if one had to be cut to the travel, else 0."""
    limited = 0.0
    for i in range(fin_command.shape[0]):
        angle = command[Demand.FIN_1 + i] if Demand.FIN_1 + i < command.shape[0] else 0.0
        fin_command[i] = clip(angle, -travel, travel)
        if fin_command[i] != angle:
            limited = 1.0
    return limited


@kernel
def control(t: float, tick: int, model: Model, drawn: DrawnModel, work: Work) -> int:
    """Run the control law, mix its demands and issue commands to the servos; return 0, or how a custom law ends the flight."""
    sensed, command = work.sensed, work.command
    if work.laws[Slot.CONTROL] != 0:
        status = _own_demand(t, model.leg, work)
        if status != 0:
            return status
        if work.switches[Switch.FINS] < 0.5:
            command[Demand.ROLL] = command[Demand.PITCH] = command[Demand.YAW] = 0.0
    else:
        built_in_control(t, sensed, work.memory, work.gains, command)
    if work.laws[Slot.CONTROL] != 0 and command[Demand.DIRECT] > 0.0 and work.switches[Switch.FINS] > 0.5:
        sensed[Sensed.SATURATED] = _take_angles(command, drawn.servo.travel, work.fin_command)
    else:
        sensed[Sensed.SATURATED] = mix(command, model.computer.mixer, drawn.servo.travel, model.computer.roll_first, work.fin_command)
    issue(t, work.fin_command, work.issued, tick, drawn.servo)
    return 0


@kernel
def decide(sensed: np.ndarray, aft_travel: float, computer: Computer, attached: float, work: Work) -> None:
    """Notice the phases and fire the event rules on sensed values alone; a bench test of the sequence runs this too."""
    t = sensed[Sensed.TIME]
    notice_phases(sensed, aft_travel, computer.detection, attached, work.notice)
    sensed[Sensed.TIME_SINCE_LIFTOFF] = t - work.notice[Noticed.LIFTOFF] if work.notice[Noticed.LIFTOFF] >= 0.0 else -1.0
    run_rules(computer.rules, work.rule_delay, work.rules, sensed, work.notice, work.stage, work.canopy, work.switches, work.deployed)
    sensed[Sensed.ENABLED], sensed[Sensed.MODE] = work.switches[Switch.FINS], work.switches[Switch.MODE]


@kernel
def run_tick(
    t: float, tick: int, stride: int, s: State, force: Vec3, matrix: Matrix, drawn: DrawnModel, frame: Quat, model: Model, chance: Chance, work: Work
) -> int:
    """Run the flight computer once; return 0, or how a custom law ends the flight (Ending.LAW_FAILED, Ending.LAW_NONSENSE).

    stride : ticks since the last run (more than one under a canopy). force : specific force, body axes, m/s^2. matrix : body ->
    world. A body without the front stage has an altimeter only: it steers nothing.
    """
    sense(t, tick, stride, s, force, matrix, model, frame, chance, work)
    work.sensed[Sensed.BOOSTER] = model.computer.booster
    decide(work.sensed, drawn.rail.aft_travel, model.computer, float(model.leg.last - model.leg.first), work)
    if model.leg.main == 0:
        return 0
    status = steer(t, model, frame, work)
    if status != 0:
        return status
    return control(t, tick, model, drawn, work)


@helper
def estimate_errors(sensed: np.ndarray, s: State, height: float) -> tuple[float, float, float]:
    """Return (attitude, position, velocity) error of the estimate: rad, m, m/s. height : the vehicle's above ground, which the estimate means."""
    e = multiply(conjugate(s.q), sensed_attitude(sensed))
    angle = 2.0 * asin(clip(sqrt(e.x * e.x + e.y * e.y + e.z * e.z), 0.0, 1.0))
    return angle, norm(sub(sensed_place(sensed), Vec3(s.r.x, s.r.y, height))), norm(sub(sensed_velocity(sensed), s.v))
