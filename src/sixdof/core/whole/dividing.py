"""How a body becomes two at a joint: momentum and energy, the tilt of the joint, what each half takes along."""

from __future__ import annotations

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import (
    add,
    cross,
    fill,
    matrix_of,
    multiply,
    put_quaternion,
    put_vector,
    quaternion_at,
    scale,
    sub,
    sym_times,
    to_body,
    to_world,
    vector_at,
)
from sixdof.core.body import Body, body_at, burn_segment, gather_grains, segment_at
from sixdof.core.columns import CanopyColumn, Handover
from sixdof.core.constants import INSTANT
from sixdof.core.draw import Draw
from sixdof.core.layout import NOT_IGNITED
from sixdof.core.leg.drawing import airframe_mass
from sixdof.core.leg.work import Work
from sixdof.core.types import LOST, Model, Vec3
from sixdof.core.whole.stack import turn_of, turned_tensor


@kernel
def body_now(model: Model, draw: Draw, work: Work, t: float, ignited: float) -> Body:
    """Return a body at time t with the airframe that `work` holds, its motor ignited at `ignited`."""
    grains = gather_grains(airframe_mass(work.airframe, work.grain), draw.mass, draw.inertia, draw.cg_x, draw.cg_y, draw.cg_z)
    segment = segment_at(t, ignited, model.thrust, draw.burn_time)
    return body_at(t, burn_segment(model.thrust, segment, ignited, draw.impulse, draw.burn_time), grains)


@kernel
def divide(
    hand: np.ndarray, stack: Body, fore: Body, aft: Body, earth_rate: Vec3, impulse: float, turn_y: float, turn_z: float, ahead: np.ndarray, behind: np.ndarray
) -> float:
    """Fill what the two bodies that a stack becomes are handed; return their relative speed along the stack's axis, m/s.

    hand : what the stack's leg left (Handover). ahead, behind : (HANDOVER_COLUMNS,), filled. impulse : between the two, along the stack's
    axis, N s. turn_y, turn_z : tilt of the aft body's axes about body y and z, rad.

    Each body keeps the velocity its own centre had in the stack, v + w x d, and its rate; the impulse acts on both alike, along
    the stack's axis, and turns a body whose centre lies off it. So linear and angular momentum stand, and the kinetic energy
    grows by the impulse's work alone.
    """
    q = quaternion_at(hand, Handover.ATTITUDE)
    m, turn = matrix_of(q), turn_of(turn_y, turn_z)
    rate = sub(vector_at(hand, Handover.RATE), to_body(m, earth_rate))
    d_fore = Vec3(stack.cg.x - fore.cg.x, fore.cg.y - stack.cg.y, fore.cg.z - stack.cg.z)
    d_aft = scale(d_fore, -fore.mass / aft.mass)  # the common centre stays where it is
    for j in range(hand.shape[0]):
        ahead[j] = behind[j] = hand[j]
    for side in range(2):
        out, d = (ahead, d_fore) if side == 0 else (behind, d_aft)
        push = impulse if side == 0 else -impulse
        mass = fore.mass if side == 0 else aft.mass
        inverse = fore.inverse if side == 0 else turned_tensor(matrix_of(turn), aft.inverse)
        put_vector(out, Handover.POSITION, add(vector_at(hand, Handover.POSITION), to_world(m, d)))
        own = add(cross(rate, d), Vec3(push / mass, 0.0, 0.0))
        put_vector(out, Handover.VELOCITY, add(vector_at(hand, Handover.VELOCITY), to_world(m, own)))
        off_axis = Vec3(0.0, -stack.cg.y - d.y, -stack.cg.z - d.z)
        spin = sym_times(inverse, cross(off_axis, Vec3(push, 0.0, 0.0)))
        put_vector(out, Handover.RATE, add(vector_at(hand, Handover.RATE), spin))
    ahead[Handover.IGNITED] = NOT_IGNITED
    put_quaternion(behind, Handover.ATTITUDE, multiply(q, turn))
    put_vector(behind, Handover.RATE, to_body(matrix_of(turn), vector_at(behind, Handover.RATE)))
    return to_body(m, sub(vector_at(ahead, Handover.VELOCITY), vector_at(behind, Handover.VELOCITY))).x


# ------------------------------------------------------------------ what passes on


@helper
def fill_rows(table: np.ndarray, value: float) -> None:
    """Set every number of a table."""
    for r in range(table.shape[0]):
        fill(table[r], value)


@helper
def copy_row(source: np.ndarray, target: np.ndarray) -> None:
    """Copy one row of numbers into another, as many as both have."""
    for j in range(min(source.shape[0], target.shape[0])):
        target[j] = source[j]


@helper
def copy_rows(source: np.ndarray, target: np.ndarray) -> None:
    """Copy a table's rows into another, as much as both have."""
    for r in range(min(source.shape[0], target.shape[0])):
        copy_row(source[r], target[r])


@kernel
def pass_on(source: Work, target: Work) -> None:
    """Copy what a flight computer and its servos know from one body to another; fins that are not there are omitted, a law's own memory too.

    Control fins count from the front, so those of a body ahead are the first ones.
    """
    copy_row(source.sensed, target.sensed)
    copy_row(source.commanded, target.commanded)
    copy_row(source.command, target.command)
    copy_row(source.guidance_memory, target.guidance_memory)
    if source.memory.shape[0] == target.memory.shape[0]:
        copy_row(source.memory, target.memory)
    copy_row(source.fin_command, target.fin_command)
    copy_rows(source.issued, target.issued)
    copy_row(source.targets, target.targets)
    copy_rows(source.fins, target.fins)
    copy_rows(source.motors, target.motors)
    copy_row(source.health, target.health)
    copy_row(source.hinge, target.hinge)
    copy_row(source.estimate, target.estimate)
    copy_rows(source.history, target.history)
    copy_row(source.constants, target.constants)
    copy_row(source.notice, target.notice)
    copy_rows(source.rules, target.rules)
    copy_row(source.rule_delay, target.rule_delay)
    copy_row(source.switches, target.switches)
    copy_rows(source.stage, target.stage)
    copy_rows(source.canopy, target.canopy)
    copy_row(source.deployed, target.deployed)
    copy_row(source.pull, target.pull)
    copy_row(source.turbulence, target.turbulence)
    copy_rows(source.gust, target.gust)
    copy_rows(source.passed, target.passed)
    copy_row(source.tally, target.tally)


@helper
def is_stretched(work: Work, c: int) -> bool:
    """Return whether a canopy pulls at the end of a leg: it has been released and its lines are stretched."""
    released = work.deployed[c]
    return released >= 0.0 and released + work.canopy[c, CanopyColumn.WAIT] <= work.handover[Handover.TIME] + INSTANT


@helper
def give_up_canopy(work: Work, c: int) -> None:
    """Take a canopy that another body has from this one: no command reaches it any more, and if it was out it is gone."""
    work.canopy[c, CanopyColumn.FAILS] = 1.0
    work.deployed[c] = LOST if work.deployed[c] >= 0.0 else work.deployed[c]
