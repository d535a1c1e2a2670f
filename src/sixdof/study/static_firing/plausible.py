"""Whether impulse, propellant, thrust and chamber pressure go together."""

from __future__ import annotations

import math
from typing import NamedTuple

from sixdof.mission.checks.within import SPECIFIC_IMPULSE
from sixdof.study.probes.columns import G0
from sixdof.vehicle.motor import motor_class

# of a nozzle that expands to outside air: from a bare hole to a large bell (G. P. Sutton & O. Biblarz, Rocket Propulsion Elements, ch. 3)
THRUST_COEFFICIENTS = 0.8, 2.0
CHARACTERISTIC_VELOCITIES = 700.0, 1800.0  # m/s, from sugar propellants low to double-base and composite ones high (the same, ch. 13; wide)
WEIGHED_OFF = 3.0  # standard deviations between the mass weighed and the one that the tare tells
CLOSER = 0.25  # of how far off what is said is, that another stand must be nearer to


class Nozzle(NamedTuple):
    """throat_area : m^2, NaN where not known. chamber_pressure : Pa, mean over the burn, NaN where not known."""

    throat_area: float
    chamber_pressure: float


def specific_impulse(total: float, total_error: float, mass: float, mass_error: float) -> tuple[float, float]:
    """Return I/(m g0), s, and its standard deviation."""
    found = total / (mass * G0)
    return found, found * math.hypot(total_error / total, mass_error / mass)


def coefficients(nozzle: Nozzle, total: float, average: float, mass: float) -> tuple[float, float]:
    """Return the thrust coefficient F/(p A_t) over the burn and the characteristic velocity I/(m C_F), m/s."""
    found = average / (nozzle.chamber_pressure * nozzle.throat_area)
    return found, total / (mass * found)


def implausible(total: float, isp: float, thrust_coefficient: float, velocity: float) -> list[str]:
    """Return sentences on what does not go together."""
    found = []
    low, high = SPECIFIC_IMPULSE
    if math.isfinite(isp) and not low <= isp <= high:
        found.append(
            f"IMPLAUSIBLE: a specific impulse of {isp:.0f} s (exhaust at {isp * G0:.0f} m/s) is outside {low:.0f} to {high:.0f} s, which no solid motor is; "
            f"look at the calibration, the unit of the readings and the mass of the propellant"
        )
    low, high = THRUST_COEFFICIENTS
    if math.isfinite(thrust_coefficient) and not low <= thrust_coefficient <= high:
        found.append(f"IMPLAUSIBLE: a thrust coefficient of {thrust_coefficient:.2f} is outside {low:g} to {high:g}; look at throat, pressure and calibration")
    low, high = CHARACTERISTIC_VELOCITIES
    if math.isfinite(velocity) and not low <= velocity <= high:
        found.append(f"IMPLAUSIBLE: a characteristic velocity of {velocity:.0f} m/s is outside {low:.0f} to {high:.0f} m/s")
    return found


def off_the_scale(weight_step: float, drift_error: float, mass: float, stand: float) -> list[str]:
    """Return a sentence where the tare says otherwise than the scale, or than how the motor is said to stand.

    weight_step : N, by which the readings rest higher after the burn. drift_error : N, of the cell, that is usual.
    """
    if not (math.isfinite(weight_step) and math.isfinite(mass)):
        return []
    told = {"nozzle up": -mass * G0, "nozzle down": mass * G0, "horizontal": 0.0}
    said = {0.0: "horizontal", 1.0: "nozzle up", -1.0: "nozzle down"}[stand]
    nearest = min(told, key=lambda word: abs(weight_step - told[word]))
    off = abs(weight_step - told[said])
    if nearest == said or off < WEIGHED_OFF * drift_error or abs(weight_step - told[nearest]) > CLOSER * off:
        return []
    return [f"the tare moves by {weight_step:+.1f} N over the burn, as on a stand with the motor {nearest}, not {said}: a drift, or stand is not as said"]


def class_words(low: float, middle: float, high: float) -> tuple[str, str]:
    """Return the class letter of an impulse (N s), and a sentence where its interval reaches into another class, "" else."""
    letter = motor_class(middle)[0]
    other = [motor_class(one)[0] for one in (low, high) if one > 0.0 and motor_class(one)[0] != letter]
    return letter, f"the class may as well be {other[0]}: the interval of the impulse, {low:.1f} to {high:.1f} N s, reaches into it" if other else ""
