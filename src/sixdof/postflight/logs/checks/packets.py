"""Rows of a log put in the order of time: repeats, late packets, clocks that wrap, stand still or begin anew, and what was lost."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.postflight.logs.checks.finding import Finding, counted

WRAPS = (2.0**16, 2.0**24, 2.0**32)  # counts at which a clock of 16, 24 or 32 bits starts again
PERIODS = (43_200.0, 86_400.0, 604_800.0)  # s: half a day, a day, a week of a time of day
SHUFFLED = 0.05  # share of steps backward above which a log has no order of its own
FEWEST = 10  # rows that go on after a clock began anew; fewer are late packets
NANOSECONDS = 9  # decimals of a second: times that differ by rounding alone are one
LEAST_FALL = 1.0  # s by which a clock that begins anew falls at least
GAP = 3.5  # median steps: a longer one has lost rows


class Packets(NamedTuple):
    """Rows in order. row : (n,) number in the table. time : (n,) s of the log's clock, strictly rising. step : the median, s."""

    row: np.ndarray
    time: np.ndarray
    step: float
    findings: list[Finding]


def unwrapped(raw: np.ndarray, factor: float) -> tuple[np.ndarray, list[Finding]]:
    """Return a clock (counts of `factor` seconds) without the falls at which it wraps, as seconds in file order."""
    time = raw * factor
    steps = np.diff(time)
    steps = steps[np.isfinite(steps)]
    if not (steps > 0.0).any():
        return time, []
    usual = float(np.median(steps[steps > 0.0]))
    found, shift = [], np.zeros(len(time))
    for k in np.flatnonzero(np.diff(time) < 0.0):
        fall = time[k] - time[k + 1]
        whole = next((one for one in (*(factor * wrap for wrap in WRAPS), *PERIODS) if abs(one - fall - usual) < max(2.5 * usual, 1e-6 * one)), None)
        # a late packet falls back too: behind a wrap the clock goes on from near zero and was near its end before
        if whole is not None and time[k + 1] < 0.05 * whole and time[k] > 0.95 * whole:
            shift[k + 1 :] += whole
            found.append(
                Finding("wrap", f"the clock wraps after {whole:g} s and goes on", "corrected", start=float(time[k] + shift[k]), count=len(time) - k - 1)
            )
    return time + shift, found


def in_order(time: np.ndarray, repeated: np.ndarray, counter: np.ndarray | None, second: np.ndarray | None, reset_gap: float | None) -> Packets:
    """Return the rows of a log in order, strictly rising.

    time : (rows,) s, in file order, NaN where it is missing. repeated : (rows,) bool, whether a row says the same as an earlier one. counter : (rows,) of
    packets. second : (rows,) s of another clock. reset_gap : s that passed while a clock began anew, where nothing else says it.

    Raises ValueError for fewer than two rows with a time.
    """
    found: list[Finding] = []
    keep = np.isfinite(time)
    if not keep.all():
        found.append(Finding("time", f"{counted(int((~keep).sum()), 'row')} without a time", "dropped", count=int((~keep).sum())))
    twice = repeated & keep
    if twice.any():
        first, last = time[twice].min(), time[twice].max()
        count = int(twice.sum())
        repeat = "that repeats another" if count == 1 else "that repeat another"
        found.append(Finding("repeat", f"{counted(count, 'row')} {repeat}", "dropped", start=first, end=last, count=count))
    row = np.flatnonzero(keep & ~twice)
    if row.size < 2:
        raise ValueError("read_log: the log has fewer than two rows with a time; is it the right column for the clock?")
    time, counter, second = time[row], None if counter is None else counter[row], None if second is None else second[row]
    if np.ptp(time) == 0.0:
        raise ValueError("read_log: the clock stands still over the whole log; is it the right column?")
    time, kept, more = _anew(time, counter, second, reset_gap)
    row, time, found = row[kept], time[kept], found + more
    order, more = _sorted(time, None if counter is None else counter[kept])
    row, time = row[order], np.round(time[order], NANOSECONDS)
    if time.size < 2 or time[0] == time[-1]:
        raise ValueError("read_log: of the log's rows fewer than two are left with times that differ; is it the right column for the clock?")
    return Packets(row, time, _usual(time), found + more)


def _usual(time: np.ndarray) -> float:
    steps = np.diff(time)
    return float(np.median(steps[steps > 0.0]))


def _sorted(time: np.ndarray, counter: np.ndarray | None) -> tuple[np.ndarray, list[Finding]]:
    """Return the order by time, the counter deciding where times are equal."""
    order = np.argsort(time, kind="stable") if counter is None else np.lexsort((np.nan_to_num(counter), time))
    highest = np.maximum.accumulate(time)
    late = time < highest
    if not late.any():
        return order, []
    worst = float((highest - time).max())
    text = f"{counted(int(late.sum()), 'row')} out of order, by {worst:.3g} s at most, put in order"
    return order, [Finding("order", text, "corrected", start=float(time[late].min()), end=float(time[late].max()), count=int(late.sum()))]


# ---------------------------------------------------------------- a clock that begins anew


def _anew(time: np.ndarray, counter, second, gap: float | None) -> tuple[np.ndarray, np.ndarray, list[Finding]]:
    """Return times that go on where the clock began anew, the rows kept, and what was found."""
    kept, found = np.ones(len(time), dtype=bool), []
    for start in _beginnings(time, counter):
        before, after = float(time[start - 1]), float(time[start])
        passed, how = _passed(start, time, counter, second, gap)
        at = f"the clock begins anew (from {before:.2f} s to {after:.2f} s): the computer was reset"
        if passed is None:
            count = int(kept[start:].sum())
            text = f"{at}, and nothing tells how long it was off; reset_gap says it"
            found.append(Finding("reset", text, "cut", start=before, count=count))
            kept[start:] = False
            break
        time = time.copy()
        time[start:] += before + passed - after
        found.append(
            Finding("reset", f"{at}; it was off for {passed:.2f} s by {how}, and the rows behind it go on from there", "corrected", start=before, count=1)
        )
    return time, kept, found


def _beginnings(time: np.ndarray, counter) -> list[int]:
    """Return the rows at which the clock begins anew, in contrast to packets that came late."""
    back = np.flatnonzero(np.diff(time) < 0.0) + 1
    if back.size > max(SHUFFLED * len(time), 3.0) or _fits_between(time, counter):
        return []
    usual = _usual(time)
    ends = [*back[1:], len(time)]
    return [int(i) for i, end in zip(back, ends) if time[i - 1] - time[i] > LEAST_FALL and end - i >= FEWEST and _is_reset(time, i, end, usual)]


def _is_reset(time: np.ndarray, i: int, end: int, usual: float) -> bool:
    """Tell whether the rows i to end are those after a reset: they lie among times already there, or before all and do not lead up to them."""
    piece, others = time[i:end], np.delete(time, np.s_[i:end])
    inside = int(((others >= piece.min()) & (others <= piece.max())).sum())
    if inside >= 0.5 * len(piece):
        return True
    lowest = time[:i].min()
    return bool(piece[0] < lowest and abs(lowest - piece[-1]) > GAP * usual)


def _fits_between(time: np.ndarray, counter) -> bool:
    """Tell whether a counter rises with the clock over all rows: then the rows are packets out of order."""
    if counter is None or not np.isfinite(counter).all():
        return False
    ordered = counter[np.argsort(time, kind="stable")]
    return bool((np.diff(ordered) > 0.0).all())


def _passed(start: int, time: np.ndarray, counter, second, gap: float | None) -> tuple[float | None, str]:
    """Return how long the clock was off, s, and by what it is known."""
    if gap is not None:
        return gap, "what was given"
    if second is not None and np.isfinite(second[start - 1 : start + 1]).all() and second[start] > second[start - 1]:
        return float(second[start] - second[start - 1]), "the other clock"
    if counter is not None and np.isfinite(counter[start - 1 : start + 1]).all() and 1.0 <= counter[start] - counter[start - 1] < 1e4:
        return float(counter[start] - counter[start - 1]) * _usual(time), "the packet counter"
    return None, ""


# ---------------------------------------------------------------- equal times, gaps, losses


def spread_out(packets: Packets) -> Packets:
    """Return packets whose times rise strictly: rows of one time are spread up to the next."""
    time = packets.time
    values, first, count = np.unique(time, return_index=True, return_counts=True)
    if values.size == time.size:
        return packets
    step = (values[-1] - values[0]) / (time.size - count[-1])  # of a row
    following = np.append(values[1:], values[-1] + step * count[-1])
    each = (following - values) / count
    each[0], ahead = min(each[0], step), max(following[0] - values[0] - step * count[0], 0.0)  # the log may begin within a step of its clock
    within = np.arange(time.size) - np.repeat(first, count)
    spread = np.repeat(values, count) + within * np.repeat(each, count)
    spread[: count[0]] += ahead
    several = int(count[count > 1].sum())
    text = f"{counted(several, 'row')} share their time with others (a clock of coarse steps) and are spread evenly up to the next"
    found = [*packets.findings, Finding("clock", text, "corrected", start=float(time[0]), end=float(time[-1]), count=several)]
    return packets._replace(time=spread, step=_usual(spread), findings=found)


def gaps(time: np.ndarray, step: float) -> list[Finding]:
    """Return the stretches without rows; short ones together, the longest told."""
    long = np.flatnonzero(np.diff(time) > max(GAP * step, step + 1e-9))
    if not long.size:
        return []
    lengths = np.diff(time)[long]
    if long.size <= 5:
        return [
            Finding("gap", f"no rows for {length:.3g} s", "kept", start=float(time[k]), end=float(time[k + 1]), count=round(length / step) - 1)
            for k, length in zip(long, lengths)
        ]
    worst = int(np.argmax(lengths))
    at = long[worst]
    text = f"{long.size} gaps of {lengths.sum():.3g} s together, the longest of {lengths[worst]:.3g} s"
    return [Finding("gap", text, "kept", start=float(time[at]), end=float(time[at + 1]), count=int(round(lengths.sum() / step)) - long.size)]


def lost(counter: np.ndarray, time: np.ndarray, wraps: float) -> list[Finding]:
    """Return what a counter in the order of time tells of packets that never came."""
    known = np.isfinite(counter)
    counter, time = counter[known], time[known]
    steps = np.diff(counter)
    if wraps <= 0.0 and (steps < 0.0).any():  # no wrap is given: the next power of two, where the counter falls from near it
        top = counter.max() + 1.0
        guess = 2.0 ** np.ceil(np.log2(max(top, 2.0)))
        wraps = guess if top > 0.95 * guess else 0.0
    steps = np.mod(steps, wraps) if wraps > 0.0 else steps
    missing = np.where(steps > 1.0, steps - 1.0, 0.0)
    total = int(missing.sum())
    if not total:
        return []
    share, worst = total / (total + len(counter)), int(np.argmax(missing))
    text = f"{total} packets by the counter never came, {100.0 * share:.2g} % of all, at most {int(missing[worst])} together"
    return [Finding("lost", text, "kept", start=float(time[0]), end=float(time[-1]), count=total)]


# ---------------------------------------------------------------- two clocks

LEAST_DRIFT = 20e-6  # share: crystals of ordinary computers stay within it, and less is not worth a word
ODD = 0.01  # share by which no two clocks differ
LEAST_JUMP = 0.05  # s


def two_clocks(time: np.ndarray, second: np.ndarray) -> list[Finding]:
    """Return what a second clock says of the first: offset, drift with its standard error, jitter, a jump."""
    known = np.isfinite(second)
    if known.sum() < FEWEST:
        return []
    t, gap = time[known], (second - time)[known]
    middle = float(np.median(gap))
    slope, error = _robust_slope(t, gap)
    left = gap - middle - slope * (t - np.median(t))
    jitter = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    found = []
    jump, at, from_row_to_row = _jump(t, gap)
    if abs(jump) > max(LEAST_JUMP, 8.0 * from_row_to_row):
        found.append(Finding("clock", f"one clock jumps against the other by {jump:+.3g} s; times are those of the first", "kept", start=float(t[at]), count=1))
    elif abs(slope) > ODD:
        text = f"the second clock runs {1.0 + slope:.4g} times as fast as the first: one of their units is wrong, or it is no clock; times are the first's"
        return [Finding("clock", text, "kept", start=float(t[0]), end=float(t[-1]), count=int(known.sum()))]
    elif abs(slope) > max(LEAST_DRIFT, 3.0 * error):
        text = (
            f"the second clock gains {1e6 * slope:+.0f} +- {1e6 * error:.0f} ppm on the first, {slope * np.ptp(t):+.3g} s over the log; times are the first's"
        )
        found.append(Finding("drift", text, "kept", start=float(t[0]), end=float(t[-1]), count=int(known.sum())))
    text = f"the second clock stands {middle:+.3f} s from the first, with a scatter of {1e3 * jitter:.2g} ms"
    return [*found, Finding("clock", text, "kept", start=float(t[0]), end=float(t[-1]), count=int(known.sum()))]


def _robust_slope(t: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    """Return slope and standard error of a line through points, those far off left out in turns."""
    good = np.ones(len(t), dtype=bool)
    slope, error = 0.0, 0.0
    for _ in range(5):
        x = t[good] - t[good].mean()
        slope = float(x @ y[good] / (x @ x))
        left = y - y[good].mean() - slope * (t - t[good].mean())
        scatter = float(np.sqrt((left[good] ** 2).sum() / max(good.sum() - 2, 1)))
        error = scatter / float(np.sqrt(x @ x))
        good = np.abs(left) <= max(3.0 * scatter, 1e-12)
    return slope, error


def _jump(t: np.ndarray, gap: np.ndarray) -> tuple[float, int, float]:
    """Return the largest lasting change of the difference between two rows, s, the row before it, and the scatter from row to row."""
    steps = np.diff(gap)
    gap = gap - float(np.median(steps / np.diff(t))) * t
    steps = np.abs(np.diff(gap))
    most, at = 0.0, 0
    for k in np.argsort(-steps)[:3]:
        before, after = gap[max(0, k - 9) : k + 1], gap[k + 1 : k + 11]
        if min(len(before), len(after)) >= 5 and abs(float(np.median(after) - np.median(before))) > abs(most):
            most, at = float(np.median(after) - np.median(before)), int(k)
    return most, at, 1.4826 * float(np.median(steps)) / np.sqrt(2.0)
