"""Units held against physics: a gravity at rest, heights against the integral of speeds, the arc before apogee. What does not fit is said, never changed."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from sixdof.core.constants import G0
from sixdof.postflight.logs.checks.barometer import apogee_time
from sixdof.postflight.logs.checks.finding import Finding

NEAR = 0.15  # share by which a ratio may miss the one of two units
# how many times too large a number is if it is in the second unit and named in the first
LENGTHS = {1.0 / 0.3048: "feet named metres", 0.3048: "metres named feet", 1e-3: "kilometres named metres", 1e3: "millimetres named metres"}
SPEEDS = {
    **{1.0 / 0.3048: "ft/s named m/s", 0.3048: "m/s named ft/s", 2.23694: "mph named m/s", 1.0 / 2.23694: "m/s named mph"},
    **{3.6: "km/h named m/s", 1.0 / 3.6: "m/s named km/h", 1.94384: "knots named m/s", 1.0 / 1.94384: "m/s named knots"},
}
FORCES = {G0: "m/s^2 named g", 1.0 / G0: "g named m/s^2", 1e3: "thousandths of g named g", 1e3 / G0: "thousandths of g named m/s^2"}
ANGLES = {180.0 / math.pi: "degrees named radians", math.pi / 180.0: "radians named degrees"}
PRESSURES = {100.0: "Pa named hPa", 0.01: "hPa named Pa", 1e-3: "kPa named Pa", 10.0: "hPa named kPa", 0.1: "kPa named hPa"}
PRESSURE = 93_000.0, 0.3  # Pa, and its share: no launch is outside of it
LEVEL = 15.0  # m: no barometer drifts so far in the hour of a launch
CELSIUS = -60.0, 80.0  # a temperature in K within them is one in degrees Celsius
FASTEST = 105.0  # rad/s: beyond 6000 deg/s no usual gyro reads
ARC = 2.0, 0.25  # s before apogee in which a flight is all but ballistic, and those next to it left out (a charge may fire there)


def inconsistent(time: np.ndarray, values: dict[str, np.ndarray]) -> list[Finding]:
    """Return what readings say of each other's units. time : s since liftoff."""
    rest = time < -0.1
    found: list[Finding] = []
    for check in (_gravity, _ground, _warm, _turning, _leaning, _arc, _rising, _boosted, _moved):
        found += [Finding("unit", text, "kept", of) for of, text in check(time, values, rest)]
    return found


def _named(ratio: float, names: dict[float, str], near: float = NEAR) -> str:
    """Return what two units make this ratio, "" where none do."""
    usual = min(names, key=lambda one: abs(math.log(max(ratio, 1e-12) / one)))
    return names[usual] if abs(math.log(max(ratio, 1e-12) / usual)) < near else ""


def _gravity(time, values, rest) -> Iterator[tuple[str, str]]:
    """Hold the specific force at rest against gravity."""
    if "specific_force" not in values:
        return
    force = values["specific_force"]
    seen = np.isfinite(force[rest]).any(axis=0) if rest.any() else np.zeros(3, dtype=bool)
    if not seen.any() or np.isfinite(force[rest][:, seen]).all(axis=1).sum() < 10:
        return
    vector = np.nanmedian(force[rest][:, seen], axis=0)
    size = float(np.linalg.norm(vector))
    whole = seen.all() or bool(seen[0])
    said = f"the specific force at rest is {size:.3g} m/s^2"
    if size < 0.1 * G0:
        name = _named(size / G0, FORCES)
        yield "specific_force", f"{said}, not gravity's {G0:.2f}: {name or 'gravity has been taken off, or the unit is wrong'}; specific force is wanted"
    elif whole and not 0.9 < size / G0 < 1.1:
        name = _named(size / G0, FORCES)
        yield "specific_force", f"{said}, not gravity's {G0:.2f}: {name or 'its unit, its scale or a missing axis'}; compare and estimate would trust it"
    elif seen[0] and vector[0] < -0.5 * size:
        yield "specific_force", f"{said} along -x: the sensor's axis forward is named the wrong way round, or the sign is that of an acceleration"
    elif seen[0] and abs(vector[0]) < 0.5 * size:
        yield "specific_force", "the specific force at rest is mostly across the body: its axes are mixed up, or the vehicle did not stand"


def _ground(time, values, rest) -> Iterator[tuple[str, str]]:
    if "pressure" in values and np.isfinite(values["pressure"][rest]).sum() >= 5:
        at_rest = float(np.nanmedian(values["pressure"][rest]))
        if abs(at_rest / PRESSURE[0] - 1.0) > PRESSURE[1]:
            name = next((text for ratio, text in PRESSURES.items() if abs(at_rest / ratio / PRESSURE[0] - 1.0) <= PRESSURE[1]), "its unit")
            yield "pressure", f"the pressure before launch is {at_rest:.4g} Pa, which no launch place has: {name}"

    if "height" in values and np.isfinite(values["height"][rest]).sum() >= 5:
        level = float(np.nanmedian(values["height"][rest]))
        if abs(level) > LEVEL:
            yield "height", f"the height before launch is {level:+.0f} m, not 0: the ground pressure is another day's, or it counts from the sea"


def _warm(time, values, rest) -> Iterator[tuple[str, str]]:
    if "temperature" in values and np.isfinite(values["temperature"]).any():
        middle = float(np.nanmedian(values["temperature"]))
        if CELSIUS[0] < middle < CELSIUS[1]:
            yield "temperature", f"the temperature is {middle:.3g} K, which nothing in a flight is: degrees Celsius named K"


def _turning(time, values, rest) -> Iterator[tuple[str, str]]:
    """Hold rates against the turning of the attitude, or against what a gyro can read."""
    if "body_rate" not in values:
        return
    rate = np.linalg.norm(values["body_rate"], axis=1)
    good = np.isfinite(rate)
    if "attitude" in values:
        q = values["attitude"]
        both = np.flatnonzero(good & np.isfinite(q).all(axis=1))
        if both.size > 50:
            turned = 2.0 * np.arccos(np.clip(np.abs((q[both][1:] * q[both][:-1]).sum(axis=1)), 0.0, 1.0))
            read = 0.5 * (rate[both][1:] + rate[both][:-1]) * np.diff(time[both])
            fast = (turned > 0.01) & (turned < 1.0)
            if fast.sum() > 10:
                ratio = float(np.median(read[fast] / turned[fast]))
                if name := _named(ratio, ANGLES, 0.3):
                    yield "body_rate", f"rates are {ratio:.3g} times what the attitude turns by: {name}"
                return
    if good.any() and (rate[good & (time > 0.0)] > FASTEST).mean() > 0.02:
        yield "body_rate", f"rates reach {np.nanmax(rate):.0f} rad/s, beyond any usual gyro: degrees a second named rad/s"


def _leaning(time, values, rest) -> Iterator[tuple[str, str]]:
    if "tilt" in values and "attitude" not in values and np.isfinite(values["tilt"]).any() and np.nanmax(np.abs(values["tilt"])) > math.pi + 1e-6:
        yield "tilt", f"the tilt goes to {np.nanmax(np.abs(values['tilt'])):.3g} rad, and half a turn is the most: degrees named radians"


def _arc(time, values, rest) -> Iterator[tuple[str, str]]:
    """Hold the curve of the height before apogee against gravity: slow as it is there, a vehicle falls all but freely."""
    ratio = _bend(time, values)
    if name := _named(ratio, LENGTHS, 0.3):
        yield "height", f"before apogee the height bends with {ratio:.3g} times gravity, and a vehicle so slow falls all but freely: {name}"


def _bend(time, values) -> float:
    """Return how many times gravity the height bends with before apogee; 0 where it cannot be told."""
    if "height" not in values:
        return 0.0
    h = values["height"]
    top = apogee_time(time, h)
    use = np.isfinite(h) & (time > top - ARC[0]) & (time < top - ARC[1])
    if not top > ARC[0] + 1.0 or use.sum() < 8:
        return 0.0
    x = time[use] - top
    (curve, *_), cover = np.polyfit(x, h[use], 2, cov=True)
    ratio, error = -2.0 * curve / G0, 2.0 * math.sqrt(cover[0, 0]) / G0
    return ratio if error < 0.2 * abs(ratio) else 0.0


def _ratio(time: np.ndarray, total: np.ndarray, rate: np.ndarray, use: np.ndarray) -> tuple[float, float]:
    """Return how many times the integral of a rate its total changes by, over the readings used, and the standard error of that."""
    good = np.isfinite(rate)
    t = time[np.isfinite(total) & use]
    if t.size < 10 or good.sum() < 10 or t[0] < time[good][0] or t[-1] > time[good][-1]:
        return math.nan, math.inf
    way = np.concatenate([[0.0], np.cumsum(0.5 * (rate[good][1:] + rate[good][:-1]) * np.diff(time[good]))])
    x, y = np.interp(t, time[good], way), total[np.isfinite(total) & use]
    x, y = x - x.mean(), y - y.mean()
    if not x @ x > 0.0:
        return math.nan, math.inf
    slope = float(x @ y / (x @ x))
    left = y - slope * x
    return slope, math.sqrt(float(left @ left) / (t.size - 2) / float(x @ x))


def _rising(time, values, rest) -> Iterator[tuple[str, str]]:
    """Hold the height of the climb against the integral of the climb rate."""
    if "height" not in values or "velocity" not in values:
        return
    top = apogee_time(time, values["height"])
    ratio, error = _ratio(time, values["height"], values["velocity"][:, 2], (time > 0.0) & (time < top))
    if not error < 0.1 * abs(ratio):
        return
    if ratio < 0.0:
        yield "velocity", "the climb rate is negative while the height grows: it counts downward; a minus ahead of the column's name turns it"
    elif not 0.85 < ratio < 1.15:
        bend = _bend(time, values)
        falls, bent = 0.8 < bend < 1.25, bool(_named(bend, LENGTHS, 0.3))  # the height is in its unit, or it is not
        names = [f"height: {name}" for name in [_named(ratio, LENGTHS)] if name and not falls]
        names += [f"velocity: {name}" for name in [_named(1.0 / ratio, SPEEDS)] if name and not bent]
        yield "height", f"the height grows {ratio:.3g} times as fast as the climb rate says: {' or '.join(names) or 'one of the two has a wrong unit or scale'}"


def _boosted(time, values, rest) -> Iterator[tuple[str, str]]:
    """Hold the speed gained in the first second and a half against the integral of the specific force."""
    if "specific_force" not in values or "velocity" not in values:
        return
    force, up = values["specific_force"][:, 0], values["velocity"][:, 2]
    at_rest = force[rest & np.isfinite(force)]
    level = float(np.median(at_rest)) if at_rest.size > 5 else G0
    ratio, error = _ratio(time, up, force - level, (time > 0.0) & (time < 1.5))
    if not error < 0.1 * abs(ratio) or ratio <= 0.0 or 0.7 < ratio < 1.3:
        return
    names = [f"velocity: {name}" for name in [_named(ratio, SPEEDS, 0.2)] if name] + [
        f"specific force: {name}" for name in [_named(1 / ratio, FORCES, 0.2)] if name
    ]
    yield (
        "velocity",
        f"the climb rate grows {ratio:.3g} times as fast as the specific force says: {' or '.join(names) or 'one of them has a wrong unit or scale'}",
    )


def _moved(time, values, rest) -> Iterator[tuple[str, str]]:
    """Hold east and north against the integral of the velocity over the ground."""
    if "velocity" not in values:
        return
    for name, k in (("east", 0), ("north", 1)):
        if name in values and np.isfinite(values["velocity"][:, k]).any():
            ratio, error = _ratio(time, values[name], values["velocity"][:, k], time > 0.0)
            if error < 0.05 * abs(ratio) and not 0.8 < ratio < 1.2:
                said = _named(abs(ratio), LENGTHS) or _named(1.0 / abs(ratio), SPEEDS) or "a wrong unit or scale"
                yield name, f"{name} moves {ratio:.3g} times as far as the velocity says: {said if ratio > 0 else 'one of them has the wrong sign'}"
