"""Colours as dichromats see them, and how far apart they are: a second statement of what the palette promises.

G. M. Machado, M. M. Oliveira, L. A. F. Fernandes (2009), A physiologically-based model for simulation of color vision deficiency, IEEE
Transactions on Visualization and Computer Graphics 15 (6): their matrices at full severity, on linear sRGB. Distances are those of CIELAB (1976).
"""

from __future__ import annotations

import numpy as np
from matplotlib.colors import to_rgb

NORMAL = np.eye(3)
PROTANOPIA = np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]])
DEUTERANOPIA = np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]])
TRITANOPIA = np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]])
EYES = {"normal": NORMAL, "protanopia": PROTANOPIA, "deuteranopia": DEUTERANOPIA, "tritanopia": TRITANOPIA}
XYZ = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]])  # of sRGB, D65


def linear(colour) -> np.ndarray:
    """Return linear sRGB (3,) of a colour as matplotlib takes it (IEC 61966-2-1)."""
    c = np.array(to_rgb(colour))
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(colour, eyes: np.ndarray = NORMAL) -> np.ndarray:
    """Return CIELAB (L, a, b) of a colour as these eyes see it."""
    ratio = XYZ @ np.clip(eyes @ linear(colour), 0.0, 1.0) / (XYZ @ np.ones(3))
    f = np.where(ratio > (6.0 / 29.0) ** 3, np.cbrt(ratio), ratio * (29.0 / 6.0) ** 2 / 3.0 + 4.0 / 29.0)
    return np.array([116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])])


def distance(one, other, eyes: np.ndarray = NORMAL) -> float:
    return float(np.linalg.norm(lab(one, eyes) - lab(other, eyes)))


def contrast(one, other) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2)."""
    light = sorted(float(XYZ[1] @ linear(colour)) for colour in (one, other))
    return (light[1] + 0.05) / (light[0] + 0.05)
