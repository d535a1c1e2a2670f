"""What stands in the way of more margin: each part of the loop made better alone, and where the phase goes at the crossover."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.autopilot.gains import notch_numbers
from sixdof.mission.mission import Mission
from sixdof.study.loops.margins import margins
from sixdof.study.tuning.design import TunedGains

FASTER = 4.0  # how much better a part is made
PARTS = ("servo", "delay", "sample_rate", "gyro_lag", "notch")
WORDS = {
    "servo": f"servos {FASTER:g} times as fast",
    "delay": "no delays",
    "sample_rate": f"{FASTER:g} times the tick rate",
    "gyro_lag": "gyros without lag",
    "notch": "no structural filter",
}
MOST_STEPS = 64  # a tick, of a mission
LAGS = ("servo", "delay", "hold", "gyro_lag", "notch")
LAG_WORDS = {"servo": "servo", "delay": "delays", "hold": "hold of a tick", "gyro_lag": "gyro lag", "notch": "structural filter"}


def improved(mission: Mission, part: str) -> dict | None:
    """Return the changes that make one part of the loop better, None where the mission has nothing to better there."""
    if part == "servo":
        steps = math.ceil(FASTER * mission.solver.steps_per_tick)  # a faster servo wants finer steps, which the margins do not depend on
        faster = {"servo.natural_frequency": FASTER * mission.servo.natural_frequency, "solver.steps_per_tick": steps}
        return faster if steps <= MOST_STEPS else None
    if part == "delay":
        found = mission.servo.delay + mission.autopilot.computation_delay > 0.0
        return {"servo.delay": 0.0, "autopilot.computation_delay": 0.0} if found else None
    if part == "sample_rate":
        return {"autopilot.rate": FASTER * mission.autopilot.rate}
    if part == "gyro_lag":
        return {"sensors.gyro.lag": 0.0} if mission.sensors is not None and mission.sensors.gyro.lag > 0.0 else None
    return {"autopilot.notch": None} if mission.autopilot.notch is not None else None


def limits_of(tuned: TunedGains) -> xr.Dataset:
    """Return worst margins with one part of the loop improved at a time, the gains kept, and the lags at the crossover.

    Returns
    -------
    Dataset
        `distance`, `phase_margin`, `gain_margin_db`: the worst of the flight (part, channel), part "as it is" first; `phase_lost` (lag, channel):
        phase lost at the gain crossover of the worst point, rad.
    """
    mission, parts = tuned.mission, {"as it is": tuned.margins}
    for part in PARTS:
        changes = improved(mission, part)
        if changes is not None:
            parts[part] = margins(tuned.models, mission.change(changes), broken_at=("actuator",), bending=tuned.bending)
    worst = []
    for found in parts.values():
        at = found.sel(broken_at="actuator")
        worst.append(xr.Dataset({name: at[name].min("point", keep_attrs=True) for name in ("distance", "phase_margin", "gain_margin_db")}))
    out = xr.concat(worst, xr.DataArray(list(parts), dims="part", name="part"))
    at = tuned.margins.sel(broken_at="actuator")
    lags = np.stack([lags_at(mission, _worst_crossover(at.sel(channel=c)), str(c), float(tuned.models["servo_factor"])) for c in at["channel"].values], axis=1)
    out["phase_lost"] = (("lag", "channel"), lags, {"units": "rad", "long_name": "phase lost at the gain crossover"})
    return out.assign_coords(lag=list(LAGS))


def _worst_crossover(one: xr.Dataset) -> float:
    """Return the gain crossover frequency where the loop comes nearest to the critical point, NaN if it has none there."""
    return float(one["crossover"][int(one["distance"].values.argmin())])


def lags_at(mission: Mission, frequency: float, channel: str, servo_factor: float = 1.0) -> np.ndarray:
    """Return the phase (rad, positive: lost) that each of LAGS costs at a frequency (rad/s)."""
    if not math.isfinite(frequency):
        return np.full(len(LAGS), math.nan)
    servo, period = mission.servo, 1.0 / mission.autopilot.rate
    w = 2.0 * math.pi * servo.natural_frequency * servo_factor
    of_servo = math.atan2(2.0 * servo.damping * frequency / w, 1.0 - (frequency / w) ** 2)
    lag = mission.sensors.gyro.lag if mission.sensors is not None else 0.0
    c0, c1, c2, a1, a2 = notch_numbers(mission.autopilot) if channel != "roll" else (0.0,) * 5
    back = np.exp(-1j * frequency * period)
    notch = -np.angle(1.0 + (c0 + c1 * back + c2 * back**2) / (1.0 + a1 * back + a2 * back**2))
    delay = servo.delay + mission.autopilot.computation_delay
    return np.array([of_servo, frequency * delay, 0.5 * frequency * period, math.atan(frequency * lag), notch])


def limiting(tuned: TunedGains, limits: xr.Dataset, channel: str) -> str:
    """Return in words what limits a channel's loop. limits : as `limits_of` returns them."""
    uses = [float(d.answer.servo.min()) for d in tuned.designs if channel in d.channels]
    limits = limits.sel(channel=channel)
    base = float(limits["distance"].sel(part="as it is"))
    gained = {str(part): float(limits["distance"].sel(part=part)) - base for part in limits["part"].values[1:]}
    best = max(gained, key=gained.get)
    lag = {str(name): math.degrees(float(limits["phase_lost"].sel(lag=name))) for name in LAGS}
    lost = ", ".join(f"{LAG_WORDS[name]} {value:.0f}" for name, value in lag.items() if value > 0.5)
    text = []
    if uses and min(uses) < 1.05:
        text.append(f"authority: a gust or a step of the goal takes {100.0 / min(uses):.0f} % of the servo travel or rate allowed, at the slowest point")
    if math.isfinite(lag["servo"]):
        text.append(f"at the crossover of the worst point the loop loses, deg: {lost}")
    if gained[best] > 0.01:
        text.append(f"the most margin would come from {WORDS[best]}: |1 + L| from {base:.2f} to {base + gained[best]:.2f}")
    else:
        text.append("no single part of the loop would bring more margin")
    return "; ".join(text)
