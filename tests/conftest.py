"""What many tests share: the shipped demo, one flight of it and a small ensemble."""

from __future__ import annotations

from pathlib import Path

import matplotlib
import pytest

import sixdof

matplotlib.use("Agg")
DEMO = Path(__file__).parent.parent / "configs" / "sampler.toml"


@pytest.fixture(scope="session")
def demo_path():
    return DEMO


@pytest.fixture(scope="session")
def demo_mission():
    return sixdof.load_mission(DEMO)


@pytest.fixture(scope="session")
def demo_flight(demo_mission):
    return sixdof.fly(demo_mission)


@pytest.fixture(scope="session")
def demo_ensemble(demo_mission):
    return sixdof.disperse(demo_mission, 40, seed=7, progress=False)


@pytest.fixture(scope="session")
def stack_path(demo_path):
    """The two-stage demo's mission file."""
    return demo_path.parent / "two-stage.toml"


@pytest.fixture(scope="session")
def stack_mission(stack_path):
    return sixdof.load_mission(stack_path)


@pytest.fixture(scope="session")
def stack_flight(stack_mission):
    return sixdof.fly(stack_mission)
