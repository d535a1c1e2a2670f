"""Stations given by another part: worked out by hand on five vehicles, in a file, in `add` and in `change`; every refusal a sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

import sixdof
from sixdof.mission.errors import MissionError
from sixdof.mission.load import loads_mission

ROOT = Path(__file__).parents[2]
FILES = {
    "sampler": ROOT / "configs/sampler.toml",
    "two-stage": ROOT / "configs/two-stage.toml",
    "slender": ROOT / "tests/vehicles/slender.toml",
    "canard": ROOT / "tests/vehicles/canard.toml",
    "three-stage": ROOT / "tests/vehicles/three-stage.toml",
}
BALLAST = {"kind": "mass", "name": "lump", "mass": "5 g", "length": "20 mm"}  # its station is its middle


@pytest.fixture(scope="module")
def missions():
    return {name: sixdof.load_mission(path) for name, path in FILES.items()}


def station(mission, stage, name):
    return next(part.station for part in mission.stage[stage].part if name in (part.name, part.kind))


# stations in mm, from the lengths and stations of the files
BY_HAND = [
    ("sampler", 0, {"aft_of": "sampler bay"}, 280 + 330 + 10),
    ("sampler", 0, {"aft_of": "sampler bay", "gap": "-25 mm"}, 280 + 330 - 25 + 10),
    ("sampler", 0, {"fore_of": "airframe", "gap": "5 mm"}, 280 + 330 - 5 - 10),
    ("sampler", 0, {"flush_fore": "nose", "gap": "0.1 m"}, 100 + 10),
    ("sampler", 0, {"flush_aft": "airframe"}, 280 + 330 + 690 - 10),
    ("sampler", 0, {"aft_of": "tail"}, 1200 + 80 + 10),  # the root of fins
    ("sampler", 0, {"fore_of": "mount"}, 1020 - 10),
    ("sampler", 0, {"flush_aft": "mount", "gap": "1 mm"}, 1020 + 280 - 1 - 10),
    ("sampler", 0, {"aft_of": "main"}, 850 + 65 + 10),  # a canopy's station is the middle of its packed length
    ("sampler", 0, {"aft_of": "fore guide"}, 760 + 10),
    ("two-stage", 1, {"flush_aft": "shoulder"}, 80 - 10),
    ("two-stage", 1, {"aft_of": "booster fins"}, 440 + 160 + 10),
    ("slender", 0, {"fore_of": "fins"}, 895 - 10),
    ("slender", 0, {"aft_of": "streamer"}, 510 + 20 + 10),
    ("canard", 0, {"flush_fore": "mount", "gap": 0.01}, None),
    ("three-stage", 1, {"aft_of": "bulrush shoulder"}, 60 + 10),
    ("three-stage", 2, {"flush_aft": "tussock fins"}, 395 + 170 - 10),  # a polygon, which ends on the body at 170 mm
]


@pytest.mark.parametrize("name, stage, words, at", BY_HAND)
def test_station__by_hand(missions, name, stage, words, at):
    mission = missions[name]
    if at is None:
        at = 1e3 * station(mission, stage, "mount") + 10 + 10
    where = f"stage.{mission.stage[stage].name}.part"
    found = mission.add(where, BALLAST | {"station": words})
    assert station(found, stage, "lump") == pytest.approx(at / 1e3, abs=1e-12)
    assert found == mission.add(where, BALLAST | {"station": at / 1e3})  # as typed, to the last bit
    moved = mission.add(where, BALLAST | {"station": at / 1e3 - 0.001}).change({f"{where}.lump.station": words})
    assert moved == found


def test_station__in_a_file_down_a_chain_of_parts(missions):
    text = FILES["sampler"].read_text()
    for old, new in (
        ('name = "tail"\ncount = 4\nstation = "1.2 m"', 'name = "tail"\ncount = 4\nstation = { flush_aft = "airframe", gap = "20 mm" }'),
        ('station = "1.02 m"', 'station = { flush_aft = "airframe" }'),
        ('name = "fore guide"\nstation = "760 mm"', 'name = "fore guide"\nstation = { fore_of = "aft guide", gap = "410 mm" }'),
        ('name = "aft guide"\nstation = "1.17 m"', 'name = "aft guide"\nstation = { fore_of = "tail", gap = "30 mm" }'),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    assert loads_mission(text, FILES["sampler"].parent) == missions["sampler"]


def test_harness__separates_at_the_end_of_a_part(missions):
    words = {"aft_of": "avionics bay", "gap": "90 mm"}
    assert missions["two-stage"].change({"harness.drogue.separation_station": words}) == missions["two-stage"]


def test_station__of_several_parts_moves_with_a_longer_body(missions):
    """A relation holds as it is read; afterwards the station is a number that `shift` moves as any other."""
    found = missions["sampler"].change({"part.servos.station": {"flush_aft": "airframe", "gap": "80 mm"}})
    longer = found.change({"part.sampler bay.length": "380 mm"}, shift=True)
    assert station(longer, 0, "servos") == pytest.approx(station(found, 0, "servos") + 0.05, abs=1e-12)


WRONG = [
    ({"aft_of": "sampler bey"}, 'there is no part "sampler bey"; did you mean "sampler bay"?'),
    ({"aft_of": "rail_guide"}, 'there are 2 parts "rail_guide"; give the one that is meant a name of its own'),
    ({"aft_off": "airframe"}, 'unknown key "aft_off"; did you mean "aft_of"?'),
    ({"gap": "1 mm"}, "gives none of aft_of, fore_of, flush_fore, flush_aft; write, for example, station = { aft_of ="),
    ({"aft_of": "nose", "fore_of": "tail"}, "gives 2 of aft_of, fore_of, flush_fore, flush_aft"),
    ({"aft_of": "nose", "gap": "3 kg"}, 'gap: "3 kg" has the wrong unit; expected a quantity such as "75 mm"'),
    ({"aft_of": 3}, "there is no part 3; parts of this stage: "),
    ({"aft_of": "lump"}, '"lump" is placed by this part in turn; give one of the two a station in m'),
    ({"aft_of": "airframe", "gap": "1 m"}, "2.31 m is not on the stage's body"),
]


@pytest.mark.parametrize("words, said", WRONG)
def test_station__refusals_are_one_sentence(missions, words, said):
    with pytest.raises(MissionError) as caught:
        missions["sampler"].add("part", BALLAST | {"station": words})
    assert str(caught.value).startswith('stage "thistledown", part mass "lump", key station: ' + said), str(caught.value)
    assert len(caught.value.faults) == 1


def test_station__of_a_part_in_another_stage(missions):
    with pytest.raises(MissionError, match='"booster fins" is in stage "drayhorse"; stations count from the fore end of the part\'s own stage'):
        missions["two-stage"].add("stage.whinchat.part", BALLAST | {"station": {"aft_of": "booster fins"}})


def test_station__in_a_circle_is_one_fault(missions):
    with pytest.raises(MissionError) as caught:
        missions["sampler"].change({"part.drogue.station": {"aft_of": "main"}, "part.main.station": {"fore_of": "drogue"}})
    assert len(caught.value.faults) == 1 and "is placed by this part in turn" in str(caught.value)
