"""Editing a mission in Python: values, None, parts and recoveries added and removed, and stations when the body changes."""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest

import sixdof
from sixdof.mission.errors import MissionError
from sixdof.mission.tables import PointMass, Wind

CONFIGS = Path(__file__).parents[2] / "configs"
TUBE = {"kind": "tube", "name": "payload bay", "length": "100 mm", "diameter": "75 mm", "wall_thickness": "1.2 mm", "material": "fibreglass"}
BALLAST = {"kind": "mass", "name": "ballast", "mass": "50 g", "station": "300 mm"}
EXACT = 1e-12  # m: one addition of numbers near one


@pytest.fixture(scope="module")
def demo():
    return sixdof.load_mission(CONFIGS / "sampler.toml")


@pytest.fixture(scope="module")
def stack():
    return sixdof.load_mission(CONFIGS / "two-stage.toml")


def stations(mission, stage=0):
    return {part.name or part.kind: part.station for part in mission.stage[stage].part if hasattr(part, "station")}


def fault(call):
    with pytest.raises(MissionError) as caught:
        call()
    return str(caught.value)


# ---------------------------------------------------------------- None


def test_none__leaves_a_table_out_as_if_it_had_never_been_written(demo):
    column = {"altitude": [1250.0, 3000.0, 8000.0], "temperature": [297.0, 285.0, 250.0], "speed": [4.0, 8.0, 20.0], "blows_from": [4.4, 4.5, 4.6]}
    changed = demo.change({"air.wind": None, "air.temperature": None, "air.sounding": column, "disperse": {}})
    assert changed.air.wind == Wind() and changed.air.sounding is not None and changed.air.pressure == demo.air.pressure


def test_none__of_what_a_mission_needs_is_missing(demo):
    assert "missing" in fault(lambda: demo.change({"rail.length": None}))


def test_none__of_an_entry_says_how_to_remove_it(demo):
    assert 'write mission.remove("rule.fins off")' in fault(lambda: demo.change({"rule.fins off": None}))


def test_part__of_the_only_stage_needs_no_stage(demo, stack):
    assert demo.change({"part.tail.semispan": "50 mm"}).stage[0].part[3].semispan == 0.05
    assert "say whose part" in fault(lambda: stack.change({"part.tail.semispan": "50 mm"}))


# ---------------------------------------------------------------- lengths and stations


def test_length__says_what_stays_behind(demo):
    with pytest.warns(UserWarning, match='change: the tube "airframe" is 0.1 m longer, and what stands behind keeps its station: .*"tail".*"aft guide"'):
        longer = demo.change({"part.airframe.length": "790 mm"})
    assert stations(longer) == stations(demo)


def test_length__shift_false_is_silent(demo):
    assert stations(demo.change({"part.airframe.length": "790 mm"}, shift=False)) == stations(demo)


def test_length__shift_true_keeps_the_tail_at_the_tail(demo):
    """The airframe goes from 0.61 m to 1.30 m: what is behind its middle, 0.955 m, goes with the tail."""
    longer = demo.change({"part.airframe.length": "790 mm"}, shift=True)
    for name, was in stations(demo).items():
        assert stations(longer)[name] == pytest.approx(was + (0.1 if was > 0.955 else 0.0), abs=EXACT), name
    shorter = longer.change({"part.airframe.length": "690 mm"}, shift=True)
    assert stations(shorter) == pytest.approx(stations(demo), abs=EXACT)


def test_length__shift_true_keeps_the_nozzle_at_the_tail(stack):
    """The booster's motor begins in the fore half of its airframe and ends at the tail: with the tail it goes, or it would burn in the airframe."""
    ends = [
        (each.part[i].station, sum(getattr(part, "length", 0.0) for part in each.part if part.kind in ("nose", "tube", "transition")))
        for each in (stack.stage[1], stack.change({"stage.drayhorse.part.booster airframe.length": "740 mm"}, shift=True).stage[1])
        for i, part in enumerate(each.part)
        if part.kind == "mount"
    ]
    (mount, length), (mount_after, length_after) = ends
    assert length_after - length == pytest.approx(0.2, abs=EXACT)
    assert mount_after - mount == pytest.approx(0.2, abs=EXACT)


def test_length__a_station_written_in_the_same_call_stays(demo):
    longer = demo.change({"part.sampler bay.length": "430 mm", "part.tail.station": "1.31 m"}, shift=True)
    assert stations(longer)["tail"] == 1.31 and stations(longer)["aft guide"] == pytest.approx(1.27, abs=EXACT)


def test_length__harnesses_go_along(stack):
    harness = stack.harness[0]
    stage = next(i for i, each in enumerate(stack.stage) if any(getattr(part, "name", "") == harness.canopy for part in each.part))
    first = next(part for part in stack.stage[stage].part if part.kind in ("nose", "tube", "transition"))
    path = f"stage.{stage}.part.{first.name or first.kind}.length"
    longer = stack.change({path: first.length + 0.05}, shift=True)
    assert longer.harness[0].separation_station == pytest.approx(harness.separation_station + 0.05, abs=EXACT)


def test_paths__drawn_lengths_are_silent_and_leave_stations(demo):
    mission = demo.change({"disperse": {"stage.0.part.airframe.length": {"kind": "uniform", "low": "690 mm", "high": "700 mm"}}})
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        from sixdof.draws.drawn import drawn_mission

        assert stations(drawn_mission(mission, [0.695])) == stations(demo)


# ---------------------------------------------------------------- add


def test_add__a_piece_of_body_and_everything_behind_it_moves(demo):
    added = demo.add("part", TUBE, after="sampler bay", shift=True)
    assert [part.name for part in added.stage[0].part[1:4]] == ["sampler bay", "payload bay", "airframe"]
    for name, was in stations(demo).items():
        assert stations(added)[name] == pytest.approx(was + (0.1 if was > 0.61 else 0.0), abs=EXACT), name
    assert added.remove("part.payload bay", shift=True).stage[0].part[2] == demo.stage[0].part[2]
    assert stations(added.remove("part.payload bay", shift=True)) == pytest.approx(stations(demo), abs=EXACT)


def test_add__a_piece_of_body_says_what_stays(demo):
    with pytest.warns(UserWarning, match='add: the tube "payload bay" adds 0.1 m, and what stands behind keeps its station'):
        assert stations(demo.add("part", TUBE, before="airframe")) == stations(demo)


def test_add__what_stands_by_its_station_needs_no_shift(demo):
    added = demo.add("part", BALLAST)
    assert added.stage[0].part[-1].name == "ballast" and added.stage[0].part[:-1] == demo.stage[0].part
    assert demo.add("part", PointMass(name="ballast", mass="50 g", station="300 mm")) == added


def test_add__a_canopy_with_its_recovery(demo):
    canopy = {"kind": "parachute", "name": "spare", "mass": "40 g", "station": "700 mm", "diameter": "40 cm"}
    added = demo.add("part", canopy).add("recovery", {"canopy": "spare", "when": "falling_through", "height": "100 m"}, before="main")
    assert [each.canopy for each in added.recovery] == ["drogue", "spare", "main"]
    assert added.remove("recovery.spare", "part.spare") == demo


def test_add__a_stage_that_does_not_fit_says_so_in_its_place(stack):
    booster = stack.stage[-1].model_copy(update={"name": "second booster"})
    said = fault(lambda: stack.add("stage", booster, after=len(stack.stage) - 1))
    assert 'stage "second booster", part transition "shoulder", key fore_diameter: 0.075 m does not meet' in said
    assert "no rule that can act ignites the stage's motor" in said  # the booster of before is an upper stage now


def test_add__measured_mass_stands_in_place_of_what_is_added(demo):
    weighed = demo.change({"stage.0.measured": {"mass": "1.9 kg", "cg": "700 mm"}})
    with pytest.warns(UserWarning, match='add: stage "thistledown" keeps its measured mass, cg, which stand in place of its parts'):
        weighed.add("part", BALLAST)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda m: m.add("part", TUBE, after="bay"), 'there is no part "bay"'),
        (lambda m: m.add("parts", TUBE), 'there is no "parts"'),
        (lambda m: m.add("rail", {"length": 1.0}), '"rail" is not a list of tables'),
        (lambda m: m.add("part", TUBE, after="airframe", before="airframe"), "after and before are both given"),
        (lambda m: m.add("part", {**TUBE, "diameter": "80 mm"}, after="airframe", shift=True), "does not meet"),
        (lambda m: m.remove("part.main"), 'there is no parachute "main"'),
        (lambda m: m.remove("part.airframe"), 'the tube "airframe" holds the fins "tail", the rail_guide "fore guide"'),
        (lambda m: m.remove("rule.none"), 'there is no rule "none"'),
        (lambda m: m.remove("recovery.9"), "there is no recovery 9"),
        (lambda m: m.remove("drogue"), 'there is no "drogue"; write "part.drogue"'),
        (lambda m: m.change({"sampler bay.length": 0.4}), 'there is no "sampler bay"; write "part.sampler bay.length"'),
        (lambda m: m.remove("thistledown"), 'write "stage'),
        (lambda m: m.change({"stage.0.part": [1.5], "sampler.bay": 1.0}), 'there is no "sampler"'),
        (lambda m: m.change({"stage": 3, "part.airframe.length": 1.0}), "stage"),
    ],
)
def test_edit__one_clear_sentence(demo, call, text):
    assert text in fault(lambda: call(demo))


def test_edit__a_bare_name_in_a_stack(stack):
    assert 'write "stage.drayhorse.part.booster main"' in fault(lambda: stack.remove("booster main"))
    assert 'write "stage.drayhorse"' in fault(lambda: stack.remove("drayhorse"))


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda m: m.add("part", 3), "add: table must be a table such as"),
        (lambda m: m.remove(), "remove: name what goes"),
        (lambda m: m.change({}, shift="aft"), 'change: shift = "aft" must be True, False or None'),
    ],
)
def test_edit__arguments_that_are_none(demo, call, text):
    with pytest.raises((TypeError, ValueError), match=text):
        call(demo)


@pytest.mark.parametrize(("middle", "moved"), [(0.4, 0.0), (0.5, 0.07)])
def test_shift__a_mass_stands_by_its_middle(demo_mission, middle, moved):
    """The bay's middle is at 0.445 m: what has its middle ahead of it stays, however far aft it reaches."""
    ballast = {"kind": "mass", "name": "long ballast", "mass": 0.1, "station": middle, "length": 0.2, "diameter": 0.05}
    before = demo_mission.add("part", ballast)
    bay = next(part for part in before.stage[0].part if part.name == "sampler bay")
    after = before.change({"stage.thistledown.part.sampler bay.length": bay.length + 0.07}, shift=True)
    stations = [next(part.station for part in mission.stage[0].part if part.name == "long ballast") for mission in (before, after)]
    assert stations == [middle, pytest.approx(middle + moved, abs=1e-12)]
