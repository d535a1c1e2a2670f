"""Axial force, shear and bending moment along a free body under inertia relief: what air and motor do ahead of a station, less what moves it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.study.structure.loads.bending_air import Along, Section, point_load
from sixdof.study.structure.loads.bending_instants import Instants
from sixdof.study.structure.loads.bending_mass import Ahead, Spread


class Beam(NamedTuple):
    """Section loads at stations (rows, stations), body axes: what is ahead of a station does to what is behind it.

    compression : N, positive where the body is pressed together. shear_y, shear_z : N. moment_y, moment_z : N m.
    """

    compression: np.ndarray
    shear_y: np.ndarray
    shear_z: np.ndarray
    moment_y: np.ndarray
    moment_z: np.ndarray

    @property
    def moment(self) -> np.ndarray:
        """Size of the bending moment, N m."""
        return np.hypot(self.moment_y, self.moment_z)

    @property
    def shear(self) -> np.ndarray:
        """Size of the shear force, N."""
        return np.hypot(self.shear_y, self.shear_z)


def beam_of(at: Instants, air: Along, drag: np.ndarray, spread: Spread, stations: np.ndarray, mount: float) -> Beam:
    """Return the section loads at instants.

    drag : (rows, stations) share of the axial force of the air that acts ahead of each station. mount : station where the motor pushes the airframe, m.
    The moments of what leaves the motor (jet damping, the inertia that burns away) act at its nozzle, as a couple.
    """
    mass = mass_ahead(at.unburnt, spread)
    section = air.section + _motor(at, stations, mass)
    turned = _turning(at.turning, at.rate)
    pull, sy, sz, my, mz = _inertia(at.force, turned, mass, stations)
    pushed = np.where(mount < stations, at.push[:, :1], 0.0)
    pushed[:, -1] = at.push[:, 0]
    along = air.load[:, :1] * drag + pushed + pull
    return Beam(-along, section.fy + sy, section.fz + sz, section.my + my, section.mz + mz)


def reacted(force: np.ndarray, applied: Section, at: Instants, spread: Spread, stations: np.ndarray) -> Beam:
    """Return the section loads of a system of loads by itself, with the acceleration that it alone gives the body (turning in pitch and yaw alone).

    force : (rows, 3) its sum, body axes. applied : it ahead of stations. Systems that make up all loads make up the section loads, but for what the
    body's own rates do.
    """
    mass = mass_ahead(at.unburnt, spread)
    total, cg = mass.m[:, -1], mass.x[:, -1] / mass.m[:, -1]
    yc, zc = mass.y[:, -1] / total, mass.z[:, -1] / total
    along = mass.xx[:, -1] - total * cg**2
    pitch, yaw = along + mass.zz[:, -1] - total * zc**2, along + mass.yy[:, -1] - total * yc**2
    arm = stations[-1] - cg
    about_y = applied.my[:, -1] + arm * force[:, 2] - zc * force[:, 0]
    about_z = applied.mz[:, -1] - arm * force[:, 1] + yc * force[:, 0]
    turning = np.column_stack([np.zeros(len(force)), about_y / pitch, about_z / yaw])
    _, sy, sz, my, mz = _inertia(force / total[:, None], _turning(turning, np.zeros_like(turning)), mass, stations)
    return Beam(np.zeros_like(sy), applied.fy + sy, applied.fz + sz, applied.my + my, applied.mz + mz)


def motor_section(at: Instants, stations: np.ndarray) -> Section:
    """Return what the motor's force does ahead of stations: across at the nozzle, and beside the axis by its offset."""
    x = np.full(len(at.push), at.model.thrust.exit_x)
    y, z, push = at.draw.offset_y, at.draw.offset_z, at.push[:, 0]
    couple = np.column_stack([np.zeros(len(push)), z * push, -y * push])
    return point_load(stations, x, at.push, couple)


def _motor(at: Instants, stations: np.ndarray, mass: Ahead) -> Section:
    """Return what the motor does ahead of stations: its force, and as couples jet damping and the inertia that burns away (core.forces.loads)."""
    exit_x = at.model.thrust.exit_x
    arm = mass.x[:, -1] / mass.m[:, -1] - exit_x
    rate = at.flow * arm**2
    # the burning grains' own moment of inertia goes with the gas: of the whole, by the parallel axis
    lost = at.flow * _gyration(at, mass)
    couple = np.column_stack([np.zeros(len(rate)), (lost - rate) * at.rate[:, 1], (lost - rate) * at.rate[:, 2]])
    still = np.zeros_like(couple)
    return motor_section(at, stations) + point_load(stations, np.full(len(rate), exit_x), still, couple)


def _gyration(at: Instants, mass: Ahead) -> np.ndarray:
    """Return -dI/dm of the propellant about the centre of mass in pitch, m^2, (rows,): how much inertia leaves with a kilogram of gas."""
    grain = at.model.mass.grain
    if not len(grain):
        return np.zeros(len(at.flow))
    cg = mass.x[:, -1] / mass.m[:, -1]
    weight = grain[:, 0] / grain[:, 0].sum()
    about = ((grain[None, :, 1] - cg[:, None]) ** 2 * weight).sum(axis=1)
    own = (grain[:, 6][None, :] + 2.0 * at.unburnt[:, None] * grain[:, 7][None, :]).sum(axis=1) / grain[:, 0].sum()
    return about + own


def mass_ahead(unburnt: np.ndarray, spread: Spread) -> Ahead:
    """Return the mass ahead of stations (rows, stations) with shares of the propellant left (rows,)."""
    f = unburnt[:, None]
    sums = Ahead(*(dry + f * grain for dry, grain in zip(spread.dry, spread.grain)))
    whole = spread.grain.m[-1]
    share = spread.grain.m / whole if whole > 0.0 else np.zeros_like(spread.grain.m)
    own = (f * spread.grain_own[0] + f**2 * spread.grain_own[1]) * share
    return sums._replace(yy=sums.yy + own, zz=sums.zz + own)


def _turning(turning: np.ndarray, rate: np.ndarray) -> np.ndarray:
    """Return the matrices (rows, 3, 3) by which a place from the centre of mass, body axes, is accelerated: w' x r + w x (w x r)."""
    (a, b, c), zero = turning.T, np.zeros(len(turning))
    cross = np.stack([zero, -c, b, c, zero, -a, -b, a, zero], axis=1).reshape(-1, 3, 3)
    square = np.einsum("ni,nj->nij", rate, rate)
    return cross + square - np.einsum("nii->n", square)[:, None, None] * np.eye(3)


def _inertia(force: np.ndarray, turned: np.ndarray, mass: Ahead, stations: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return (along, across y, across z, moment y, moment z) of the inertia of the mass ahead of stations, by d'Alembert, about each station.

    force : specific force of the centre of mass, (rows, 3). turned : of `_turning`.
    """
    total = mass.m[:, -1:]
    cg, yc, zc = mass.x[:, -1:] / total, mass.y[:, -1:] / total, mass.z[:, -1:] / total
    x = stations[None, :]
    # sums of mass, and of mass times the arm ahead of the station, times (1, place from the centre of mass)
    plain = (mass.m, cg * mass.m - mass.x, mass.y - yc * mass.m, mass.z - zc * mass.m)
    reach = x * mass.m - mass.x
    armed = (reach, x * cg * mass.m - (x + cg) * mass.x + mass.xx, x * mass.y - mass.xy - yc * reach, x * mass.z - mass.xz - zc * reach)
    beside_y = (mass.y, cg * mass.y - mass.xy, mass.yy - yc * mass.y, mass.yz - zc * mass.y)
    beside_z = (mass.z, cg * mass.z - mass.xz, mass.yz - yc * mass.z, mass.zz - zc * mass.z)

    def summed(axis: int, sums: tuple[np.ndarray, ...]) -> np.ndarray:
        rows = np.column_stack([force[:, axis], turned[:, axis]])
        return -sum(rows[:, k, None] * sums[k] for k in range(4))

    return (summed(0, plain), summed(1, plain), summed(2, plain), summed(0, beside_z) - summed(2, armed), summed(1, armed) - summed(0, beside_y))
