"""Rolling moment of a set of fins on a round body above Mach 1: linear supersonic theory, marched along the body.

The disturbance potential obeys (M^2 - 1) phi_xx = phi_yy + phi_zz (linear theory; G. N. Ward, Linearized Theory of Steady
High-Speed Flow, 1955): waves in the cross plane over the time x/beta, which a grid in polar co-ordinates marches
explicitly. In a roll phi is odd about every fin and half way to the next, so one sector from fin to half way is enough: no
flow through body and fin, phi = 0 off the fin and half way, the jump at the trailing edge kept behind it. Bodies, tips,
leading edges inside or outside the Mach cone and the fins' waves upon each other are all in it.
"""

from __future__ import annotations

import math

import numpy as np

from sixdof.vehicle.geometry import strips

CELLS = 10  # from root to tip
LEAST_ANGLES = 12  # cells round the sector
# the change from fin to no fin acts this share of a cell beyond the last one: fitted to the closed form of the rectangle
TIP_SHIFT = 0.35
LEAST_BODY = 0.12  # body's radius over the tip's: thinner ones count as this (its fourth power is lost)
COURANT = 0.95


def wave_moments(count: int, radius: float, points: np.ndarray, beta) -> np.ndarray:
    """Return the rolling moment of one of `count` panels over dynamic pressure (2, k): per rad of the same deflection of
    all of them (m^3), and per p/V of a roll rate p, against it (m^4); beta : (k,) sqrt(M^2 - 1) over 0.

    Cost and memory grow with the fin's length over beta. Within 2 % of the rectangle's and 9 % of the triangle's closed forms
    (tests/validation/test_roll.py).
    """
    span = points[:, 1].max()
    tip = radius + span
    inner = max(radius, LEAST_BODY * tip)
    width = (tip - inner) / (CELLS + TIP_SHIFT)
    fin = inner + (np.arange(CELLS) + 0.5) * width
    lead, chord = strips(points, np.clip(fin - radius, 0.0, span))
    lead = lead - lead.min()
    beta = np.asarray(beta, dtype=float)[:, None]
    end = np.max(lead + chord) / beta  # (k, 1)
    sector = np.minimum(math.pi / count, 1.2 * end / inner)  # no wave comes further round
    angles = max(LEAST_ANGLES, round(float(sector.max()) * tip / width))
    turn = sector / angles
    steps = math.ceil(np.max(end * np.sqrt(width**-2 + ((inner + 0.5 * width) * turn) ** -2)) / COURANT)
    step = end / steps
    start, stop = lead / beta / step, (lead + chord) / beta / step  # in steps, (k, CELLS)

    rings = max(CELLS + 2, math.ceil((tip - inner + 0.55 * end.max()) / width))
    out = inner + (np.arange(rings) + 0.5) * width
    ahead = (1.0 + 0.5 * width / out) * (step / width) ** 2  # (k, rings)
    behind = (1.0 - 0.5 * width / out) * (step / width) ** 2
    behind[:, 0] = 0.0  # the body's wall
    ahead, behind, round_ = (a[:, :, None] for a in (ahead, behind, (step / (out * turn)) ** 2))
    stay = 2.0 - ahead - behind - 2.0 * round_
    push = np.stack([np.ones(CELLS), fin])[:, None, :] * (fin * turn)  # (2, k, CELLS): what the fin's own flow adds across a cell

    now = np.zeros((2, beta.size, rings + 2, angles + 2))  # with one ghost cell on every side
    inside = now[:, :, 1:-1, 1:-1]
    before = np.zeros_like(inside)
    kept = np.zeros((2, beta.size, rings))  # phi on the fin's face, the last one behind it
    for k in range(steps):
        across = 2.0 * (kept - inside[..., 0])
        share = np.clip(np.minimum(k + 0.5, stop) - np.maximum(k - 0.5, start), 0.0, 1.0)
        across[..., :CELLS] += share * (push - across[..., :CELLS])
        now[:, :, 1:-1, 0] = inside[..., 0] + across
        now[:, :, 1:-1, -1] = -inside[..., -1]
        new = stay * inside - before + ahead * now[:, :, 2:, 1:-1] + behind * now[:, :, :-2, 1:-1]
        new += round_ * (now[:, :, 1:-1, 2:] + now[:, :, 1:-1, :-2])
        before = inside.copy()
        inside[...] = new
        part = np.where(start < k + 1, np.clip(stop - k, 0.0, 1.0), 0.0)  # of this step that is on the fin
        kept[..., :CELLS] += part * (new[:, :, :CELLS, 0] + 0.5 * push - kept[..., :CELLS])
    return 4.0 * kept[..., :CELLS] @ (width * fin)
