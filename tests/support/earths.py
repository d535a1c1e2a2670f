"""Places on the WGS-84 ellipsoid by PROJ (pyproj), and what the kernel says of them, for tests."""

from __future__ import annotations

import math

import models
import numpy as np
from pyproj import Geod, Transformer

from sixdof._jit import fixed, kernel, lend
from sixdof.core.forces.loads import around, height_of, place_of
from sixdof.core.leg.drawing import draw_model
from sixdof.core.leg.work import make_work
from sixdof.core.types import Vec3
from sixdof.world.build import globe_at

_CARTESIAN = Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)  # geodetic in 3D to geocentric
ELLIPSOID = Geod(ellps="WGS84")


def cartesian(latitude, longitude, height) -> np.ndarray:
    """Return Earth-fixed Cartesian coordinates (..., 3) of geodetic places (rad, m), by PROJ."""
    lon, lat, up = np.broadcast_arrays(np.degrees(longitude), np.degrees(latitude), np.asarray(height, dtype=float))
    return np.stack(_CARTESIAN.transform(lon, lat, up), axis=-1)


def local_axes(latitude, longitude) -> np.ndarray:
    """Return the unit vectors east, north, up (..., 3 axes, 3) in Earth-fixed Cartesian axes."""
    sl, cl, so, co = np.sin(latitude), np.cos(latitude), np.sin(longitude), np.cos(longitude)
    zero = np.zeros_like(sl + so)
    rows = ([-so, co, zero], [-sl * co, -sl * so, cl], [cl * co, cl * so, sl + zero])
    return np.stack([np.stack(np.broadcast_arrays(*row), axis=-1) for row in rows], axis=-2)


def somewhere(count: int, *, seed: int = 1, lowest=-200.0, highest=40_000.0):
    """Return latitude, longitude (rad), height (m) of `count` places all over the globe, even in area and height, poles too."""
    rng = np.random.default_rng(seed)
    latitude = np.arcsin(rng.uniform(-1.0, 1.0, count))
    latitude[:4] = np.radians([90.0, -90.0, 0.0, 89.999])
    return latitude, rng.uniform(-np.pi, np.pi, count), rng.uniform(lowest, highest, count)


@kernel
def _places(world, places, out):
    for i in range(places.shape[0]):
        r = Vec3(places[i, 0], places[i, 1], places[i, 2])
        p = place_of(world, r)
        out[i, 0], out[i, 1] = p.height, height_of(world, r)
        out[i, 2], out[i, 3], out[i, 4] = p.up.x, p.up.y, p.up.z
        out[i, 5], out[i, 6], out[i, 7] = p.east.x, p.east.y, p.east.z
        out[i, 8], out[i, 9], out[i, 10] = p.gravity.x, p.gravity.y, p.gravity.z


@kernel
def _surroundings(model, draw, work, places, out):
    drawn = fixed(draw_model(model, draw, work))
    for i in range(places.shape[0]):
        near = around(drawn, Vec3(places[i, 0], places[i, 1], places[i, 2]), Vec3(0.0, 0.0, 0.0))
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = near.wind.x, near.wind.y, near.wind.z, near.air.density


def surroundings(world, places, latitude, longitude, ground):
    """Return wind (n, 3), Earth-fixed axes, and density (n,) at Earth-fixed places by a world seen from its launch point."""
    axes, origin = local_axes(latitude, longitude), cartesian(latitude, longitude, ground)
    model, out = models.model(world=world), np.empty((len(places), 4))
    _surroundings(lend(model), lend(models.draw()), lend(make_work(model)), (places - origin) @ axes.T, out)
    return out[:, :3] @ axes, out[:, 3]


class Places:
    """What the kernel says of Earth-fixed Cartesian places (n, 3) seen from a launch point: its axes have been turned back.

    height (n,) above the ground there, again as the event of landing sees it (`fall`), up, east, gravity (n, 3) Earth-fixed.
    """

    def __init__(self, places, launch=(0.6, -2.0, 0.0), **globe):
        latitude, longitude, ground = launch
        axes, origin = local_axes(latitude, longitude), cartesian(latitude, longitude, ground)
        world = models.world()._replace(globe=globe_at(latitude, longitude, ground, **globe), ground=ground)
        out = np.empty((len(places), 11))
        _places(world, (places - origin) @ axes.T, out)
        self.height, self.fall = out[:, 0], out[:, 1]
        self.up, self.east, self.gravity = out[:, 2:5] @ axes, out[:, 5:8] @ axes, out[:, 8:11] @ axes


def pull(places, gm, a, zonal, rate) -> np.ndarray:
    """Return gravitation and centrifugal acceleration (n, 3) of zonal harmonics {degree: J}, Earth-fixed axes.

    The gradient of GM/r (1 - sum J_n (a/r)^n P_n(z/r)) + rate^2 (x^2 + y^2)/2 (W. A. Heiskanen, H. Moritz 1967, Physical Geodesy,
    eq. 2-88), by complex steps, which are exact to rounding.
    """
    out = np.empty(np.shape(places))
    for i in range(3):
        moved = np.array(places, dtype=complex)
        moved[..., i] += 1e-30j
        out[..., i] = potential(moved, gm, a, zonal, rate).imag / 1e-30
    return out


def potential(places, gm, a, zonal, rate):
    """Return the potential of gravity (n,), m^2/s^2, positive as in geodesy, whose gradient is `pull`."""
    x, y, z = np.moveaxis(np.asarray(places), -1, 0)
    r = np.sqrt(x * x + y * y + z * z)
    field = 1.0 - sum(j * (a / r) ** n * np.polynomial.legendre.legval(z / r, np.eye(n + 1)[n]) for n, j in zonal.items())
    return gm / r * field + 0.5 * rate**2 * (x * x + y * y)


def level_ellipsoid(j2: float, e2: float, degrees=(2, 4, 6, 8)) -> dict[int, float]:
    """Return the zonal harmonics of an ellipsoid whose surface is level (Heiskanen, Moritz 1967, eq. 2-92)."""
    return {2 * n: (-1) ** (n + 1) * 3.0 * e2**n / ((2 * n + 1) * (2 * n + 3)) * (1.0 - n + 5.0 * n * j2 / e2) for n in (d // 2 for d in degrees)}


def kepler(position, velocity, gm: float, time: float):
    """Return position and velocity (3,), inertial axes, on a Kepler orbit of any eccentricity `time` seconds on.

    Universal variable and Stumpff functions (R. R. Bate, D. D. Mueller, J. E. White 1971, Fundamentals of Astrodynamics, sec. 4.4).
    """
    r0, v0 = np.asarray(position, dtype=float), np.asarray(velocity, dtype=float)
    distance, radial = np.linalg.norm(r0), r0 @ v0 / np.sqrt(gm)
    alpha = 2.0 / distance - v0 @ v0 / gm  # of the semi-major axis, inverted

    def stumpff(x):
        z = alpha * x * x  # below 1 in a fall of minutes: the series is shorter than the closed forms and does not cancel
        terms = range(12)
        c = sum((-z) ** k / math.factorial(2 * k + 2) for k in terms)
        s = sum((-z) ** k / math.factorial(2 * k + 3) for k in terms)
        return z, c, s

    x = np.sqrt(gm) * time / distance
    for _ in range(30):
        z, c, s = stumpff(x)
        now = radial * x * x * c + (1.0 - alpha * distance) * x**3 * s + distance * x
        x -= (now - np.sqrt(gm) * time) / (radial * x * (1.0 - z * s) + (1.0 - alpha * distance) * x * x * c + distance)
    z, c, s = stumpff(x)
    r = (1.0 - x * x * c / distance) * r0 + (time - x**3 * s / np.sqrt(gm)) * v0
    away = np.linalg.norm(r)
    v = np.sqrt(gm) / (away * distance) * x * (z * s - 1.0) * r0 + (1.0 - x * x * c / away) * v0
    return r, v


def turned(vectors, angle):
    """Return vectors (..., 3) turned about the Earth's axis by an angle (rad), eastwards."""
    x, y, z = np.moveaxis(np.asarray(vectors, dtype=float), -1, 0)
    c, s = np.cos(angle), np.sin(angle)
    return np.stack([c * x - s * y, s * x + c * y, z + 0.0 * (c * x)], axis=-1)
