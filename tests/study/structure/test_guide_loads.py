"""Loads on rail guides: statics by hand, the kernel's own friction, the swing about the aft guide, what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

import sixdof
from sixdof.draws.packed import nominal_draw
from sixdof.study.structure.loads.bending_air import air_along
from sixdof.study.structure.loads.bending_flights import asked_flights, each_one
from sixdof.study.structure.loads.bending_instants import instants_of
from sixdof.study.structure.loads.guides import BUTTON_STRENGTH, guides_of, reactions

ON_RAIL, PIVOTING, PHASE, SPEED = 1.0, 2.0, 1, 24


def on_the_rail(mission, nominal=True):
    """Return (instants, phase, forces of the rail (2, rows, sources, 2), all of the rail's force (rows, 3)) of one flight."""
    asked = asked_flights("test", mission, 1, 3, 0)
    if nominal:
        asked = asked._replace(rows=[(0, False, nominal_draw(mission))])

    def look(one):
        log = one.track.log
        rows = np.flatnonzero(np.isin(log[:, PHASE], (ON_RAIL, PIVOTING)))
        (at,) = instants_of(one.track, rows[1:])
        shape = one.plan.shape(0, at.last)
        air = air_along(at, shape, np.array([0.0, shape.length])).load
        whole = at.mass[:, None] * at.force - air[:, :3] - at.push
        return at, log[at.row, PHASE], reactions(one, at), whole

    return each_one(asked, look)[0]


def test_guides__carry_the_weight_across_a_leaning_rail_by_the_law_of_the_lever(demo_mission):
    """In calm air the first instants are statics: W cos(elevation) split by the distances of the centre of mass, the air's share gone with V^2."""
    mission = demo_mission.change({"air.wind.speed": "0 m/s", "rail.elevation": "80 deg"})
    at, _, parts, _ = on_the_rail(mission)
    (fore, _), (aft, _) = guides_of(mission)
    weight = at.mass[0] * 9.80665 * math.cos(math.radians(80.0))
    loads = np.linalg.norm(parts.sum(axis=2), axis=-1)
    # gravity at 38 deg north, 1.25 km up is 1.0e-3 less than standard
    assert loads[0, 0] == pytest.approx(weight * (aft - at.cg[0]) / (aft - fore), rel=3e-3)
    assert loads[1, 0] == pytest.approx(weight * abs(at.cg[0] - fore) / (aft - fore), rel=3e-2, abs=0.02)


def test_guides__friction_is_the_kernels_own(stack_mission):
    """What the rail's force has along the rail is friction: its coefficient times the force across, on both guides and pivoting."""
    _, phase, parts, whole = on_the_rail(stack_mission, nominal=False)
    across = np.hypot(whole[:, 1], whole[:, 2])
    sliding = phase == ON_RAIL
    assert whole[sliding, 0] == pytest.approx(-stack_mission.rail.friction * across[sliding], rel=1e-4)
    assert whole[~sliding, 0] == pytest.approx(-stack_mission.rail.friction * across[~sliding], rel=2e-2)  # the body leans a little off the rail
    assert (~sliding).any()
    # both guides' forces make the whole, and the fore one carries none after it has left
    assert parts.sum(axis=(0, 2)) == pytest.approx(whole[:, 1:], abs=1e-9)
    assert np.abs(parts[0, ~sliding]).max() == 0.0


@pytest.mark.parametrize("axis, sign", [(0, 1.0), (1, 1.0)], ids="yz")
def test_guides__a_couple_of_the_motor_loads_both_alike(demo_mission, axis, sign):
    """A nozzle offset along body y (z): M_z = -T e (M_y = T e), held by e T over the distance of the guides, the fore one pushed towards the offset."""
    draw = nominal_draw(demo_mission)
    offset = draw.stage.copy()
    offset[0, 4 + axis] = 2e-3  # StageDraw.OFFSET_Y, OFFSET_Z
    calm = demo_mission.change({"air.wind.speed": "0 m/s", "rail.elevation": "90 deg"})
    asked = asked_flights("test", calm, 1, 0, 0)._replace(rows=[(0, False, nominal_draw(calm)._replace(stage=offset))])

    def look(one):
        rows = np.flatnonzero(one.track.log[:, PHASE] == ON_RAIL)[1:3]
        (at,) = instants_of(one.track, rows)
        return at, reactions(one, at)

    ((at, parts),) = each_one(asked, look)
    (fore, _), (aft, _) = guides_of(calm)
    expected = at.push[:, 0] * 2e-3 / (aft - fore)
    motor = parts[:, :, 2, :]
    # thrust beside the axis at +y turns the nose towards -y: the rail pushes the fore guide back towards +y
    assert motor[0, :, axis] == pytest.approx(sign * expected, rel=1e-9)
    assert motor[0] == pytest.approx(-motor[1], abs=1e-9)


def test_guide_loads__strength_of_the_file_or_common_practice(demo_mission):
    found = sixdof.workshop.guide_loads(demo_mission, 3)
    assert (found["guide_strength"] == BUTTON_STRENGTH).all() and not found["guide_strength_given"].any()
    path = next(f"stage.0.part.{k}.strength" for k, part in enumerate(demo_mission.stage[0].part) if part.kind == "rail_guide")
    strong = sixdof.workshop.guide_loads(demo_mission.change({path: "50 N"}), 3)
    assert strong["guide_share"].values[:, 0] == pytest.approx(found["guide_load"].values[:, 0] / 50.0)
    assert found["guide_source"].sum("guide_cause").values == pytest.approx(np.ones((3, 2)))
    page = str(sixdof.report(strong))
    assert "50" in page and "common practice" in page and "holds" in page
