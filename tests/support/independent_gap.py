"""Slender fins with a slot at the root, apart from the library: vortex sheets across the stream, imaged in the body.

Both panels are deflected alike. In the cross plane each is a vortex sheet between the slot and the tip whose strength
has a square root's singularity at both edges and no net circulation; the circle of the body is a streamline through
images. The load is the integral of the potential's jump.
"""

from __future__ import annotations

import numpy as np


def panel_factor(ratio: float, gap: float, order: int = 160) -> float:
    """Return k_W(B) of panels on a body of radius `ratio` times the semispan, slot of `gap` exposed spans."""
    exposed = 1.0 - ratio
    edge = ratio + gap * exposed
    half, middle = 0.5 * (1.0 - edge), 0.5 * (1.0 + edge)
    source = np.cos((2.0 * np.arange(1, 4 * order + 1) - 1.0) * np.pi / (8.0 * order))
    angle = np.arange(1, order + 1) * np.pi / (order + 1)
    degree = np.arange(1, order + 1)
    at, of = middle + half * np.cos(angle)[:, None], middle + half * source[None, :]
    # the sheet's own downwash: (1/2 pi) PV int T_n/sqrt(1 - t^2)/(s - t) dt = -U_(n-1)(s)/2
    own = -0.5 * np.sin(np.outer(angle, degree)) / np.sin(angle)[:, None]
    image = ratio**2 / of
    others = -1.0 / (at - image) - (1.0 / (at + of) - 1.0 / (at + image))
    basis = np.cos(np.outer(np.arccos(source), degree))
    weight = np.pi / (4 * order)
    coefficient = np.linalg.solve(own + others @ basis * (weight * half / (2.0 * np.pi)), np.ones(order))
    load = abs(np.sum((basis @ coefficient) * of[0])) * weight * half
    return load / (0.5 * np.pi * exposed**2)
