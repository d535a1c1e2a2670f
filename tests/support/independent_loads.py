"""A second statement of section loads along a flown body, written apart: rods and point masses from the mission's own numbers, rates from the log.

Ahead of the fins only nose and cross flow act, so the moment there needs neither fins nor motor: what the air does ahead of a station, less the mass ahead
of it times the acceleration there. Body rates' changes are differences of the log's rates (spline), not the kernel's.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.interpolate import CubicSpline

from sixdof.vehicle.aero.cross_flow import cross_flow_drag


def rods_of(mission) -> list[tuple[float, float, float]]:
    """Return (mass, station of the fore end, length) of everything that does not burn in a single-stage mission, by hand."""
    stage, rods, fore = mission.stage[0], [], 0.0
    density = {"petg": 1270.0, "fibreglass": 1850.0, "paper-phenolic": 950.0, "carbon-fibre": 1600.0}
    for part in stage.part:
        if part.kind == "nose":
            rods += nose_rods(part, density)
        elif part.kind == "tube":
            section = math.pi * (part.diameter - part.wall_thickness) * part.wall_thickness
            rods.append((section * part.length * density[part.material], fore, part.length))
        elif part.kind == "fins":
            area = 0.5 * (part.root_chord + part.tip_chord) * part.semispan
            mass = part.mass or part.count * area * part.thickness * density[part.material]
            rods.append((mass, part.station + 0.2 * part.root_chord, 0.8 * part.root_chord))
        elif part.kind == "mass":
            rods.append((part.mass, part.station - 0.5 * part.length, part.length))
        elif part.kind == "parachute":
            rods.append((part.mass, part.station - 0.5 * part.packed_length, part.packed_length))
        elif part.kind == "rail_guide":
            rods.append((part.mass, part.station, 0.0))
        elif part.kind == "mount":
            section = math.pi * (part.inner_diameter + part.wall_thickness) * part.wall_thickness
            rods.append((part.mass or section * part.length * density[part.material], part.station, part.length))
            motor = mission.motor[part.motor]
            rods.append((motor.case_mass, part.station + part.length + part.protrusion - motor.length, motor.length))
        fore += part.length if part.kind in ("nose", "tube") else 0.0
    return rods


def nose_rods(nose, density: dict, count: int = 400) -> list[tuple[float, float, float]]:
    """Return the wall of a tangent ogive as thin rings."""
    edges = np.linspace(0.0, nose.length, count + 1)
    middle = 0.5 * (edges[1:] + edges[:-1])
    outer = ogive(nose, middle)
    inner = np.maximum(outer - nose.wall_thickness, 0.0)
    mass = math.pi * (outer**2 - inner**2) * np.diff(edges) * density[nose.material]
    return [(float(m), float(x), float(w)) for m, x, w in zip(mass, edges[:-1], np.diff(edges))]


def ogive(nose, x: np.ndarray) -> np.ndarray:
    """Return the radius of a tangent ogive at x aft of its tip."""
    base, length = 0.5 * nose.diameter, nose.length
    rho = (base**2 + length**2) / (2.0 * base)
    return np.sqrt(rho**2 - (length - x) ** 2) + base - rho


def moments_ahead(mission, flight, station: float, normal_factor: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Return times (n,) and the bending moment (n, 2) about body y and z at a station ahead of fins and motor of a flight below Mach 0.8."""
    rods = rods_of(mission)
    mass = np.array([m for m, _, _ in rods])
    ahead = np.clip((station - np.array([x for _, x, _ in rods])) / np.maximum([w for _, _, w in rods], 1e-9), 0.0, 1.0)
    held = mass * ahead  # of each rod, kg, ahead of the station
    middle = np.array([x for _, x, _ in rods]) + 0.5 * ahead * np.array([w for _, _, w in rods])
    second = held * ((np.array([w for _, _, w in rods]) * ahead) ** 2 / 12.0 + middle**2)
    m0, m1, m2 = held.sum(), (held * middle).sum(), second.sum()

    free = (flight["phase"].values == 3) & (flight["airspeed"].values > 20.0)
    time, cg = flight["time"].values[free], flight["cg"].values[free]
    rate = flight["body_rate"].values[free]
    turning = CubicSpline(time, rate)(time, 1)
    force = flight["specific_force"].values[free]
    p, q, r = rate.T
    # acceleration of a point on the axis at X ahead of the centre of mass: y: f_y + (r' + p q) X, z: f_z + (-q' + p r) X
    ky, kz = turning[:, 2] + p * q, -turning[:, 1] + p * r
    first, armed = station * m0 - m1, station * cg * m0 - (station + cg) * m1 + m2
    inertia_y, inertia_z = force[:, 1] * first + ky * armed, force[:, 2] * first + kz * armed
    air_y, air_z = _air_moments(mission, flight, free, station, cg, q, r, normal_factor)
    return time, np.column_stack([-(air_z - inertia_z), air_y - inertia_y])


def _air_moments(mission, flight, free: np.ndarray, station: float, cg: np.ndarray, q, r, factor: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the moments about a station of what nose and cross flow do ahead of it, forces along body y and z times their arms, N m."""
    nose = mission.stage[0].part[0]
    speed, pressure = flight["airspeed"].values[free], flight["dynamic_pressure"].values[free]
    ux = speed * np.cos(flight["incidence"].values[free])
    uy, uz = ux * np.tan(flight["incidence_yaw"].values[free]), ux * np.tan(flight["incidence_pitch"].values[free])
    density = 2.0 * pressure / speed**2
    edges = np.linspace(0.0, station, 3001)
    x = 0.5 * (edges[1:] + edges[:-1])
    radius = np.where(x < nose.length, ogive(nose, np.minimum(x, nose.length)), 0.5 * nose.diameter)
    slope = np.diff(np.where(edges < nose.length, ogive(nose, np.minimum(edges, nose.length)), 0.5 * nose.diameter) ** 2) * math.pi * 2.0
    length = sum(part.length for part in mission.stage[0].part if part.kind in ("nose", "tube"))
    wide = 2.0 * radius * np.diff(edges)
    long = np.linspace(0.0, length, 20001)
    outline = np.where(long < nose.length, ogive(nose, np.minimum(long, nose.length)), 0.5 * nose.diameter)
    whole = 2.0 * np.trapezoid(outline, long)  # planform area
    arm = cg[:, None] - x
    across_y, across_z = uy[:, None] + r[:, None] * arm, uz[:, None] - q[:, None] * arm
    cosine = ux / speed
    potential = -0.5 * density * ux * np.sqrt(0.5 * (1.0 + cosine)) * factor
    sound = speed / flight["mach"].values[free]
    cross = np.hypot(uy, uz)
    heat = sound**2 / (1.4 * 287.05)
    viscosity = 1.458e-6 * heat**1.5 / (heat + 110.4)
    reynolds = density * cross * (whole / length) / viscosity
    drag = np.array([float(cross_flow_drag(mach, length / nose.diameter, number)) for mach, number in zip(cross / sound, reynolds)])
    centroid = nose.length * 0.5  # only the size of the cross flow is read there, which hardly changes along a slow pitch
    size = np.hypot(uy + r * (cg - centroid), uz - q * (cg - centroid))
    viscous = -0.5 * density * drag * factor * size
    lever = (station - x)[None, :]
    each = potential[:, None] * slope + viscous[:, None] * wide
    return (each * across_y * lever).sum(axis=1), (each * across_z * lever).sum(axis=1)
