"""Sinusoidal-input describing functions of a servo's imperfections, and the limit cycles a loop with one of them predicts.

The element's input is A sin(w t); N(A) = (b1 + j a1)/A, with b1 and a1 the sine and cosine amplitudes of the output's first
harmonic: N multiplies the loop like a gain and a phase that depend on the amplitude. Sources, unless a function says otherwise:
A. Gelb, W. E. Vander Velde, Multiple-Input Describing Functions (1968), ch. 2 and 3; J.-J. E. Slotine, W. Li, Applied Nonlinear
Control (1991), ch. 5. Conventions are those of `core/actuator.py`. The prediction is as good as the loop's low-pass: higher
harmonics are omitted.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from sixdof.mission.units import shown

MOST_STEPS = 1_000_000  # of a staircase; beyond, N = 1 to within 1e-6
FULL = 1.0 / math.sqrt(1.0 + 0.25 * math.pi**2)  # share of the limit below which a rate-limited sine is a triangle
# how finely -1/N is traced: largest bend of ln N in a chord, and halvings of a chord (a jump is closed in to 2^-30 of the grid)
BEND, HALVINGS = 1e-3, 30
BETWEEN = 8  # chords of the loop's curve between two given frequencies
MOST_TURN = 2.0  # rad of phase between two frequencies; from pi on, its direction is a guess
NEWTON, NUDGE, SETTLED = 40, 1e-6, 1e-11  # iterations, step of the derivative of ln N, last step (all in logarithms)
APART = 1e-7  # relative: closer cycles are the same one


class LimitCycle(NamedTuple):
    """A self-sustained oscillation of a loop."""

    amplitude: float  # of the element's input, in that input's unit (servos: rad)
    frequency: float  # rad/s
    stable: bool  # whether a slightly larger or smaller oscillation comes back to it


# ------------------------------------------------------------------ elements


def backlash(amplitude: ArrayLike, play: float) -> np.ndarray:
    """Return N (complex, shape of `amplitude`) of a total play: the output follows half of it behind (friction-controlled backlash).

    Zero where the input never leaves the play. Raises ValueError for a negative amplitude or play. amplitude, play : same unit.
    """
    a, half = _amplitudes(amplitude), 0.5 * _size(play, "play")
    share = _share(half, a)
    inside = 1.0 - 2.0 * share
    real = (0.5 * math.pi + np.arcsin(inside) + inside * np.sqrt(1.0 - inside * inside)) / math.pi
    imaginary = -4.0 / math.pi * share * (1.0 - share)
    return real + 1j * imaginary


def quantiser(amplitude: ArrayLike, resolution: float) -> np.ndarray:
    """Return N (complex, shape of `amplitude`) of rounding to the nearest multiple of `resolution`; 1 where that is zero.

    The staircase's n-th step adds 4 r/(pi A) sqrt(1 - ((n - 1/2) r/A)^2). Zero below half a step; up to 4/pi just above it.
    Raises ValueError for a negative amplitude or resolution. amplitude, resolution : same unit.
    """
    size = _size(resolution, "resolution")

    def one(ratio):
        count = math.floor(ratio + 0.5)
        edge = (np.arange(1, count + 1) - 0.5) / ratio
        return 4.0 / math.pi / ratio * np.sqrt(np.maximum(1.0 - edge * edge, 0.0)).sum()

    return _staircase(_amplitudes(amplitude), size, one)


def command_dead_band(amplitude: ArrayLike, dead_band: float) -> np.ndarray:
    """Return N (complex, shape of `amplitude`) of a dead band against the last command taken (`core.actuator.issue`).

    A slow sine (many ticks in the time that it takes to cross the band) is taken at multiples of the band from where it began, here
    zero: n - 1 to n at n d upwards, back at (n - 1) d. Every such pair is a relay with hysteresis, and adds
    d/(pi A) (sqrt(1 - u^2) + sqrt(1 - v^2) - j d/A), with u = n d/A, v = (n - 1) d/A. N jumps where A passes a multiple of d; for A
    far above d it is that of a total play of d.
    Raises ValueError for a negative amplitude or dead_band. amplitude, dead_band : same unit.
    """
    size = _size(dead_band, "dead_band")

    def one(ratio):
        top = math.ceil(ratio) - 1  # a change of exactly the band is not taken
        edge = np.arange(-top, top + 1) / ratio
        height = np.sqrt(np.maximum(1.0 - edge * edge, 0.0))
        return (height[1:] + height[:-1] - 1j / ratio).sum() / math.pi / ratio

    return _staircase(_amplitudes(amplitude), size, one)


def saturation(amplitude: ArrayLike, limit: float) -> np.ndarray:
    """Return N (complex, shape of `amplitude`) of a unit slope that ends at +-limit.

    Raises ValueError for a negative amplitude or limit. amplitude, limit : same unit.
    """
    if not _number(limit, "limit") >= 0.0:
        raise ValueError(f"limit = {limit!r} must be 0 or more")
    share = _share(float(limit), _amplitudes(amplitude))
    return 2.0 / math.pi * (np.arcsin(share) + share * np.sqrt(1.0 - share * share)) + 0.0j


def dead_zone(amplitude: ArrayLike, half_width: float) -> np.ndarray:
    """Return N (complex, shape of `amplitude`) of no output within +-half_width and unit slopes from there on.

    Raises ValueError for a negative amplitude or half_width. amplitude, half_width : same unit.
    """
    return 1.0 - saturation(amplitude, _size(half_width, "half_width"))


def rate_limit(amplitude: ArrayLike, frequency: ArrayLike, limit: float) -> np.ndarray:
    """Return N (complex, broadcast shape) of an output that follows its input no faster than `limit` (rad/s), in the steady state.

    amplitude (rad) and frequency (rad/s) count by their product alone. With r = limit/(A w): N = 1 for r >= 1; a triangle,
    N = 4 r/pi exp(-j acos(pi r/2)), for r <= 1/sqrt(1 + pi^2/4) = 0.537 (H. Duda, J. Guidance 20, 1997); between, the output leaves
    the input at the phase -acos r and meets it again at a phase found by Newton's rule, and N is the exact integral. In a loop, give
    `harmonic_balance` the element `lambda v: rate_limit(v, 1.0, limit)`; its amplitude is then A w.
    Raises ValueError for a negative amplitude, and for a frequency or limit that is not positive.
    """
    a, w = _amplitudes(amplitude), _floats(frequency, "frequency")
    if not (np.isfinite(w) & (w > 0.0)).all():
        raise ValueError("frequency must be positive and finite (rad/s)")
    try:
        np.broadcast_shapes(a.shape, w.shape)
    except ValueError:
        raise ValueError(f"amplitude has shape {a.shape}, frequency {w.shape}; they must go together") from None
    with np.errstate(over="ignore"):
        rate = a * w
    if not np.isfinite(rate).all():
        raise ValueError("amplitude times frequency must be finite (rad/s)")
    if not _number(limit, "limit") > 0.0:
        raise ValueError(f"limit = {limit!r} must be positive (rad/s)")
    share = _share(float(limit), rate)
    triangle = 4.0 / math.pi * share * np.exp(-1j * np.arccos(np.minimum(0.5 * math.pi * share, 1.0)))
    return np.where(share <= FULL, triangle, _partly_limited(np.maximum(share, FULL)))


def _partly_limited(share: np.ndarray) -> np.ndarray:
    """Return N where the output is limited for a part of each half cycle; share (...) of the limit in the input's largest rate.

    By parts, N = 1/pi of the integral of y'/A exp(-j x) over a cycle, and y'/A - cos x = share - cos x where it is limited.
    """
    start = -np.arccos(share)
    end = math.pi + start  # the gap is concave and negative there, so Newton's rule comes down to its root without overshooting
    for _ in range(60):
        gap = np.sin(end) - np.sin(start) - share * (end - start)
        slope = np.cos(end) - share
        end = end - np.divide(gap, slope, out=np.zeros_like(gap), where=slope < 0.0)
    ramp = 1j * share * (np.exp(-1j * end) - np.exp(-1j * start))
    wave = 0.5 * (end - start) + 0.25j * (np.exp(-2j * end) - np.exp(-2j * start))
    return 1.0 + 2.0 / math.pi * (ramp - wave)


def first_harmonic(function: Callable[[np.ndarray], np.ndarray], amplitude: ArrayLike, *, samples: int = 20_000, periods: int = 2) -> np.ndarray:
    """Return N (complex, shape of `amplitude`) of any element, by stepping it through `periods` periods of a sine from rest.

    function : takes a signal (periods samples,), evenly spaced, and returns the element's output, same shape. Harmonics are taken
    of the last period (samples points): errors of order 1/samples for steps, its square for corners.
    Raises ValueError for an amplitude that is not positive, too few samples or periods, or an output of another shape.
    """
    a = _amplitudes(amplitude)
    if not np.all(a > 0.0):
        raise ValueError("amplitude must be positive: nothing comes out of no input")
    if samples < 16 or periods < 1:
        raise ValueError(f"samples = {samples!r} must be 16 or more, periods = {periods!r} 1 or more")
    phase = 2.0 * math.pi * np.arange(periods * samples) / samples
    wave = 2j / samples * np.exp(-1j * phase[-samples:])
    out = np.empty(a.size, dtype=complex)
    for k, size in enumerate(a.flat):
        given = np.asarray(function(size * np.sin(phase)), dtype=float)
        if given.shape != phase.shape:
            raise ValueError(f"the element returned shape {given.shape} for a signal of shape {phase.shape}")
        out[k] = wave @ given[-samples:] / size
    return out.reshape(a.shape)


# ------------------------------------------------------------------ limit cycles


def harmonic_balance(response: ArrayLike, frequency: ArrayLike, element: Callable[[np.ndarray], np.ndarray], amplitudes: ArrayLike) -> list[LimitCycle]:
    """Return the limit cycles of a loop around one element, smallest amplitude first; empty if there is none.

    Solutions of 1 + N(A) L(jw) = 0: where the curve of L crosses that of -1/N, both drawn in ln magnitude and phase. response (n,)
    complex : L without the element, negative feedback; frequency (n,), rad/s, ascending, so fine that the phase turns less than 2 rad
    from one to the next. element : amplitudes (m,) -> N (m,) complex; amplitudes (m,), ascending : the range looked at, in the unit
    of the element's input (a grid of some twenty; it is refined where N bends or begins). Amplitude and frequency solve the equation
    to 1e-8 for a cubic spline of L; where N jumps across L, the place of the jump is returned. Stability is Loeb's criterion (Gelb and
    Vander Velde, ch. 3): necessary, and enough if the loop has no other growing mode. Curves that run along each other yield none.
    Raises ValueError for input of another shape, order or sign, and where the phase of L turns too far between two frequencies.
    """
    loop = _spline_of(response, frequency)
    grid = _ascending(amplitudes, "amplitudes", 2)
    size, n = _traced(element, np.log(grid))
    knots = BETWEEN * np.arange(loop.x.size)
    x = np.interp(np.arange(knots[-1] + 1), knots, loop.x)
    curve = loop(x)
    exact, rough = [], []
    for k in np.flatnonzero(np.isfinite(n[:-1]) & np.isfinite(n[1:])):
        chord = complex(_wrapped(n[k + 1] - n[k]))
        for along, at, step in _crossings(n[k], chord, curve):
            start = (size[k] + along * (size[k + 1] - size[k]), x[at] + step * (x[at + 1] - x[at]))
            reach = (2.0 * (size[k + 1] - size[k]), 2.0 * (x[at + 1] - x[at]))
            found = _polished(loop, element, start, reach)
            if found is None:
                slope = chord / (size[k + 1] - size[k])
                rough.append(_cycle(*start, slope, complex(loop(start[1], 1))))
            else:
                exact.append(found)
    return sorted(_distinct(_distinct([], exact, APART), rough, BEND))


def _spline_of(response: ArrayLike, frequency: ArrayLike) -> CubicSpline:
    """Return ln L (phase unwrapped) as a complex cubic spline over ln w."""
    w, given = _ascending(frequency, "frequency", 4), np.asarray(response, dtype=complex)
    if given.shape != w.shape:
        raise ValueError(f"response has shape {given.shape}, frequency {w.shape}; they must be the same")
    if not np.isfinite(given).all() or not given.all():
        raise ValueError("response must be finite and not zero anywhere; leave such frequencies out")
    phase = np.unwrap(np.angle(given))
    turn = np.abs(np.diff(phase))
    if turn.max() > MOST_TURN:
        k = int(turn.argmax())
        raise ValueError(f"response turns by {turn[k]:.2f} rad between {w[k]:.6g} and {w[k + 1]:.6g} rad/s; give more frequencies there")
    return CubicSpline(np.log(w), np.log(np.abs(given)) + 1j * phase)


def _log(element: Callable, size: np.ndarray) -> np.ndarray:
    """Return ln N at ln A (m,); -inf where N is zero."""
    n = np.asarray(element(np.exp(size)), dtype=complex)
    if n.shape != size.shape or not np.isfinite(n).all():
        raise ValueError(f"element must return a finite N for each of {size.size} amplitudes, and returned shape {n.shape}: {n}")
    out = np.full(n.shape, -np.inf, dtype=complex)
    return np.log(n, out=out, where=n != 0.0)


def _traced(element: Callable, size: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (ln A, ln N), the given amplitudes (m,) refined until chords follow the curve, up to where N begins."""
    n, fresh = _log(element, size), np.ones(size.size - 1, dtype=bool)
    for _ in range(HALVINGS):
        at = np.flatnonzero(fresh)
        if at.size == 0:
            break
        middle = 0.5 * (size[at] + size[at + 1])
        value = _log(element, middle)
        there = np.stack([np.isfinite(n[at]), np.isfinite(value), np.isfinite(n[at + 1])])
        with np.errstate(invalid="ignore"):  # -inf less -inf; `there` decides in that case
            bend = 0.5 * np.abs(_wrapped(2.0 * value - n[at] - n[at + 1]))
        open_ = np.where(there.all(axis=0), bend > BEND, there.any(axis=0))
        at, middle, value = at[open_], middle[open_], value[open_]
        size, n = np.insert(size, at + 1, middle), np.insert(n, at + 1, value)
        new = at + 1 + np.arange(at.size)
        fresh = np.zeros(size.size - 1, dtype=bool)
        fresh[new - 1] = fresh[new] = True
    return size, n


def _crossings(n: complex, chord: complex, curve: np.ndarray) -> list[tuple[float, int, float]]:
    """Return (share of the chord, chord of the loop's curve, share of that) of each crossing with -1/N; curve (k,) of ln L."""
    origin, along = 1j * math.pi - n, -chord
    steps = np.diff(curve)
    turns = np.round((curve[:-1] + 0.5 * steps - origin - 0.5 * along).imag / (2.0 * math.pi))
    off = curve[:-1] - origin - 2j * math.pi * turns
    with np.errstate(divide="ignore", invalid="ignore"):  # parallel chords do not cross: their shares are not finite
        here, there = np.array([_cross(off, steps), _cross(off, along)]) / _cross(along, steps)
    room = 1e-9  # a crossing at a corner must not fall between two chords
    hit = (here >= -room) & (here <= 1.0 + room) & (there >= -room) & (there <= 1.0 + room)
    return [(float(here[i]), int(i), float(there[i])) for i in np.flatnonzero(hit)]


def _polished(loop: CubicSpline, element: Callable, start: tuple, reach: tuple) -> LimitCycle | None:
    """Return the cycle near `start` (ln A, ln w), or None where there is no smooth one within `reach`."""
    a, x = start
    for _ in range(NEWTON):
        low, n, high = _log(element, np.array([a - NUDGE, a, a + NUDGE]))
        if not np.isfinite([low, n, high]).all():
            return None
        slope, steep = complex(_wrapped(high - low)) / (2.0 * NUDGE), complex(loop(x, 1))
        gap = complex(_wrapped(n + loop(x) - 1j * math.pi))
        area = _cross(slope, steep)
        if area == 0.0:
            return None
        da, dx = -_cross(gap, steep) / area, -_cross(slope, gap) / area
        a, x = a + da, x + dx
        if abs(a - start[0]) > reach[0] or abs(x - start[1]) > reach[1] or not loop.x[0] <= x <= loop.x[-1]:
            return None
        if max(abs(da), abs(dx)) < SETTLED:
            return _cycle(a, x, slope, steep)
    return None


def _cycle(a: float, x: float, slope: complex, steep: complex) -> LimitCycle:
    """Return a cycle from ln A, ln w, d ln N/d ln A and d ln L/d ln w.

    With A off by da, slope da + steep (dw - j s)/w = 0 gives the growth s; s < 0 for da > 0 is stable.
    """
    return LimitCycle(math.exp(a), math.exp(x), bool(_cross(slope, steep) > 0.0))


def _distinct(known: list[LimitCycle], more: list[LimitCycle], apart: float) -> list[LimitCycle]:
    """Return the known cycles and those of `more` that are not within `apart` (relative) of one already there."""
    out = list(known)
    for c in more:
        if not any(abs(c.amplitude / o.amplitude - 1.0) < apart and abs(c.frequency / o.frequency - 1.0) < apart for o in out):
            out.append(c)
    return out


# ------------------------------------------------------------------ small parts


def _cross(a, b):
    """Return the cross product of complex numbers as vectors."""
    return (np.conj(a) * b).imag


def _wrapped(z):
    """Return complex logarithms with their phase within +-pi."""
    return z - 2j * math.pi * np.round(np.imag(z) / (2.0 * math.pi))


def _share(size: float, a: np.ndarray) -> np.ndarray:
    """Return size/a, at most 1; 1 where a is zero, unless size is zero too."""
    return np.divide(size, a, out=np.full(a.shape, 1.0 if size > 0.0 else 0.0), where=a > size)


def _staircase(a: np.ndarray, size: float, one: Callable) -> np.ndarray:
    """Return N of a staircase with steps of `size`; one(A/size) -> N."""
    if size == 0.0:
        return np.ones(a.shape, dtype=complex)
    with np.errstate(over="ignore"):  # more steps than a float counts: N = 1
        ratios = (a / size).ravel()
    values = [0.0 if r < 0.5 else 1.0 if r > MOST_STEPS else one(r) for r in ratios]
    return np.array(values, dtype=complex).reshape(a.shape)


def _number(value, name: str) -> float:
    """Return a number as a float, or say that it is none."""
    if isinstance(value, bool) or not isinstance(value, (int, float, np.integer, np.floating)):
        raise ValueError(f"{name} = {shown(value)} must be a number")
    return float(value)


def _floats(values: ArrayLike, name: str) -> np.ndarray:
    """Return numbers as floats, or say what is wrong."""
    try:
        return np.asarray(values, dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise ValueError(f"{name} = {shown(values)} must be a number or an array of them") from None


def _amplitudes(amplitude: ArrayLike) -> np.ndarray:
    """Return amplitudes as floats, or say what is wrong."""
    a = _floats(amplitude, "amplitude")
    if not (np.isfinite(a) & (a >= 0.0)).all():
        raise ValueError("amplitude must be finite and 0 or more")
    return a


def _size(value: float, name: str) -> float:
    """Return a finite size of 0 or more, or say what is wrong."""
    if not (math.isfinite(_number(value, name)) and value >= 0.0):
        raise ValueError(f"{name} = {value!r} must be finite and 0 or more")
    return float(value)


def _ascending(values: ArrayLike, name: str, least: int) -> np.ndarray:
    """Return positive ascending numbers (n,), or say what is wrong."""
    v = np.asarray(values, dtype=float)
    if v.ndim != 1 or v.size < least or not np.isfinite(v).all() or not v[0] > 0.0 or not (np.diff(v) > 0.0).all():
        raise ValueError(f"{name} must be {least} or more positive finite numbers, ascending")
    return v
