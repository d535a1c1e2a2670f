"""The flight computer at one tick: sensors -> estimate -> event rules -> guidance -> control -> mixer -> commands to the servos.

Trigonometry is allowed here: this runs once a tick, not once a derivative. Guidance and control are the built-in laws or whatever
stands at the address of a custom law.
"""

from __future__ import annotations

import numpy as np

from sixdof._jit import call_law, helper, kernel
from sixdof.core.actuator import issue
from sixdof.core.algebra import Matrix, conjugate, multiply, put_quaternion, put_vector, quaternion_at
from sixdof.core.computer.columns import GuidanceMemory, Noticed, Slot, Switch
from sixdof.core.computer.control import built_in_control, mix
from sixdof.core.computer.guidance import built_in_guidance
from sixdof.core.computer.reading import sensed_attitude, sensed_command, sensed_place, sensed_velocity
from sixdof.core.computer.rules import act, notice_phases, run_rules
from sixdof.core.computer.sensing import sense
from sixdof.core.computer.sensors import Chance
from sixdof.core.lanes import clip, sqrt
from sixdof.core.layout import COMMANDED_SIZE, Commanded, Demand, Ending, Sensed
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.leg.work import Work
from sixdof.core.types import ACTION_DEPLOY, ACTION_IGNITE, ACTION_SEPARATE, Computer, Leg, Model, Quat, State, Vec3

MOST_WRITTEN = 1e12  # by a custom law: sums and products of what lies beyond are no numbers any more
UNIT = 1e-3  # that the length of a law's quaternion may differ from 1


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
