"""Invented logs of a load cell under an invented motor, of which everything is known: a second statement, by scipy, of what the study undoes.

`python tests/support/firing_logs.py` writes those of `configs/firings/` again.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from scipy.signal import cont2discrete, lfilter

G = 9.80665
MESA_I = Path(__file__).parents[2] / "configs" / "motors" / "mesa-i.csv"
FIRINGS = Path(__file__).parents[2] / "configs" / "firings"
# counts of the demo's cell and what hung on it; the cell's truth is COUNTS_PER_NEWTON and COUNTS_AT_REST
COUNTS_PER_NEWTON, COUNTS_AT_REST = 812.0, 41_300.0
HUNG = ((0.0, 0.15), (98.1, 0.2), (245.2, 0.4), (490.3, 0.8), (735.5, 1.2))  # N, and how well it is known
DEMO = ((0.978, 1.012), (0.968, 1.046), (0.985, 0.998), (0.974, 1.027))  # impulse and burn time over the mission's
PROPELLANT = 0.27


def trapezium(plateau: float = 600.0, rise: float = 0.03, hold: float = 0.8, fall: float = 0.12) -> tuple[np.ndarray, np.ndarray]:
    """Return break points (s, N) of a curve whose impulse is plateau (rise/2 + hold + fall/2)."""
    return np.array([0.0, rise, rise + hold, rise + hold + fall]), np.array([0.0, plateau, plateau, 0.0])


def impulse_of(curve) -> float:
    return float(np.sum(0.5 * (curve[1][1:] + curve[1][:-1]) * np.diff(curve[0])))


def mesa_i(impulse: float = 1.0, burn: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Return the shipped curve with impulse and duration multiplied."""
    rows = np.array([[float(cell) for cell in line.split(";")] for line in MESA_I.read_text().splitlines() if line[:1].isdigit()])
    return rows[:, 0] * burn, rows[:, 1] * impulse / burn


def ringing(time: np.ndarray, force: np.ndarray, frequency: float, damping: float) -> np.ndarray:
    """Return what a second-order stand of gain one passes on of a force along even times, straight between them."""
    w = 2.0 * np.pi * frequency
    over, under, _ = cont2discrete(([w**2], [1.0, 2.0 * damping * w, w**2]), time[1] - time[0], "foh")
    return lfilter(over.ravel(), under, force)


def log_of(
    curve,
    rng: np.random.Generator,
    *,
    rate: float = 400.0,
    before: float = 1.0,
    after: float = 1.0,
    noise: float = 1.0,
    shaken: float = 0.0,
    drift: float = 0.0,
    tare: float = 12.0,
    stand: float = 0.0,
    propellant: float = 0.0,
    ring: tuple[float, float] | None = None,
    quantum: float = 0.0,
    jitter: float = 0.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Return times (s) and readings (N) of a log that begins `before` s ahead of ignition.

    noise : white, N. shaken : broad force on a ringing stand, N sd at the fine step. drift : N over the whole log, straight. stand : 1 nozzle up, -1 nozzle
    down, 0 horizontal. ring : frequency (Hz) and damping ratio of the stand. quantum : N, of the converter. jitter : of the sampling, over its step.
    """
    fine = 1.0 / (rate * max(1, round(8000.0 / rate)))
    t = np.arange(0.0, before + curve[0][-1] + after, fine)
    thrust = np.interp(t - before, *curve, left=0.0, right=0.0)
    running = np.append(0.0, np.cumsum(0.5 * (thrust[1:] + thrust[:-1]) * fine))
    felt = thrust - stand * propellant * G * running / running[-1]
    if ring is not None:
        felt = ringing(t, felt + shaken * rng.standard_normal(t.size), *ring)
    stamps = np.arange(0.0, t[-1], 1.0 / rate)
    stamps = stamps + jitter / rate * rng.uniform(-0.5, 0.5, stamps.size)
    stamps = np.maximum(stamps, 0.0)
    read = np.interp(stamps, t, felt) + tare + drift * stamps / t[-1] + noise * rng.standard_normal(stamps.size)
    return stamps, np.round(read / quantum) * quantum if quantum else read


def fired_again(mission, motor: str):
    """Return the study of three invented firings of a mission's motor, 1 % apart."""
    import sixdof

    curve = mission.motor[motor].thrust_curve
    time, force = np.array(curve.time), np.array(curve.thrust)
    if time[0] > 0.0:
        time, force = np.append(0.0, time), np.append(0.0, force)
    logs = {f"{k}": log_of((time, force * scale), np.random.default_rng(k), noise=0.3, rate=800.0) for k, scale in enumerate((0.99, 1.0, 1.01))}
    mass = mission.motor[motor].propellant_mass
    return sixdof.workshop.static_firing(logs, calibration="0.2 %", propellant_mass=mass, mission=mission, motor=motor)


def write_demo() -> None:
    """Write the demo's logs, its calibration, and their truth."""
    rng = np.random.default_rng(18)
    FIRINGS.mkdir(exist_ok=True)
    head = "# INVENTED: made by tests/support/firing_logs.py, no motor was fired. Motor mesa-i (no real product), nozzle up, on a stand that rings"
    for k, (impulse, burn) in enumerate(DEMO, start=1):
        time, read = log_of(
            mesa_i(impulse, burn), rng, before=1.2, after=1.0, noise=0.8, shaken=6.0, drift=1.5, stand=1.0, propellant=PROPELLANT, ring=(62.0, 0.03), jitter=0.3
        )
        counts = np.round(COUNTS_AT_REST + COUNTS_PER_NEWTON * read)
        rows = [f"{1e3 * t:.1f}, {c:.0f}" for t, c in zip(time, counts, strict=True)]
        (FIRINGS / f"mesa-i-{k}.csv").write_text("\n".join([head, "time (ms), counts", *rows]) + "\n")
    rng = np.random.default_rng(3)
    rows = [f"{COUNTS_AT_REST + COUNTS_PER_NEWTON * (force + error * rng.standard_normal()):.0f}, {force}, {error}" for force, error in HUNG]
    (FIRINGS / "cell.csv").write_text(
        "\n".join(["# INVENTED: made by tests/support/firing_logs.py. Weights hung on the cell of the firings beside", "counts, force (N), error (N)", *rows])
        + "\n"
    )


if __name__ == "__main__":
    write_demo()
