"""What a draw makes of a body, its halves and its pieces: the kernels against the same in numpy, with whole matrices (dividing_by_hand)."""

from __future__ import annotations

import dividing_by_hand as by_hand
import numpy as np
import pytest
import staged

from sixdof._jit import kernel
from sixdof.core.columns import HANDOVER_COLUMNS, AirframeColumn, Handover, StageColumn
from sixdof.core.layout import NOT_IGNITED
from sixdof.core.whole.facts import BODY_FACT_COLUMNS, CANOPY_FACT_COLUMNS, JOINT_FACT_COLUMNS, BodyFact
from sixdof.core.whole.gap import GAP_COLUMNS
from sixdof.core.whole.harness import break_harness
from sixdof.draws.packed import one_draw, pack_draws
from sixdof.draws.table import draw_table
from sixdof.flight.laws import bind
from sixdof.flight.plan import Plan, packed_one
from sixdof.flight.runner import FlightRunner
from sixdof.flight.separation import divide
from sixdof.results.facts import BODY_FACTS, CANOPY_FACTS, JOINT_FACTS

ROUNDING = 1e-12  # sums of a dozen float64 lumps
DISPERSED = {
    "vehicle.mass": {"sd": 0.03},
    "vehicle.cg": {"sd": "5 mm"},
    "vehicle.cg_y": {"sd": "2 mm"},
    "vehicle.cg_z": {"sd": "2 mm"},
    "vehicle.inertia": {"sd": 0.05},
    "joint.tilt_y": {"sd": "1 deg"},
    "joint.tilt_z": {"sd": "1 deg"},
    "harness.stiffness": {"sd": 0.1},
    "harness.tumbling_drag": {"sd": 0.2},
    "vehicle.hanging_drag": {"sd": 0.2},
}
HARNESS = {"canopy": "drogue", "separation_station": 0.7, "length": 6.0, "strength": 2000.0, "stiffness": 13e3, "impulse": 3.0}


@pytest.fixture(scope="module")
def plan(demo_mission):
    return Plan(staged.stack(demo_mission, harnesses=[HARNESS], changes={"disperse": DISPERSED}))


def draws_of(plan, count=6):
    packed = pack_draws(plan.mission, draw_table(plan.mission, 3, 0, count))
    return [one_draw(packed, i) for i in range(count)]


def test_stack__is_its_lumps_drawn_moved_and_turned(plan):
    for draw in draws_of(plan):
        model, kernel_draw = plan.segment(0, 1, draw)
        wanted, bend = by_hand.stack_mass(plan, 0, 1, draw), by_hand.bends(plan, 0, 1, draw)[-1]
        np.testing.assert_allclose(model.mass[:10], wanted[:10], rtol=ROUNDING, atol=1e-14)
        np.testing.assert_allclose(model.mass.grain, wanted.grain, rtol=ROUNDING, atol=1e-15)
        moved = bend.shift(model.thrust.exit_x)
        own = draw.stage[1]
        assert (kernel_draw.tilt_y, kernel_draw.tilt_z) == pytest.approx((own[2] + bend.turn_y, own[3] + bend.turn_z), rel=ROUNDING)
        assert (kernel_draw.offset_y, kernel_draw.offset_z) == pytest.approx((own[4] + moved[0], own[5] + moved[1]), rel=ROUNDING)
        assert (kernel_draw.mass, kernel_draw.inertia, kernel_draw.cg_x) == (1.0, 1.0, 0.0)


def test_single_stage__leaves_its_mass_to_its_draw(plan):
    for draw in draws_of(plan, 2):
        model, kernel_draw = plan.segment(1, 1, draw)
        assert model.mass[:10] == pytest.approx(plan.model(1, 1).mass[:10], rel=ROUNDING)
        assert (kernel_draw.mass, kernel_draw.cg_y) == (draw.stage[1, 6], draw.stage[1, 8])
        assert model.tumble_area == pytest.approx(plan.model(1, 1).tumble_area * draw.stage[1, -1], rel=ROUNDING)


def test_divide__as_with_whole_matrices(plan):
    rng = np.random.default_rng(5)
    for draw in draws_of(plan):
        hand = rng.uniform(-3.0, 3.0, HANDOVER_COLUMNS)
        q = rng.normal(size=4)
        hand[Handover.ATTITUDE : Handover.ATTITUDE + 4] = q / np.linalg.norm(q)
        hand[Handover.TIME], hand[Handover.IGNITED] = 30.0, 0.0
        legs = [plan.segment(*key, draw) for key in ((0, 1), (0, 0), (1, 1))]
        turn = draw.joint[1, 2:4]
        found, wanted = divide(hand, *legs, 4.0, turn), by_hand.divide(hand, *legs, 4.0, turn)
        np.testing.assert_allclose(found.fore, wanted.fore, rtol=1e-11, atol=1e-11)
        np.testing.assert_allclose(found.aft, wanted.aft, rtol=1e-11, atol=1e-11)
        assert found.speed == pytest.approx(wanted.speed, rel=1e-10)


@kernel
def _break(staging, c, first, last, draws, works, crew):
    break_harness(staging, c, first, last, draws, 0, works[last], works[4 + last], crew)


@pytest.mark.parametrize("last", [0, 1])
@pytest.mark.parametrize("lit", [True, False])
def test_pieces__are_the_lumps_on_either_side(plan, last, lit):
    """What has not burnt goes with the piece it is in; masses, centres and inertia by adding up lumps."""
    runner = FlightRunner(plan, bind(None, None), 0)
    for draw in draws_of(plan, 3):
        work, loose = runner.all_works[last], runner.all_works[4 + last]
        work.handover[Handover.IGNITED] = 0.0 if lit else NOT_IGNITED
        work.stage[:, StageColumn.BURNOUT] = -1.0
        crew, lent = runner._crew(1)
        _break(plan.staging, 0, 0, last, packed_one(draw), runner.lent_works, lent)
        unlit = set(range(last)) | (set() if lit else {last})
        for made, lump in zip((work, loose), by_hand.pieces(plan, 0, 0, last, unlit, draw)):
            frame, i = made.airframe, lump.inertia
            assert frame[AirframeColumn.DRY] == pytest.approx(lump.mass, rel=ROUNDING)
            np.testing.assert_allclose(frame[1:4], lump.place, rtol=ROUNDING, atol=1e-14)
            np.testing.assert_allclose(frame[4:10], [i[0, 0], i[1, 1], i[2, 2], i[0, 1], i[0, 2], i[1, 2]], rtol=1e-10, atol=1e-12)
            assert not made.grain.any() and made.handover[Handover.IGNITED] == NOT_IGNITED
        assert work.airframe[AirframeColumn.NOSE_X] + loose.airframe[AirframeColumn.NOSE_X] == pytest.approx(0.7)


def test_gap__as_with_all_ticks_at_once():
    """Rods of 1 m that wander and turn at random about each other, some ticks of one missing."""
    rng = np.random.default_rng(8)
    for _ in range(5):
        ahead, behind = (np.column_stack([0.01 * np.arange(80), np.cumsum(rng.normal(scale=0.05, size=(80, 6)), axis=0)]) for _ in range(2))
        ahead[:, 3] += 1.0
        behind[:, 3:7:3] -= (0.5, 1.5)
        behind[60:] = np.nan
        found, wanted = by_hand.flown_gap(ahead, behind, 0.1), by_hand.gap_history(ahead, behind, 0.1)
        np.testing.assert_allclose(found.rows, wanted.rows, rtol=1e-9, atol=1e-12)
        assert found.least == pytest.approx(wanted.least, abs=1e-12, nan_ok=True) and found.recontact == wanted.recontact


def test_columns__of_facts_are_those_of_the_results():
    assert (len(BODY_FACTS), len(JOINT_FACTS), len(CANOPY_FACTS), 3) == (BODY_FACT_COLUMNS, JOINT_FACT_COLUMNS, CANOPY_FACT_COLUMNS, GAP_COLUMNS)
    assert BODY_FACTS[BodyFact.DESCENT] == "descent" and BODY_FACTS[BodyFact.STATUS] == "body_status"
    assert BODY_FACTS[BodyFact.FALLING] == "time_falling_incidence" and BODY_FACTS[BodyFact.INCIDENCE] == "descent_incidence"
