"""Masses and balance points to measure on the bench, and within which tolerance the card stays valid."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cache
from typing import NamedTuple

import numpy as np

from sixdof.draws.spreads import deviation
from sixdof.mission.mission import Mission
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe, full_grain
from sixdof.vehicle.mounting import case_lump, placed_motors
from sixdof.vehicle.solids import Lump

COVERED = 2.0  # standard deviations: some 95 % of what the ensemble draws lies within
BY_SPREAD = "2 sd of the spread in [disperse]"
NONE = "none, it moves no outcome"
BY_OUTCOME = "moves {}"


class Weighing(NamedTuple):
    """One thing put on the scales: kg, and the station of its balance point in m aft of `datum`, with the tolerances and what each follows from."""

    name: str
    mass: float
    mass_tolerance: float
    station: float
    station_tolerance: float
    datum: str
    mass_basis: str
    station_basis: str


class _Piece(NamedTuple):
    """A stage on the bench. dry : what a draw of its mass and balance point acts on; fixed : what it does not (propellant). Stations in the stack."""

    dry: Lump
    fixed: tuple[Lump, ...]
    stage: int


def weighings(mission: Mission, otherwise: Callable[[], tuple[tuple[float, str], tuple[float, str]]]) -> list[Weighing]:
    """Return what to put on the scales: every stage without its motor and loaded, and the whole stack.

    The tolerance is twice the standard deviation that the spreads `vehicle.mass` and `vehicle.cg` of [disperse] give, carried to first order
    through the parts that weigh: within it the ensemble has flown. A mission that does not disperse them takes `otherwise`.

    otherwise : gives the share of the dry mass and the shift of the balance point (m) that move an outcome by its own standard deviation, each
        with the name of that outcome.
    """
    shape = shape_of(mission.stage)
    motors = placed_motors(mission, range(len(mission.stage)), shape)
    rows, bare, loaded = [], [], []
    otherwise = cache(otherwise)
    allowed = [_allowed(mission, stage.name, otherwise) for stage in mission.stage]
    for k, stage in enumerate(mission.stage):
        frame = airframe(shape, k, stage)
        with_case = _joined([frame, *map(case_lump, motors[k])])
        bare.append(_Piece(frame, (), k))
        loaded.append(_Piece(with_case, tuple(map(full_grain, motors[k])), k))
        datum = "the nose tip" if k == 0 else f"the fore end of {stage.name}"
        for word, piece in (("no motor", bare[-1]), ("loaded", loaded[-1])):
            rows.append(_row(f"{stage.name}, {word}", [piece], allowed, shape.stage_x0[k], datum))
    if len(mission.stage) > 1:
        for word, pieces in (("no motors", bare), ("loaded", loaded)):
            rows.append(_row(f"stack, {word}", pieces, allowed, 0.0, "the nose tip"))
    return rows


def _joined(lumps: Sequence[Lump]) -> Lump:
    """Return lumps as one; of its inertia nothing is asked here."""
    mass = sum(lump.mass for lump in lumps)
    return Lump(mass, sum(lump.mass * lump.place for lump in lumps) / mass, np.zeros((3, 3)))


def _row(name: str, pieces: Sequence[_Piece], allowed: Sequence, fore: float, datum: str) -> Weighing:
    """Return one row, its tolerances the roots of the sums of squares of what each stage, drawn by itself, does to mass and balance point."""
    share, shift = ([one[which][0] for one in allowed] for which in (0, 1))
    every = [lump for piece in pieces for lump in (piece.dry, *piece.fixed)]
    whole = _joined(every)
    station = float(whole.place[0])
    masses = [share[piece.stage] * piece.dry.mass for piece in pieces]
    by_mass = [share[piece.stage] * piece.dry.mass * (piece.dry.place[0] - station) / whole.mass for piece in pieces]
    by_shift = [shift[piece.stage] * piece.dry.mass / whole.mass for piece in pieces]
    return Weighing(
        name,
        float(whole.mass),
        math.hypot(*masses),
        station - fore,
        math.hypot(*by_mass, *by_shift),
        datum,
        *_bases([allowed[piece.stage] for piece in pieces]),
    )


def _bases(allowed: Sequence) -> tuple[str, str]:
    """Return what the tolerances of mass and balance point of some stages follow from."""
    mass, station = (", ".join(dict.fromkeys(one[which][1] for one in allowed)) for which in (0, 1))
    return mass, station


def _allowed(mission: Mission, stage: str, otherwise) -> tuple[tuple[float, str], tuple[float, str]]:
    """Return the share of a stage's dry mass and the shift of its centre that the card allows, each with what it follows from."""
    found = [COVERED * deviation(mission.disperse.get(name), neutral, stage) for name, neutral in (("vehicle.mass", 1.0), ("vehicle.cg", 0.0))]
    if all(value > 0.0 for value in found):
        return (found[0], BY_SPREAD), (found[1], BY_SPREAD)
    return tuple(_either(own, *other) for own, other in zip(found, otherwise(), strict=True))


def _either(own: float, other: float, what: str) -> tuple[float, str]:
    """Return an amount by the spread where there is one, else by the outcome that it moves; NaN where it moves none."""
    if own > 0.0:
        return own, BY_SPREAD
    return (other, BY_OUTCOME.format(what)) if other > 0.0 else (math.nan, NONE)
