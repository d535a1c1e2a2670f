"""First-order linear theory of the cross flow past a slender pointed body in supersonic flow, apart from the library.

H. S. Tsien, J. Aero. Sci. 5, 1938; tangency and pressure as M. D. Van Dyke, J. Aero. Sci. 18, 1951 (first order). Line
doublets whose strength is piecewise quadratic: phi = (r + sum c_i g(x - xi_i, r)) alpha cos(theta), with
g = (beta/2) (R arccosh(X/R) - X sqrt(X^2 - R^2)/R), R = beta r; each c_i makes the flow tangent at one station.
"""

from __future__ import annotations

import numpy as np


def slope_of(mach: float, x: np.ndarray, r: np.ndarray) -> tuple[float, float]:
    """Return (CN_alpha on the area of the largest radius, its centre) of a pointed body r(x), x[0] = r[0] = 0."""
    beta = np.sqrt(mach**2 - 1.0)
    start, strength, downwash = [0.0], [], []
    for i in range(1, len(x)):
        reach, radius = x[i] - np.array(start), beta * r[i]
        root = np.sqrt(np.maximum(reach**2 - radius**2, 0.0))
        outward = 0.5 * beta**2 * (np.arccosh(np.maximum(reach / radius, 1.0)) + reach * root / radius**2)
        along = -beta * root / radius
        tangent = (r[i] - r[i - 1]) / (x[i] - x[i - 1])
        error = outward - tangent * along
        strength.append(-(1.0 + np.dot(strength, error[:-1])) / error[-1])
        downwash.append(np.dot(strength, along) * (1.0 + tangent**2))
        start.append(x[i] - beta * r[i])
    step = np.diff(x)
    load = 2.0 / r.max() ** 2 * np.array(downwash) * 0.5 * (r[1:] + r[:-1]) * step
    return load.sum(), np.sum(load * (x[1:] - 0.5 * step)) / load.sum()


def cone_cylinder(f: float, behind: float, count: int = 80) -> tuple[np.ndarray, np.ndarray]:
    """Return x, r of a cone of length f with a cylinder of length `behind`, in diameters."""
    x = _stations(f, behind, count)
    return x, np.minimum(0.5 * x / f, 0.5)


def ogive_cylinder(f: float, behind: float, count: int = 80) -> tuple[np.ndarray, np.ndarray]:
    """Return x, r of a tangent ogive of length f with a cylinder of length `behind`, in diameters."""
    x = _stations(f, behind, count)
    arc = f**2 + 0.25
    r = np.sqrt(arc**2 - (f - np.minimum(x, f)) ** 2) + 0.5 - arc
    r[0] = 0.0
    return x, r


def _stations(f, behind, count):
    return np.r_[np.linspace(0.0, f, count + 1), np.linspace(f, f + behind, int(count * behind / f) + 2)[1:]]
