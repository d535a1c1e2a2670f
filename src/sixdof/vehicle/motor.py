"""Thrust curves: what a motor's data sheet says of them, and the one curve of all motors of a stage."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from sixdof.core.constants import G0
from sixdof.core.types import Thrust
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Motor, ThrustCurve
from sixdof.vehicle.geometry import Shape
from sixdof.vehicle.mounting import placed_motors

BURN_SHARE = 0.05  # of the peak: the burn lasts from the first to the last time at it
A_TOP = 2.5  # N s, top of class A
STEP = 1e-6  # s, in which a curve that ends above zero falls to it


class MotorFacts(NamedTuple):
    """What is printed of a motor: N s, N, s, kg. `class_limits` are those of its class.

    Impulse and average thrust are at the reference pressure; the average is over the burn time.
    """

    total_impulse: float
    average_thrust: float
    peak_thrust: float
    burn_time: float
    class_letter: str
    class_limits: tuple[float, float]
    specific_impulse: float
    propellant_mass: float
    loaded_mass: float


def break_points(curve: ThrustCurve) -> tuple[np.ndarray, np.ndarray]:
    """Return times (s) and thrusts (N) of a curve, made to start at t = 0 and to end with the burn, at zero thrust.

    A first point later than 0 gets (0, 0) put before it; a last thrust above zero falls to zero within 1 microsecond. The burn is
    over at the first zero behind the last point at 5 % of the peak: what a load cell writes after it, clipped at zero, is noise.
    """
    time, force = np.array(curve.time, dtype=float), np.array(curve.thrust, dtype=float)
    burning = np.flatnonzero(force >= BURN_SHARE * force.max())[-1]
    silent = burning + np.flatnonzero(force[burning:] == 0.0)[:1]
    if silent.size:
        time, force = time[: silent[0] + 1], force[: silent[0] + 1]
    if time[0] > 0.0:
        time, force = np.append(0.0, time), np.append(0.0, force)
    if force[-1] > 0.0:
        time, force = np.append(time, time[-1] + STEP), np.append(force, 0.0)
    return time, force


def running_impulse(time: np.ndarray, force: np.ndarray) -> np.ndarray:
    """Return the impulse (N s) delivered by each break point of a piecewise linear curve: exact."""
    return np.append(0.0, np.cumsum(0.5 * (force[1:] + force[:-1]) * np.diff(time)))


def motor_facts(motor: Motor) -> MotorFacts:
    """Return impulse, thrust, burn time and class of a motor; burn time by the 5 % rule of NFPA 1125.

    Examples
    --------
    >>> facts = sixdof.parts.motor_facts(mission.motor["playa-h"])
    >>> facts.class_letter, round(facts.total_impulse)
    ('H', 266)
    """
    time, force = break_points(motor.thrust_curve)
    start, end = burn_ends(time, force, BURN_SHARE)
    inside = np.concatenate([[start], time[(time > start) & (time < end)], [end]])
    in_burn = running_impulse(inside, np.interp(inside, time, force))[-1]
    total = float(running_impulse(time, force)[-1])
    letter, limits = motor_class(total)
    return MotorFacts(
        total_impulse=total,
        average_thrust=float(in_burn / (end - start)),
        peak_thrust=float(force.max()),
        burn_time=float(end - start),
        class_letter=letter,
        class_limits=limits,
        specific_impulse=total / (motor.propellant_mass * G0),
        propellant_mass=motor.propellant_mass,
        loaded_mass=motor.propellant_mass + motor.case_mass,
    )


def burn_ends(time: np.ndarray, force: np.ndarray, share: float) -> tuple[float, float]:
    """Return the first and the last time (s) at which the curve stands at a share of its peak."""
    level = share * force.max()
    above = np.flatnonzero(force >= level)
    first, last = above[0], above[-1]
    start, end = time[first], time[last]
    if first > 0:
        start = np.interp(level, force[first - 1 : first + 1], time[first - 1 : first + 1])
    if last < len(time) - 1:
        end = np.interp(level, force[[last + 1, last]], time[[last + 1, last]])
    return float(start), float(end)


def motor_class(total_impulse: float) -> tuple[str, tuple[float, float]]:
    """Return the class letter of a total impulse (N s), and the limits of the class: above the first, up to the second (N s).

    Each class doubles the one before (NFPA 1125): A over 1.25 to 2.5 N s; below A 1/2A, 1/4A and 1/8A (0 to 0.3125);
    beyond Z the letters go on as AA, AB.
    """
    top, step = A_TOP, 0
    while total_impulse > top:
        top, step = 2.0 * top, step + 1
    while total_impulse <= 0.5 * top and step > -3:
        top, step = 0.5 * top, step - 1
    bottom = 0.0 if step == -3 else 0.5 * top
    letter = f"1/{2**-step}A" if step < 0 else _letter(step)
    return letter, (bottom, top)


def _letter(step: int) -> str:
    round_, place = divmod(step, 26)
    return ("" if round_ == 0 else _letter(round_ - 1)) + chr(ord("A") + place)


def thrust_table(mission: Mission, stage: int, stages: Sequence[int], shape: Shape | None = None) -> Thrust:
    """Return the thrust of all motors of stage `stage` together, which ignite as one, in the stack `stages`.

    stage is an index into mission.stage and one of `stages`; stations are from the fore end of the stack. The curves of
    different motors are summed at the break points of all; the propellant burns with the impulse of the sum, so motors
    of different specific impulse or duration share one burnt fraction. exit_x and exit_radius are means weighted by
    impulse, the reference pressure by exit area, which keeps the sum of (p_ref - p) A exact.

    Raises
    ------
    ValueError
        If the stage has no motor.
    """
    motors = placed_motors(mission, stages, shape)[list(stages).index(stage)]
    if not motors:
        raise ValueError(f'stage "{mission.stage[stage].name}" has no motor: give it a mount')
    curves = [break_points(placed.motor.thrust_curve) for placed in motors]
    time = np.unique(np.concatenate([curve[0] for curve in curves]))
    force = sum(np.interp(time, *curve, right=0.0) for curve in curves)
    running = running_impulse(time, force)
    share = np.array([running_impulse(*curve)[-1] for curve in curves])
    share /= share.sum()
    radius = np.array([0.5 * placed.motor.nozzle_exit_diameter for placed in motors])
    area = math.pi * radius**2
    pressure = np.array([placed.motor.reference_pressure for placed in motors])
    return Thrust(
        time=np.ascontiguousarray(time),
        force=np.ascontiguousarray(force),
        impulse=running / running[-1],
        total_impulse=float(running[-1]),
        propellant=float(sum(placed.motor.propellant_mass for placed in motors)),
        exit_x=float(share @ [placed.aft for placed in motors]),
        exit_area=float(area.sum()),
        exit_radius=float(share @ radius),
        reference_pressure=float(area @ pressure / area.sum() if area.sum() > 0.0 else share @ pressure),
    )


def no_thrust(exit_x: float) -> Thrust:
    """Return the table of a body without a motor: a curve of zero thrust that is never ignited."""
    return Thrust(
        time=np.array([0.0, STEP]),
        force=np.zeros(2),
        impulse=np.ones(2),
        total_impulse=1.0,
        propellant=0.0,
        exit_x=exit_x,
        exit_area=0.0,
        exit_radius=0.0,
        reference_pressure=101325.0,
    )


def scaled(thrust: Thrust, impulse_factor: float = 1.0, burn_factor: float = 1.0) -> Thrust:
    """Return the curve with its total impulse and its duration multiplied; shape and propellant mass stay.

    The impulse comes out exact: forces take impulse_factor/burn_factor. Raises ValueError for a factor not above 0.
    """
    if not (impulse_factor > 0.0 and burn_factor > 0.0):
        raise ValueError(f"impulse factor {impulse_factor:g} and burn factor {burn_factor:g} must both be more than 0")
    return thrust._replace(
        time=thrust.time * burn_factor, force=thrust.force * (impulse_factor / burn_factor), total_impulse=thrust.total_impulse * impulse_factor
    )
