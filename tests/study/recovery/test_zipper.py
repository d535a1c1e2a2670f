"""The zipper index: masses of the two pieces against the kernel's own snatch load, the force on a lip in closed form, what a mission lacks."""

from __future__ import annotations

import math

import numpy as np
import pytest
from strangers import stranger

import sixdof
from sixdof.study.reading.result import drawn_factor
from sixdof.study.recovery.zipper import canopy_parts, lip_force, lips_of, opening_load_share, piece_masses, why_no_index, zipper_index


@pytest.fixture(scope="module")
def mission(stack_mission):
    return stack_mission.change(
        {"harness.drogue.width": "14 mm", "harness.1.width": None}
        | {f"harness.{k}.{name}": value for k in (0, 1) for name, value in (("charge", None), ("impulse", "4 N*s"))}
    )


@pytest.fixture(scope="module")
def flights(mission):
    return sixdof.disperse(mission, 26, seed=1, progress=False)  # with no ignition, a broken harness and a canopy not deployed among them


def test_piece_masses__are_those_of_the_kernels_snatch(mission, flights):
    """The kernel's snatch load is impulse * sqrt(rate/reduced mass): solved for the reduced mass it must be that of the pieces, to rounding."""
    assert any("no_ignition" in str(name) for name in flights["branch"].values)
    for ds, of in ((flights, mission), (sixdof.disperse(stranger("stack"), 12, seed=1, progress=False), stranger("stack"))):
        for harness in of.harness:
            fore, aft = piece_masses(ds, of, harness)
            c = [part.name for part in canopy_parts(of)].index(harness.canopy)
            rate = harness.stiffness / harness.length * drawn_factor(ds, "harness_stiffness", "harness", harness.canopy)
            impulse = harness.impulse * drawn_factor(ds, "harness_impulse", "harness", harness.canopy)
            known = np.isfinite(ds["snatch_load"].values[:, c])
            reduced = rate * (impulse / ds["snatch_load"].values[:, c]) ** 2
            assert known.sum() > 5
            np.testing.assert_allclose((fore * aft / (fore + aft))[known], reduced[known], rtol=1e-12)


def test_snatch__of_a_single_stage_is_noted(demo_mission):
    """One body from rail to ground: its canopies are in as the harness is loaded, whatever the flight before left in the same scratch."""
    harness = {"canopy": "drogue", "separation_station": "700 mm", "length": "4 m", "strength": "900 N", "stiffness": "8 kN", "impulse": "3 N*s"}
    own = demo_mission.add("harness", harness)
    ds = sixdof.disperse(own, 3, seed=1, progress=False, threads=1)
    fore, aft = piece_masses(ds, own, own.harness[0])
    np.testing.assert_allclose(ds["snatch_load"].values[:, 0], 3.0 * np.sqrt(8e3 / 4.0 * (1.0 / fore + 1.0 / aft)), rtol=1e-12)


@pytest.mark.parametrize(("degrees", "times"), [(0.0, 0.0), (60.0, 1.0), (90.0, math.sqrt(2.0)), (180.0, 2.0)])
def test_lip_force__is_the_resultant_of_two_strands(degrees, times):
    """Two forces of 1 N, back along the tube and out along the pull: summed as vectors."""
    bend = math.radians(degrees)
    summed = math.hypot(-1.0 + math.cos(bend), math.sin(bend))
    assert float(lip_force(1.0, bend)) == pytest.approx(summed, abs=1e-12) == pytest.approx(times, abs=1e-12)


def test_lips__the_tube_that_is_cut(mission):
    lips, why = lips_of(mission, mission.harness[0])
    assert why == "" and [(lip.aft, lip.tube.name) for lip in lips] == [(False, "airframe"), (True, "airframe")]
    at_the_nose = mission.change({"harness.drogue.separation_station": "280 mm"})
    assert [(lip.aft, lip.tube.name) for lip in lips_of(at_the_nose, at_the_nose.harness[0])[0]] == [(True, "avionics bay")]


def test_zipper_index__by_hand_for_one_flight(mission, flights):
    """One flight written out: loads, masses and the angle from the result, the lip of 14 mm times 1.2 mm of fibreglass at 250 MPa."""
    i = int(np.flatnonzero(flights["branch"].values == "nominal")[0])
    load = float(flights["opening_load"].values[i, 0])
    alpha = float(flights["event_incidence"].sel(event="line stretch drogue").values[i, 0])
    fore, aft = (float(mass[i]) for mass in piece_masses(flights, mission, mission.harness[0]))
    bears = 0.014 * 0.0012 * 250e6
    on_aft = 2.0 * load * aft / (fore + aft) * math.sin(0.5 * (math.pi - alpha)) / bears
    on_fore = 2.0 * load * fore / (fore + aft) * math.sin(0.5 * alpha) / bears
    found = zipper_index(flights)
    assert found[i, 0] == pytest.approx(max(on_aft, on_fore), rel=1e-12)
    assert found.shape == (26, 3) and np.isnan(found[:, 1:]).all()  # main has no harness, that of the booster no width


def test_opening_load_share__over_the_strength_written(mission, flights):
    np.testing.assert_array_equal(opening_load_share(flights)[:, 0], flights["opening_load"].values[:, 0] / 900.0)
    weak = mission.change({"stage.0.part.drogue.strength": None})
    none = flights.assign_attrs(mission=weak.to_toml())
    assert np.isnan(opening_load_share(none)[:, 0]).all() and np.isfinite(opening_load_share(none)[:, 2]).any()


def test_why_no_index__says_what_is_missing(mission):
    assert "no [[harness]]" in why_no_index(mission, "main")
    assert "width" in why_no_index(mission, "booster main")
    bare = mission.change({"stage.0.part.airframe.material": None, "stage.0.part.airframe.mass": "200 g"})
    assert 'tube "airframe" says no material' in why_no_index(bare, "drogue")
