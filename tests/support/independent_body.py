"""NASA's ten atmospheric check cases flown without this library: numpy and scipy's DOP853, state in an inertial frame.

Source of definitions and constants: Murri, Jackson, Shelton, Check-Cases for Verification of 6-Degree-of-Freedom Flight Vehicle
Simulations, NASA/TM-2015-218675 (2015), volume II (quoted second-hand). Nothing here calls sixdof: gravitation with J2, the air
of the U.S. Standard Atmosphere 1976 from its equations (geopotential height, r0 = 6356766 m), geodetic height by iteration. The
inertial frame is the Earth's at t = 0.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

FT, SLUG, DEG = 0.3048, 14.593902937206365, math.pi / 180.0
SLUG_FT2 = SLUG * FT**2
GM, J2, OMEGA = 3.986004418e14, 0.00108262982, 7.292115e-5
ELLIPSOID = (6378137.0, (2.0 - 1.0 / 298.257223563) / 298.257223563)
SPHERE = (6371007.1809, 0.0)
TO_NED = np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]])  # inertial axes at latitude and longitude zero, t = 0

BALL = {"mass": SLUG, "inertia": np.full(3, 3.6) * SLUG_FT2, "area": 0.1963495 * FT**2, "cd": 0.1}
BRICK = {
    "mass": 0.155404754 * SLUG,
    "inertia": np.array([0.001894220, 0.006211019, 0.007194665]) * SLUG_FT2,
    "area": 0.22222 * FT**2,
    "b": 0.33333 * FT,
    "c": 0.66667 * FT,
}
HIGH = {"height": 30000.0 * FT}
CASES = {
    1: BALL | HIGH | {"cd": 0.0},
    2: BRICK | HIGH | {"rates": (10.0, 20.0, 30.0)},
    3: BRICK | HIGH | {"rates": (10.0, 20.0, 30.0), "damping": (-1.0, -1.0, -1.0)},
    4: BALL | HIGH | {"rates": (10.0, 20.0, 30.0), "earth": SPHERE, "j2": 0.0, "omega": 0.0},
    5: BALL | HIGH | {"rates": (10.0, 20.0, 30.0), "earth": SPHERE, "j2": 0.0},
    6: BALL | HIGH,
    7: BALL | HIGH | {"wind": lambda h: 20.0 * FT},
    8: BALL | HIGH | {"wind": lambda h: 0.003 * h - 20.0 * FT},  # (0.003 h - 20) ft/s with h in ft
    9: BALL | {"height": 0.0, "ned": (0.0, 1000.0, -1000.0), "yaw": 90.0, "rates": (0.0, -OMEGA / DEG, 0.0)},
    10: BALL | {"height": 0.0, "ned": (1000.0, 0.0, -1000.0), "rates": (OMEGA / DEG, 0.0, 0.0)},
}


def density(height):
    """U.S. Standard Atmosphere 1976 below 11 km geopotential, eqs. 18, 23, 33a, 42."""
    h = 6356766.0 * height / (6356766.0 + height)
    assert h < 11000.0
    temperature = 288.15 - 0.0065 * h
    pressure = 101325.0 * (288.15 / temperature) ** (9.80665 * 28.9644 / (8314.32 * -0.0065))
    return pressure * 28.9644 / (8314.32 * temperature)


def geodetic(x, y, z, a, e2):
    """Latitude, longitude, height by iterating tan(lat) = (z + e2 N sin lat)/p."""
    p = math.hypot(x, y)
    latitude = math.atan2(z, p * (1.0 - e2))
    for _ in range(8):  # each round gains a factor e2
        n = a / math.sqrt(1.0 - e2 * math.sin(latitude) ** 2)
        latitude = math.atan2(z + e2 * n * math.sin(latitude), p)
    s = math.sin(latitude)
    height = p * math.cos(latitude) + z * s - a * math.sqrt(1.0 - e2 * s * s)
    return latitude, math.atan2(y, x), height


def ned_axes(latitude, longitude):
    """Rows north, east, down in the Earth's axes."""
    sl, cl, so, co = math.sin(latitude), math.cos(latitude), math.sin(longitude), math.cos(longitude)
    return np.array([[-sl * co, -sl * so, cl], [-so, co, 0.0], [-cl * co, -cl * so, -sl]])


def turned(angle):
    """Matrix from inertial to the Earth's axes."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def matrix(q):
    """Body to inertial axes of a quaternion, scalar first, of any length."""
    w, x, y, z = q / math.sqrt(q @ q)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )


class Case:
    """One case as an initial-value problem: state = position, velocity (inertial), quaternion body -> inertial, body rates."""

    def __init__(
        self,
        *,
        mass,
        inertia,
        area,
        height,
        cd=0.0,
        b=0.0,
        c=0.0,
        damping=(0.0, 0.0, 0.0),
        rates=(0.0, 0.0, 0.0),
        ned=(0.0, 0.0, 0.0),
        yaw=0.0,
        earth=ELLIPSOID,
        j2=J2,
        omega=OMEGA,
        wind=lambda h: 0.0,
    ):
        self.mass, self.inertia, self.area, self.cd = mass, inertia, area, cd
        self.arm = np.array([b, c, b]) * damping * np.array([b, c, b])  # coefficient times length squared
        self.earth, self.j2, self.omega, self.wind = earth, j2, np.array([0.0, 0.0, omega]), wind
        r = np.array([earth[0] + height, 0.0, 0.0])
        v = TO_NED.T @ np.array(ned) * FT + np.cross(self.omega, r)
        x, y, z, w = (Rotation.from_matrix(TO_NED.T) * Rotation.from_euler("z", yaw, degrees=True)).as_quat()
        self.start = np.concatenate([r, v, [w, x, y, z], np.array(rates) * DEG])

    def gravitation(self, r):
        d = math.sqrt(r @ r)
        k = 1.5 * self.j2 * self.earth[0] ** 2 / d**4
        z2 = 5.0 * r[2] ** 2
        return -GM / d**3 * r * np.array([1.0 - k * (z2 - d * d), 1.0 - k * (z2 - d * d), 1.0 - k * (z2 - 3.0 * d * d)])

    def rate(self, t, y):
        r, v, q, w = y[:3], y[3:6], y[6:10], y[10:]
        to_earth = turned(self.omega[2] * t)
        latitude, longitude, height = geodetic(*(to_earth @ r), *self.earth)
        east = to_earth.T @ ned_axes(latitude, longitude)[1]
        flow = v - np.cross(self.omega, r) - self.wind(height) * east
        speed, rho = math.sqrt(flow @ flow), density(height)
        body = matrix(q)
        drag = -0.5 * rho * self.area * self.cd * speed * flow
        relative = w - body.T @ self.omega  # the air turns with the Earth
        moment = 0.25 * rho * speed * self.area * self.arm * relative  # q S l C l rate/(2 V)
        spin = (moment - np.cross(w, self.inertia * w)) / self.inertia
        s, u = q[0], q[1:]
        q_rate = 0.5 * np.concatenate([[-u @ w], s * w + np.cross(u, w)])
        return np.concatenate([v, self.gravitation(r) + drag / self.mass, q_rate, spin])

    def signals(self, t, y):
        """What the report lists at one moment, in its units."""
        r, v, q, w = y[:3], y[3:6], y[6:10], y[10:]
        to_earth = turned(self.omega[2] * t)
        latitude, longitude, height = geodetic(*(to_earth @ r), *self.earth)
        local = ned_axes(latitude, longitude) @ to_earth
        north, east, down = local @ (v - np.cross(self.omega, r)) / FT
        m = local @ matrix(q)
        p, q_, r_ = w / DEG
        return {
            "altitudeMsl_ft": height / FT,
            "latitude_deg": latitude / DEG,
            "longitude_deg": longitude / DEG,
            "vN_ft_s": north,
            "vE_ft_s": east,
            "vD_ft_s": down,
            "roll_deg": math.atan2(m[2, 1], m[2, 2]) / DEG,
            "pitch_deg": -math.asin(m[2, 0]) / DEG,
            "yaw_deg": math.atan2(m[1, 0], m[0, 0]) / DEG,
            "p_ei_deg_s": p,
            "q_ei_deg_s": q_,
            "r_ei_deg_s": r_,
        }


def history(number, seconds=range(31)):
    """Return {signal: values} of a case at whole seconds."""
    case = Case(**CASES[number])
    times = np.array(seconds, dtype=float)
    # the smallest scales that matter: 1e-9 m, 1e-10 m/s, 1e-14 of attitude and rates
    atol = np.repeat([1e-9, 1e-11, 1e-14, 1e-14], [3, 3, 4, 3])
    flown = solve_ivp(case.rate, (0.0, times[-1]), case.start, method="DOP853", t_eval=times, rtol=1e-13, atol=atol, max_step=0.5)
    assert flown.success
    rows = [case.signals(t, y) for t, y in zip(flown.t, flown.y.T)]
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}
