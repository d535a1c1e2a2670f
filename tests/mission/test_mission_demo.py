"""The demo: loads without faults, and however its text is damaged it gives a mission or sentences."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from sixdof.mission.checks.across import faults_of
from sixdof.mission.errors import MissionError
from sixdof.mission.load import build_mission, load_mission, loads_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables.dispersible import DISPERSIBLE

CONFIGS = Path(__file__).parents[2] / "configs"
DEMO = CONFIGS / "sampler.toml"
MUTATIONS = 150
STAGING = {
    "ignition.delay",
    "joint.impulse",
    "joint.delay",
    "joint.tilt_y",
    "joint.tilt_z",
    "rule.delay",
    "harness.strength",
    "canopy.fill_time",
    "harness.stiffness",
    "harness.tumbling_drag",
    "harness.impulse",
    "vehicle.hanging_drag",
}
OPTIONAL = {
    "aero.damping",
    "aero.control_force",
    "wind.member",
    "turbulence.wind_at_20_ft",
    "wind.factor",
    "wind.turn",
}  # of forecasts, turbulence, and what flights tell
NUMBERS = ["-1", "0", "1e9", "1e400", "", "nan", "5.5"]


@cache
def demo() -> str:
    return DEMO.read_text()


def test_demo__loads_without_faults():
    mission = load_mission(DEMO)
    assert faults_of(mission) == []
    assert sorted(mission.motor) == ["playa-h", "playa-i"]
    assert tuple(mission.disperse) == tuple(DISPERSIBLE)[: len(mission.disperse)]
    assert set(DISPERSIBLE) - set(mission.disperse) == STAGING | OPTIONAL  # it disperses what matters most in a single stage
    assert "invented" in demo()[:200]


def test_waypoints__loads_without_faults_and_is_the_same_vehicle():
    mission = load_mission(CONFIGS / "waypoints.toml")
    assert faults_of(mission) == []
    assert mission.stage == load_mission(DEMO).stage and mission.motor == load_mission(DEMO).motor
    assert mission.sensors is not None and len(mission.guidance.waypoint) == 2
    assert "invented" in (CONFIGS / "waypoints.toml").read_text()[:60]
    assert loads_mission(mission.to_toml()) == mission


def test_demo__is_self_contained_as_text(tmp_path):
    mission = load_mission(DEMO)
    assert loads_mission(mission.to_toml(), tmp_path) == mission


def test_demo__flies_on_either_motor():
    mission = load_mission(DEMO)
    assert mission.change({"stage.0.part.mount.motor": "playa-i"}).stage[0].part[6].motor == "playa-i"


def outcome(text: str) -> None:
    """Load `text`: a Mission, or a MissionError whose every fault is one sentence; anything else fails the test."""
    try:
        assert isinstance(loads_mission(text, CONFIGS), Mission)
    except MissionError as error:
        assert error.faults
        for fault in error.faults:
            assert fault.message and len(str(fault).splitlines()) == 1
            assert "pydantic" not in str(fault) and "Input should" not in str(fault)


@settings(max_examples=MUTATIONS, deadline=None)
@given(st.data())
def test_demo__damaged_lines_give_a_mission_or_sentences(data):
    lines = demo().splitlines()
    for _ in range(data.draw(st.integers(1, 3))):
        i = data.draw(st.integers(0, len(lines) - 1))
        how = data.draw(st.sampled_from(["delete", "swap", "double", "number", "insert"]))
        line = lines[i]
        if how == "delete":
            lines[i] = ""
        elif how == "double":
            lines[i] = f"{line}\n{line}"
        elif how == "swap" and len(line) > 1:
            j = data.draw(st.integers(0, len(line) - 2))
            lines[i] = line[:j] + line[j + 1] + line[j] + line[j + 2 :]
        elif how == "insert":
            j = data.draw(st.integers(0, len(line)))
            lines[i] = line[:j] + data.draw(st.text(max_size=2)) + line[j:]
        elif how == "number":
            digits = [j for j, sign in enumerate(line) if sign.isdigit()]
            if digits:
                j = data.draw(st.sampled_from(digits))
                lines[i] = line[:j] + data.draw(st.sampled_from(NUMBERS)) + line[j + 1 :]
    outcome("\n".join(lines))


ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 10**20),
    st.floats(),
    st.text(max_size=5),
    st.just([]),
    st.just({}),
    st.just([[]]),
    st.just([{}]),
    st.just({"a": {"b": 1}}),
    st.just(["x", 1]),
    st.dates(),
)


@settings(max_examples=MUTATIONS, deadline=None)
@given(st.data())
def test_demo__odd_values_anywhere_give_a_mission_or_sentences(data):
    tables = tomllib.loads(demo())
    node, key = tables, data.draw(st.sampled_from(sorted(tables)))
    while isinstance(node[key], (dict, list)) and node[key] and data.draw(st.booleans()):
        node = node[key]
        key = data.draw(st.sampled_from(sorted(node)) if isinstance(node, dict) else st.integers(0, len(node) - 1))
    node[key] = data.draw(ODD)
    try:
        assert isinstance(build_mission(folder=CONFIGS, **tables), Mission)
    except MissionError as error:
        assert all(fault.message and "Input should" not in str(fault) for fault in error.faults)
