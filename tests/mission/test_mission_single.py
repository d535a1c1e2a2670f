"""One stage of a stack as a mission of its own, and entries of lists in the place of others."""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest

import sixdof
from sixdof.mission.errors import MissionError
from sixdof.mission.tables import Tube

ROOT = Path(__file__).parents[2]
GUIDE = {"kind": "rail_guide", "mass": "4 g"}
TUBE = {"kind": "tube", "length": "720 mm", "diameter": "75 mm", "wall_thickness": "1.2 mm", "material": "fibreglass"}


@pytest.fixture(scope="module")
def demo():
    return sixdof.load_mission(ROOT / "configs/sampler.toml")


@pytest.fixture(scope="module")
def stack():
    """The two-stage demo with a second rail guide on its sustainer."""
    stack = sixdof.load_mission(ROOT / "configs/two-stage.toml")
    return stack.add("stage.whinchat.part", GUIDE | {"name": "second", "station": {"fore_of": "mount", "gap": "10 mm"}})


@pytest.fixture(scope="module")
def three():
    """The three-stage vehicle with two rail guides on its front stage."""
    three = sixdof.load_mission(ROOT / "tests/vehicles/three-stage.toml")
    three = three.add("stage.sedge.part", GUIDE | {"name": "fore guide", "station": {"aft_of": "nose", "gap": "20 cm"}})
    return three.add("stage.sedge.part", GUIDE | {"name": "aft guide", "station": {"fore_of": "sedge fins", "gap": "1 cm"}})


def alone(mission, stage):
    """Return a stage alone, and the one sentence on what was left out."""
    with pytest.warns(UserWarning) as said:
        found = mission.only(stage)
    assert len(said) == 1 and said[0].filename == __file__
    return found, str(said[0].message)


def fault(call):
    with pytest.raises(MissionError) as caught:
        call()
    return str(caught.value)


# ---------------------------------------------------------------- one stage


def test_only__the_sustainer_of_two_stages(stack):
    found, said = alone(stack, "whinchat")
    (stage,) = found.stage
    assert stage.part == stack.stage[0].part and stage.ignition.delay == 0.0
    assert [rule.name for rule in found.rule] == ["fins on", "to the waypoints", "fins off"]
    assert found.rule[0].booster is None
    assert [each.canopy for each in found.recovery] == ["drogue", "main"] and [each.canopy for each in found.harness] == ["drogue"]
    assert [each.name for each in found.failure] == ["no_ignition: whinchat", "late_apogee: whinchat", "no_deployment: main", "harness_breaks: drogue"]
    assert not any(name.startswith(("joint.", "ignition.")) for name in found.disperse) and "harness.strength" in found.disperse
    assert said.startswith('only: "whinchat" flies alone, ignited at the start; omitted: stage "drayhorse", recovery "booster main", harness "booster main"')
    for word in (
        'disperse "joint.impulse"',
        "autopilot.with_booster",
        'the condition booster of rule "fins on"',
        'rule "part", rule "part, backup", rule "light"',
    ):
        assert word in said
    assert found.servo == stack.servo and found.guidance == stack.guidance


def test_only__the_front_of_three_stages(three):
    found, said = alone(three, "sedge")
    assert found.stage[0].name == "sedge" and found.rule == () and [each.canopy for each in found.recovery] == ["sedge drogue", "sedge main"]
    for stage in ("bulrush", "tussock"):
        assert f'stage "{stage}"' in said
    assert all(name in three.disperse for name in found.disperse)


def test_only__flies_as_a_vehicle_of_one_stage(stack):
    """Lit at the start, it burns the sustainer's motor alone, lifts off and comes down under its canopies."""
    found, _ = alone(stack, "whinchat")
    ds = sixdof.fly(found)
    assert ds.sizes["body"] == 2  # and the piece that its harness may let go
    times = ds.event_time.sel(body="whinchat")
    assert 0.0 < float(times.sel(event="liftoff")) < 0.05 and "separation drayhorse" not in ds.event.values
    burn = found.motor["playa-h"].thrust_curve.time[-1]
    assert float(times.sel(event="burnout")) == pytest.approx(burn, abs=0.03)  # drag ends the sensed burn a tick or two before the curve's end
    assert 100.0 < float(ds.apogee_height) < 1000.0


def test_only__paths_by_number_go_by_name(stack):
    spreads = {"stage.0.part.tail.semispan": {"sd": "1 mm"}, "stage.1.part.booster fins.semispan": {"sd": "1 mm"}, "rule.2.delay": {"sd": "10 ms"}}
    pairs = [
        {"of": ["stage.0.part.tail.semispan", "rule.2.delay"], "coefficient": 0.2},
        {"of": ["stage.1.part.booster fins.semispan", "rule.2.delay"], "coefficient": 0.2},
    ]
    found, said = alone(stack.change({"disperse": spreads, "correlation": pairs[:1]}), "whinchat")
    assert list(found.disperse) == ["rule.fins on.delay", "stage.whinchat.part.tail.semispan"]
    assert found.correlation[0].of == ("stage.whinchat.part.tail.semispan", "rule.fins on.delay")
    assert 'disperse "stage.1.part.booster fins.semispan"' in said
    found, said = alone(stack.change({"disperse": spreads, "correlation": pairs[1:]}), "whinchat")
    assert found.correlation == () and "correlations of these" in said


def test_only__says_why_a_stage_cannot_fly_alone(stack):
    assert fault(lambda: stack.only("drayhorse")).splitlines()[0].endswith("the first body is a transition; the first stage begins with a nose")
    assert fault(lambda: stack.only("dryhorse")) == 'only: there is no stage "dryhorse"; did you mean "drayhorse"?'
    bare = sixdof.load_mission(ROOT / "configs/two-stage.toml")
    assert "the vehicle has 1 rail guide; it needs two or more" in fault(lambda: bare.only("whinchat"))


def test_only__of_one_stage_is_the_mission_itself(demo):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert demo.only("thistledown") == demo


# ---------------------------------------------------------------- replace


def test_replace__a_part_keeps_its_name_and_moves_what_stands_behind(demo):
    for table in (TUBE, Tube(length=0.72, diameter=0.075, wall_thickness=0.0012, material="fibreglass")):
        found = demo.replace("part.airframe", table, shift=True)
        # 30 mm longer: what stands in the aft half of the airframe or behind keeps its distance to the aft end
        assert found == demo.change({"part.airframe.length": "720 mm"}, shift=True)
    assert demo.replace("part.airframe", {**TUBE, "name": "long"}, shift=False).stage[0].part[2].name == "long"
    with pytest.warns(UserWarning, match='replace: the tube "airframe" is 0.03 m longer than what it replaces, and what stands behind keeps its station'):
        demo.replace("part.airframe", TUBE)


def test_replace__a_tube_by_a_transition_of_its_length(stack):
    part = {"kind": "transition", "length": "540 mm", "fore_diameter": "98 mm", "aft_diameter": "104 mm", "wall_thickness": "1.2 mm", "material": "fibreglass"}
    found = stack.replace("stage.drayhorse.part.booster airframe", part)
    assert found.stage[1].part[1].kind == "transition" and found.stage[1].part[1].name == "booster airframe"
    assert found.stage[1].part[2:] == stack.stage[1].part[2:]


def test_replace__a_canopy_a_recovery_a_rule_and_a_stage(stack):
    canopy = {"kind": "parachute", "mass": "60 g", "station": "720 mm", "diameter": "40 cm"}
    found = stack.replace("stage.whinchat.part.drogue", canopy).replace("recovery.drogue", {"when": "apogee", "delay": "1 s"})
    assert found.recovery[0].canopy == "drogue" and found.recovery[0].backup_time is None and found.recovery[0].delay == 1.0
    rule = stack.replace("rule.part, backup", {"when": "liftoff", "delay": "3 s", "action": "separate"})
    assert rule == stack.change({"rule.part, backup.delay": "3 s"})
    stage = stack.stage[1].model_dump(exclude_unset=True) | {"roughness": "60 um"}
    assert stack.replace("stage.drayhorse", stage) == stack.change({"stage.drayhorse.roughness": "60 um"})


def test_replace__refusals(demo):
    assert fault(lambda: demo.replace("servo", {})) == 'servo: "servo" is not an entry of a list of tables; change() writes single tables and values'
    assert "there is no part" in fault(lambda: demo.replace("part.airfarme", TUBE))
    assert "mian" in fault(lambda: demo.replace("recovery.main", {"canopy": "mian"}))
    with pytest.raises(TypeError, match="replace: table must be a table such as"):
        demo.replace("part.airframe", 3)
    with pytest.raises(TypeError, match='replace: shift = "yes" must be True, False or None'):
        demo.replace("part.airframe", TUBE, shift="yes")
