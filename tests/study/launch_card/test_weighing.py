"""Masses and balance points to measure: against the parts one by one, and tolerances against draws of numpy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from strangers import stranger

from sixdof.draws.spreads import deviation
from sixdof.study.launch_card.weighing import BY_SPREAD, weighings
from sixdof.vehicle.mass import part_masses

DRAWS = 200_000  # an sd of so many is known to 0.2 %


def none_needed():
    raise AssertionError("both are in [disperse]")


@pytest.fixture(scope="module", params=["stack", "canard", "demo"])
def mission(request, stack_mission):
    return stack_mission if request.param == "demo" else stranger(request.param)


def by_parts(mission, numbers, loaded):
    """Mass and balance point from the nose tip of some stages by summing their parts, with motors or without."""
    rows = [row for row in part_masses(mission, range(len(mission.stage))) if row.stage in numbers]
    rows = [row for row in rows if loaded or row.kind not in ("case", "propellant")]
    mass = sum(row.mass for row in rows)
    return mass, sum(row.mass * row.station for row in rows) / mass


def test_weighings__are_the_sums_of_the_parts(mission):
    rows = {row.name: row for row in weighings(mission, none_needed)}
    every = range(len(mission.stage))
    fore = 0.0
    for k, stage in enumerate(mission.stage):
        for word, loaded in (("no motor", False), ("loaded", True)):
            mass, station = by_parts(mission, [k], loaded)
            row = rows[f"{stage.name}, {word}"]
            assert (row.mass, row.station) == pytest.approx((mass, station - fore), rel=1e-12)
        fore += sum(part.length for part in stage.part if part.kind in ("nose", "tube", "transition"))
    if len(mission.stage) > 1:
        for word, loaded in (("no motors", False), ("loaded", True)):
            assert (rows[f"stack, {word}"].mass, rows[f"stack, {word}"].station) == pytest.approx(by_parts(mission, every, loaded), rel=1e-12)
    assert len(rows) == 2 * len(mission.stage) + (2 if len(mission.stage) > 1 else 0)


def test_tolerances__are_two_sd_of_what_the_draws_do(mission):
    """Each stage's dry mass times a factor and its balance point moved, drawn by numpy: twice the sd of the loaded stack's mass and balance point."""
    factor_sd, shift_sd = (float(mission.disperse[name].sd) for name in ("vehicle.mass", "vehicle.cg"))
    random = np.random.default_rng(1)
    mass, moment = np.zeros(DRAWS), np.zeros(DRAWS)
    for k in range(len(mission.stage)):
        own = [row for row in part_masses(mission, range(len(mission.stage))) if row.stage == k]
        dry = [row for row in own if row.kind != "propellant"]
        dry_mass = sum(row.mass for row in dry)
        dry_station = sum(row.mass * row.station for row in dry) / dry_mass
        drawn = dry_mass * random.normal(1.0, factor_sd, DRAWS)
        mass += drawn
        moment += drawn * (dry_station + random.normal(0.0, shift_sd, DRAWS))
        for row in own:
            if row.kind == "propellant":
                mass += row.mass
                moment += row.mass * row.station
    last = weighings(mission, none_needed)[-1]
    assert last.mass_tolerance == pytest.approx(2.0 * mass.std(), rel=0.01)
    assert last.station_tolerance == pytest.approx(2.0 * (moment / mass).std(), rel=0.01)
    assert (last.mass_basis, last.station_basis) == (BY_SPREAD, BY_SPREAD)


def test_tolerances__of_what_is_not_dispersed_come_from_an_outcome(demo_mission):
    bare = demo_mission.change({"disperse.vehicle.mass": None})
    row = weighings(bare, lambda: ((0.03, "the apogee"), (0.01, "the margin")))[0]
    assert row.mass_tolerance == pytest.approx(0.03 * row.mass, rel=1e-12)
    assert row.mass_basis == "moves the apogee"
    assert row.station_basis == BY_SPREAD


def test_deviation__of_every_kind_by_its_closed_form(demo_mission):
    """Of a triangle from 0 to 0.8 with its mode at 0.1 the variance is (a^2 + b^2 + c^2 - ab - ac - bc)/18; of a uniform one the width squared over 12."""
    spread = demo_mission.disperse
    assert deviation(None, 1.0) == 0.0
    assert deviation(spread["vehicle.mass"], 1.0) == pytest.approx(0.01, rel=1e-3)
    assert deviation(spread["servo.speed"], 1.0) == pytest.approx(0.3 / math.sqrt(12.0), rel=1e-3)
    assert deviation(spread["canopy.delay"], 0.0) == pytest.approx(math.sqrt((0.8**2 + 0.1**2 - 0.8 * 0.1) / 18.0), rel=1e-3)
