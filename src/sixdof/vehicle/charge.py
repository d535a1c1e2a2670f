"""What an ejection charge does: the pressure it makes, the pins it shears, the speed at which the pieces part.

All of the powder burns before anything moves, so that the pressure is highest at the start; the gas in the bay is ideal and of one temperature:

    p0 = pa + m s f/V0                               m powder, s share that becomes gas, f its impetus R T, V0 the free volume, pa the air's pressure
    A (p0 - pa) > pins + friction                    shears the pins
    mu dv/dt = A (p - pa) - friction, dx/dt = v      the pieces' distance x and speed v apart, mu = m1 m2/(m1 + m2), until x is the coupler's stroke
    p = p0 (r (V0/V))^n, V = V0 + A x                r the share of the gas that has not leaked, n 1 isothermal, 1.2 adiabatic
    M0 dr/dt = -a p/sqrt(R T) psi(pa/p)              isentropic flow through the holes of area a, choked or not (e.g. Shapiro 1953, eqs. 4.14 to 4.18)

Without holes and friction the kinetic energy mu v^2/2 is p0 V0/(n - 1) (1 - (V0/V1)^(n - 1)) - pa A x1, for n = 1 p0 V0 ln(V1/V0) - pa A x1. Left out:
the time to burn, the work of shearing a pin, the leak along the coupler, and what packed canopies take up; all but the last make the true speed less.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from sixdof.mission.checks.bodies import Stack
from sixdof.mission.checks.charge import bay_diameter, free_length
from sixdof.mission.tables import Charge, Harness, Stage

GAS_RATIO = 1.25  # ratio of specific heats of the gas as it flows through a hole
STEPS = 64  # of the stroke at the force of the start


class Bay(NamedTuple):
    """The bay that a charge fills: section (m^2) and free volume (m^3) when shut."""

    area: float
    volume: float


@dataclass(frozen=True)
class Ejection:
    """What an ejection comes to.

    pressure : largest in the bay over the air's, Pa; force : of it on either piece, N; pins : (least, largest) force that the pins hold, N; friction : N.
    sheared : whether it shears pins half-way between; parted : whether the coupler comes out then. speed : of the pieces apart, m/s; impulse : on
    either, N s; time : from burning to apart, s; leaked : share of the gas lost through the holes. All of these are 0 where they do not part.
    """

    pressure: float
    force: float
    pins: tuple[float, float]
    friction: float
    sheared: bool
    parted: bool
    speed: float
    impulse: float
    time: float
    leaked: float


def bay_of(stage: Stage, harness: Harness) -> Bay:
    """Return the bay of a harness's charge, in the stage that it separates."""
    diameter, _ = bay_diameter(stage, harness, Stack([stage]), 0)
    area = 0.25 * math.pi * diameter**2
    return Bay(area, harness.charge.free_volume or area * free_length(stage, harness))


def pin_forces(charge: Charge) -> tuple[float, float]:
    """Return the force (N) along the axis that all pins together hold at least, and at most; 0 without pins."""
    if charge.pin_diameter is not None:
        section = 0.25 * math.pi * charge.pin_diameter**2
        low, high = section * charge.pin_shear_strength_low, section * charge.pin_shear_strength_high
    else:
        low, high = charge.pin_strength_low or 0.0, charge.pin_strength_high or 0.0
    return charge.pins * low, charge.pins * high


def gauge_pressure(charge: Charge, bay: Bay) -> float:
    """Return how far the charge raises the shut bay's pressure above the air's, Pa: the gas's R T over the free volume."""
    return charge.mass * charge.gas_share * charge.impetus / bay.volume


@lru_cache(maxsize=4096)
def ejection(charge: Charge, bay: Bay, pressure: float, density: float, reduced_mass: float) -> Ejection:
    """Return what a charge does in a bay that stands in air of a pressure (Pa) and density (kg/m^3) and had breathed it.

    reduced_mass : m1 m2/(m1 + m2) of the two pieces, kg.

    Examples
    --------
    >>> from sixdof.mission.tables import Charge
    >>> round(ejection(Charge(mass="1 g", stroke="60 mm", free_volume="1 L"), Bay(4e-3, 1e-3), 101325.0, 1.225, 0.5).pressure)  # 219 J in a litre
    219300
    """
    rise = gauge_pressure(charge, bay)
    force, (low, high) = rise * bay.area, pin_forces(charge)
    sheared = force > 0.5 * (low + high) + charge.friction
    speed, time, left = _pushed(charge, bay, pressure, density, reduced_mass) if sheared else (0.0, 0.0, 1.0)
    return Ejection(rise, force, (low, high), charge.friction, sheared, speed > 0.0, speed, reduced_mass * speed, time, 1.0 - left)


def _pushed(charge: Charge, bay: Bay, pressure: float, density: float, mu: float) -> tuple[float, float, float]:
    """Return speed (m/s), time (s) and the share of gas left as the coupler comes out; speed 0 where it does not.

    Runge-Kutta of the fourth order, in equal steps of time; the last one ends on the stroke.
    """
    gas = charge.mass * charge.gas_share + density * bay.volume  # kg
    start = pressure + gauge_pressure(charge, bay)
    warmth = start * bay.volume / gas  # R T, J/kg
    n = charge.expansion_exponent

    def rates(x: float, v: float, left: float) -> tuple[float, float, float]:
        volume = bay.volume + bay.area * x
        dense = left * bay.volume / volume
        p = start * dense**n
        flow = charge.vent_area * hole_flow(p, warmth * dense ** (n - 1.0), pressure) if charge.vent_area else 0.0
        return v, (bay.area * (p - pressure) - charge.friction) / mu, -flow / gas

    x, v, left, t = 0.0, 0.0, 1.0, 0.0
    h = math.sqrt(2.0 * charge.stroke / rates(x, v, left)[1]) / STEPS
    while x < charge.stroke:
        step = _rk4(rates, (x, v, left), h)
        if step[1] <= 0.0:
            return 0.0, 0.0, left
        if step[0] >= charge.stroke:
            h, step = _to_the_stroke(rates, (x, v, left), h, charge.stroke)
        (x, v, left), t = step, t + h
        if x >= charge.stroke * (1.0 - 1e-12):
            break
    return v, t, left


def _rk4(rates, s: tuple, h: float) -> tuple[float, float, float]:
    a = rates(*s)
    b = rates(*(y + 0.5 * h * d for y, d in zip(s, a)))
    c = rates(*(y + 0.5 * h * d for y, d in zip(s, b)))
    d = rates(*(y + h * e for y, e in zip(s, c)))
    return tuple(y + h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4) for y, k1, k2, k3, k4 in zip(s, a, b, c, d))


def _to_the_stroke(rates, s: tuple, h: float, stroke: float) -> tuple[float, tuple]:
    """Return the step, no longer than h, that ends on the stroke, and where it ends: Newton on the distance."""
    part = h * (stroke - s[0]) / (_rk4(rates, s, h)[0] - s[0])
    for _ in range(8):
        end = _rk4(rates, s, part)
        if abs(end[0] - stroke) <= 1e-13 * stroke:
            break
        part += (stroke - end[0]) / end[1]
    return part, _rk4(rates, s, part)


def hole_flow(pressure: float, warmth: float, outside: float) -> float:
    """Return the mass flow through a hole, kg/s per m^2, of a gas at a pressure (Pa) and R T (J/kg) into air of `outside` (Pa).

    Isentropic to the throat, choked where outside/pressure is below (2/(g + 1))^(g/(g - 1)); none inwards.
    """
    g = GAS_RATIO
    ratio = max(outside / pressure, (2.0 / (g + 1.0)) ** (g / (g - 1.0)))
    if ratio >= 1.0:
        return 0.0
    return pressure / math.sqrt(warmth) * math.sqrt(2.0 * g / (g - 1.0) * (ratio ** (2.0 / g) - ratio ** ((g + 1.0) / g)))
