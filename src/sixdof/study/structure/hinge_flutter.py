"""Divergence and flutter of a hinged fin in two motions, by unsteady strip theory on the slopes that the kernel flies with."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.study.structure.hinge_modes import Modes, Panel

# omega b/V on the mean semichord, between which flutter is looked for; with 400 of them speeds are right to 0.3 %
REDUCED = np.geomspace(8.0, 0.005, 400)


class Slopes(NamedTuple):
    """Aerodynamics of a panel at some Mach numbers, (n,) each: slope of its normal force per deflection (1/rad, on its own area), where it acts
    (share of each strip's chord), and how much of the lag of unsteady lift is left (1 subsonic, 0 from Mach 1.2)."""

    slope: np.ndarray
    centre: np.ndarray
    lag: np.ndarray


def theodorsen(k) -> np.ndarray:
    """Return Theodorsen's function C(k) = H1/(H1 + i H0) (Hankel functions of the second kind; T. Theodorsen, NACA Report 496, 1935)."""
    from scipy.special import hankel2

    first, zeroth = hankel2(1, k), hankel2(0, k)
    return first / (first + 1j * zeroth)


def divergence_pressure(panel: Panel, slopes: Slopes, hinge_stiffness: float) -> np.ndarray:
    """Return the dynamic pressure (Pa, (n,)) at which the air's moment outgrows the hinge's, inf where the load acts behind the hinge.

    q_D = K/(S CL_alpha e) with the load e ahead of the hinge line (Bisplinghoff, Ashley and Halfman 1955, sec. 8-2).
    """
    area = np.sum(panel.width * panel.chord)
    load = np.sum(panel.width * panel.chord * (panel.edge + slopes.centre[:, None] * panel.chord), axis=1)
    moment = slopes.slope * (area * panel.hinge - load)
    return np.where(moment > 0.0, hinge_stiffness / np.maximum(moment, 1e-300), np.inf)


def air_matrix(panel: Panel, slopes: Slopes, reduced: float) -> np.ndarray:
    """Return A (n, 2, 2) of the generalised air forces Q = rho omega^2 A q on (bending, turning) in a harmonic motion.

    Strip theory with Theodorsen's unsteady forces (NACA Report 496, 1935), the circulatory ones with each strip's slope and centre as the kernel has
    them for the panel in place of 2 pi and a quarter of the chord, the downwash taken slope/(2 pi) semichords behind that centre ("modified strip
    analysis": E. C. Yates, NACA RM L57L10, 1958). reduced : omega b/V on the mean semichord b.
    """
    semichord = 0.5 * panel.chord
    over = panel.semichord / reduced  # V/omega, m
    axis = (panel.hinge - panel.edge - semichord) / semichord  # a: of the hinge behind mid-chord, in semichords
    centre = 2.0 * slopes.centre[:, None] - 1.0
    lift_slope = slopes.slope[:, None]
    wash = lift_slope / (2.0 * math.pi) + centre - axis
    lag = 1.0 - slopes.lag[:, None] * (1.0 - theodorsen(semichord / over))
    round_h, round_a = lift_slope * semichord * lag * over * 1j, lift_slope * semichord * lag * over * (over + 1j * semichord * wash)
    mass = math.pi * semichord**2
    lift_h, lift_a = round_h - mass, round_a + mass * (1j * over + semichord * axis)
    arm = semichord * (axis - centre)
    moment_h = arm * round_h - mass * semichord * axis
    moment_a = arm * round_a + mass * (semichord**2 * (0.125 + axis**2) - 1j * over * semichord * (0.5 - axis))
    weights = {"hh": -lift_h * panel.shape**2, "ha": -lift_a * panel.shape, "ah": moment_h * panel.shape, "aa": moment_a}
    total = {key: np.sum(panel.width * np.broadcast_to(value, lag.shape), axis=1) for key, value in weights.items()}
    return np.stack([np.stack([total["hh"], total["ha"]], -1), np.stack([total["ah"], total["aa"]], -1)], -2)


def air_matrices(panel: Panel, slopes: Slopes) -> np.ndarray:
    """Return `air_matrix` at all of `REDUCED`, (k, n, 2, 2)."""
    return np.array([air_matrix(panel, slopes, reduced) for reduced in REDUCED])


def flutter_speeds(modes: Modes, semichord: float, air: np.ndarray, density) -> tuple[np.ndarray, np.ndarray]:
    """Return the lowest flutter speed (m/s) and its frequency (Hz) at Mach numbers (n,) and densities (m,), (n, m) each; inf and NaN where none is found.

    semichord : the mean one, m. air : (k, n, 2, 2), as `air_matrices` returns it. density : kg/m^3.

    At each reduced frequency the damping g that would keep the motion harmonic follows from K (1 + i g) q = omega^2 (M + rho A) q (the V-g method:
    Bisplinghoff, Ashley and Halfman 1955, sec. 9-6); flutter is where it rises through 0 with the speed. No damping of the structure is counted on.
    """
    rho = np.asarray(density, dtype=float)
    roots = _followed(_roots(modes, air[:, :, None] * rho[:, None, None]))
    with np.errstate(divide="ignore", invalid="ignore"):
        omega = np.where(roots.real > 0.0, roots.real, np.nan) ** -0.5
        damping = roots.imag / roots.real
    speed = omega * semichord / REDUCED[:, None, None, None]
    return _first_rise(speed, damping, omega)


def _roots(modes: Modes, air: np.ndarray) -> np.ndarray:
    """Return both eigenvalues (..., 2) of K^-1 (M + rho A): (1 + i g)/omega^2."""
    matrix = (modes.mass_matrix + air) / modes.stiffness[:, None]
    half = 0.5 * (matrix[..., 0, 0] + matrix[..., 1, 1])
    root = np.sqrt(half**2 - (matrix[..., 0, 0] * matrix[..., 1, 1] - matrix[..., 0, 1] * matrix[..., 1, 0]))
    return np.stack([half + root, half - root], axis=-1)


def _followed(roots: np.ndarray) -> np.ndarray:
    """Return roots (k, n, m, 2) with each motion kept in its column from one reduced frequency to the next."""
    roots = roots.copy()
    for k in range(1, len(roots)):
        before, now = roots[k - 1], roots[k]
        kept, swapped = (np.abs(np.log(one / before)).sum(axis=-1) for one in (now, now[..., ::-1]))
        roots[k] = np.where((swapped < kept)[..., None], now[..., ::-1], now)
    return roots


def _first_rise(speed: np.ndarray, damping: np.ndarray, omega: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the lowest speed at which damping (k, n, m, 2) rises through 0, and the frequency there, straight lines between the points."""
    rises = (damping[:-1] < 0.0) & (damping[1:] >= 0.0) & np.isfinite(speed[:-1]) & np.isfinite(speed[1:])
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(rises, -damping[:-1] / (damping[1:] - damping[:-1]), 0.0)
    at = np.where(rises, speed[:-1] + share * (speed[1:] - speed[:-1]), np.inf)
    frequency = (omega[:-1] + share * (omega[1:] - omega[:-1])) / (2.0 * math.pi)
    at, frequency = (np.moveaxis(one, (0, 3), (2, 3)).reshape(*one.shape[1:3], -1) for one in (at, frequency))
    least = np.argmin(at, axis=-1)[..., None]
    found = np.take_along_axis(at, least, -1)[..., 0]
    return found, np.where(np.isfinite(found), np.take_along_axis(frequency, least, -1)[..., 0], np.nan)
