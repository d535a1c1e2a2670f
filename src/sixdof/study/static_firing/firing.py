"""One raw log worked out: thrust, noise, ringing, filtered curve, burns by each definition."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.study.static_firing.burn import average_thrusts, burn_time_errors, burns
from sixdof.study.static_firing.calibration import Calibration
from sixdof.study.static_firing.impulse import Stand, Thrust, thrust_of
from sixdof.study.static_firing.log import RawLog
from sixdof.study.static_firing.signal import Ringing, filtered, grid_step, kernel, ringing_of, straightened, usual_lowpass
from sixdof.study.static_firing.stretches import Stretches, stretches_of
from sixdof.vehicle.motor import BURN_SHARE

CUT = 4  # equal readings in a row at the very top that are a limit, where noise would move them
FULL = 0.999  # of the cell's limit, from which on a reading is at it
FEW = 20  # samples in a burn, below which its shape is guessed
DRIFTED = 0.01  # of the largest thrust, a drift that is said


class Smoothing(NamedTuple):
    """notch : Hz, None: at the ringing if there is any, 0: none. lowpass : Hz, None: the usual one, 0: none."""

    notch: float | None
    lowpass: float | None


class Firing(NamedTuple):
    """What a log says. reading : N with the thrust upward, tare still in it. time, force : of the filtered curve, s and N, the window of the burn.

    noise, smooth_noise : standard deviations, N, raw and filtered. ends : (definitions, 2), s of the log. clipped : samples at the cell's limit.
    """

    log: RawLog
    reading: np.ndarray
    parts: Stretches
    thrust: Thrust
    noise: float
    smooth_noise: float
    quantum: float
    ringing: Ringing
    notch: float
    lowpass: float
    time: np.ndarray
    force: np.ndarray
    ends: np.ndarray
    burn_time_errors: np.ndarray
    averages: np.ndarray
    clipped: int
    notes: tuple[str, ...]

    @property
    def burn_times(self) -> np.ndarray:
        """Return the burn times, s, by each definition."""
        return self.ends[:, 1] - self.ends[:, 0]


def worked_out(log: RawLog, calibration: Calibration, stand: Stand, smoothing: Smoothing, cell_limit: float) -> Firing:
    """Return what a log says. cell_limit : N, infinite where not known. Raises ValueError for a log without tare or thrust."""
    force = calibration.slope * log.reading + calibration.offset
    parts = stretches_of(log, force)
    thrust = thrust_of(log, force, parts, stand, calibration)
    t = log.time
    quiet = [(t[one], straightened(t[one], force[one])) for one in (parts.before, parts.after) if one.stop - one.start > 2]
    ringing = ringing_of(quiet)
    notch = smoothing.notch if smoothing.notch is not None else float(np.nan_to_num(ringing.frequency))
    lowpass = smoothing.lowpass if smoothing.lowpass is not None else usual_lowpass(log)
    step = grid_step(log, notch)
    weights = kernel(step, notch, lowpass)
    time, smooth = filtered(t[parts.burn], thrust.force[parts.burn], step, weights)
    noise, smooth_noise = float(quiet[0][1].std(ddof=2)), float(filtered(*quiet[0], step, weights)[1].std())
    ends = burns(time, smooth)
    quantum = _quantum(force)
    clipped = _clipped(parts.sign * force, noise, quantum, cell_limit)
    return Firing(
        log,
        parts.sign * force,
        parts,
        thrust,
        noise,
        smooth_noise,
        quantum,
        ringing,
        notch,
        lowpass,
        time,
        smooth,
        ends,
        burn_time_errors(time, smooth, ends, smooth_noise, log.step, stand.clock),
        average_thrusts(time, smooth, ends),
        clipped,
        (*log.notes, *parts.notes, *thrust.notes, *_said(log, parts, thrust, smooth, smooth_noise, ends, clipped)),
    )


def _quantum(force: np.ndarray) -> float:
    """Return the least difference between two readings, N: how coarsely the cell is read."""
    steps = np.diff(np.unique(force))
    steps = steps[steps > 1e-9 * max(float(np.ptp(force)), 1e-12)]
    return float(steps.min()) if steps.size else 0.0


def _clipped(force: np.ndarray, noise: float, quantum: float, cell_limit: float) -> int:
    """Return how many samples stand at the limit of the cell or of its converter."""
    if np.isfinite(cell_limit):
        return int((np.abs(force) >= FULL * cell_limit).sum())
    if noise <= quantum:  # so coarsely read, a flat top is no sign of a limit
        return 0
    top = (force == force.max()).astype(int)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], top, [0]])))
    longest = int((edges[1::2] - edges[::2]).max())
    return int(top.sum()) if longest >= CUT else 0


def _said(log: RawLog, parts: Stretches, thrust: Thrust, smooth: np.ndarray, noise: float, ends: np.ndarray, clipped: int) -> list[str]:
    found, peak = [], float(smooth.max())
    if clipped:
        found.append(f"CLIPPED: {clipped} samples stand at the largest reading, the limit of the cell or its converter; the impulse is at least what is said")
    if parts.last - parts.first < FEW:
        found.append(f"only {parts.last - parts.first + 1} samples in the burn: ignition and end are guessed between them")
    if abs(thrust.drift) > DRIFTED * peak:
        found.append(f"the tare drifts by {thrust.drift:+.1f} N over the burn, {100.0 * abs(thrust.drift) / peak:.1f} % of the largest thrust")
    inside = (log.gaps[:, 0] >= log.time[parts.burn][0]) & (log.gaps[:, 1] <= log.time[parts.burn][-1])
    if inside.any():
        found.append(f"{int(inside.sum())} of the gaps lie{'s' if inside.sum() == 1 else ''} in the burn")
    if 3.0 * noise > BURN_SHARE * peak:
        found.append(f"the noise of the filtered thrust, {noise:.1f} N, hides 5 % of its largest: beginning and end are doubtful; filter more (lowpass)")
    if not np.isfinite(ends[2]).all():
        found.append("the curve has no tail-off that stands out from its plateau: no aft tangent-bisector point")
    return found
