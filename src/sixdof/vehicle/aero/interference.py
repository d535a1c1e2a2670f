"""Fin and body together: the slender-body factors of NACA 1307, and how much of the carry-over a short afterbody keeps.

x is the ratio of the body's radius to the semispan from the body's AXIS to the tip, 0 (no body) to 1 (no fin).
K factors are for incidence, k factors for deflection of the fin; each multiplies the normal force of the panels alone.
Source: W. C. Pitts, J. N. Nielsen, G. E. Kaattari, Lift and Center of Pressure of Wing-Body-Tail Combinations at
Subsonic, Transonic, and Supersonic Speeds, NACA Report 1307, 1957.
"""

from __future__ import annotations

import numpy as np

from sixdof.vehicle.aero.blend import smoothstep

NEAR_ONE = 0.999  # the closed forms are 0/0 at x = 1: a straight line to the exact limit from here (error below 1e-6)
_TINY = 1e-300

# k_W(B) of deflected panels with an open slot of `GAP` exposed spans between root and body, slender theory without
# viscosity, over that of sealed ones; r/s 0.34 (3 % less at r/s 0.1 and 0.6), tests/support/independent_gap.py
GAP = (1e-4, 5e-4, 2e-3, 5e-3, 1e-2, 2e-2, 5e-2, 0.1, 0.2)
GAP_KEPT = (0.831, 0.799, 0.760, 0.726, 0.692, 0.649, 0.570, 0.485, 0.364)
GAP_FELT = 0.5  # of that loss: slow air in the body's boundary layer (ours, to make 10-20 % at 1-3 % of the span)
GAP_CLOSED = 2.5e-3  # exposed spans: a slot this wide is half closed by viscosity (ours)


def _closed(form, limit: float, x):
    """Return `form(x)`, held at 0 below 0, and the chord to `limit` at x = 1 where `form` loses its digits."""
    x = np.clip(np.asarray(x, dtype=float), 0.0, 1.0)
    edge = form(np.float64(NEAR_ONE))
    inside = form(np.minimum(x, NEAR_ONE))
    return np.where(x > NEAR_ONE, edge + (limit - edge) * (x - NEAR_ONE) / (1.0 - NEAR_ONE), inside)


def _panel_incidence(x):
    lift = (1.0 + x**4) * (0.5 * np.arctan2(0.5 * (1.0 - x * x), x) + 0.25 * np.pi)
    return 2.0 / np.pi * (lift - x * (1.0 - x * x) - 2.0 * x * x * np.arctan(x)) / (1.0 - x) ** 2


def _panel_deflection(x):
    angle = np.arcsin((1.0 - x * x) / (1.0 + x * x))
    wide = ((1.0 + x * x) / (1.0 - x)) ** 2
    ratio = x * (1.0 + x) / (1.0 - x)
    log = (x / (1.0 - x)) ** 2 * np.log((1.0 + x * x) / np.maximum(2.0 * x, _TINY))
    return (0.25 * (np.pi * (1.0 + x)) ** 2 + np.pi * wide * angle - 2.0 * np.pi * ratio + wide * angle**2 - 4.0 * ratio * angle + 8.0 * log) / np.pi**2


def panel_incidence(x) -> np.ndarray:
    """Return K_W(B): normal force of the panels beside the body, per that of the panels alone; 1 at x = 0, 2 at 1."""
    return _closed(_panel_incidence, 2.0, x)


def body_incidence(x) -> np.ndarray:
    """Return K_B(W) = (1 + x)^2 - K_W(B): force carried over onto the body at incidence; 0 at x = 0, 2 at 1."""
    return (1.0 + np.clip(np.asarray(x, dtype=float), 0.0, 1.0)) ** 2 - panel_incidence(x)


def panel_deflection(x) -> np.ndarray:
    """Return k_W(B): normal force of the deflected panels beside the body; 1 at x = 0 and 1, least (0.935) at 0.36."""
    return _closed(_panel_deflection, 1.0, x)


def body_deflection(x) -> np.ndarray:
    """Return k_B(W) = K_W(B) - k_W(B): force the deflected panels carry over onto the body; 0 at x = 0, 1 at 1."""
    return panel_incidence(x) - panel_deflection(x)


def gap_share(gap: float, span: float) -> float:
    """Return the share of the fin-body factors that is left with a slot `gap` (m) between root and body.

    Air slips through the slot and the load there falls to nothing. Slender-wing theory with a slit (H. Mirels 1954;
    D. A. Dugan and K. Hikido, NACA TN 3224, 1954; cited from memory, numbers computed here) loses 31 % for a slot of 1 %
    of the exposed span, and viscosity saves part: loss = 0.5 (1 - GAP_KEPT) g/(g + 0.0025), 12 % there; common practice
    is 10 to 20 %. Factor of 2 either way. The same for incidence, deflection and the load carried over.
    """
    g = max(gap / span, 0.0)
    if g == 0.0:
        return 1.0
    kept = np.interp(np.log(g), np.log(GAP), GAP_KEPT)
    return float(1.0 - GAP_FELT * (1.0 - kept) * g / (g + GAP_CLOSED))


def afterbody_share(mach, root_chord: float, radius: float, afterbody: float) -> tuple[np.ndarray, np.ndarray]:
    """Return (share, centre): how much of the slender carry-over stays on the body, and where, over `mach` (n,).

    `afterbody` is the body's length behind the root's trailing edge, `centre` is measured aft from the root's leading
    edge (m). Supersonic planar model of NACA 1307: the body is a flat strip of width 2 r beside the root of an unswept
    panel, whose pressure spreads over it as acos(beta y/x), counted between the Mach lines of the root's leading and
    trailing edge and ahead of the body's end. As beta -> 0 everything is kept and its centre is at mid-root; the planar
    model's own carry-over, r/exposed span, is then 0.8 to 1.25 of the slender one for x 0.05 to 0.5. Sweep and tip are
    left out. The share is 1 at M <= 1 and reaches the model's value over M 1..1.2 (ours: the model has an infinite
    slope at M = 1).
    """
    mach = np.asarray(mach, dtype=float)
    beta = np.sqrt(np.maximum(mach**2 - 1.0, 0.0))
    node, weight = np.polynomial.legendre.leggauss(24)
    front = beta[:, None] * radius * (node + 1.0)  # where the leading edge's Mach line crosses each strip
    end = np.maximum(np.minimum(root_chord + front, root_chord + max(afterbody, 0.0)), front)
    end = np.maximum(end, _TINY)
    ratio = np.clip(front / end, 0.0, 1.0)
    angle = np.arccos(ratio)
    reach = np.arccosh(1.0 / np.maximum(ratio, 1e-30))
    load = (end * angle - front * reach) @ weight
    moment = (0.5 * end**2 * angle - 0.5 * front * np.sqrt(np.maximum(end**2 - front**2, 0.0))) @ weight
    share = load / (0.5 * np.pi * root_chord * weight.sum())
    centre = moment / np.maximum(load, _TINY)
    return 1.0 - smoothstep(mach, 1.0, 1.2) * (1.0 - share), centre
