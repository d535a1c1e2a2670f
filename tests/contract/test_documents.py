"""README and DEVELOPERS: lines that fit, paths that exist, and a mission file that flies as it is written."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import sixdof
from sixdof.mission.load import loads_mission
from sixdof.results.status import Status

ROOT = Path(__file__).parents[2]
README, DEVELOPERS = (ROOT / name for name in ("README.md", "DEVELOPERS.md"))
MOST = 160  # characters of a line
FILES = [path.relative_to(ROOT).as_posix() for top in ("src", "tests", "configs", "notebooks") for path in (ROOT / top).rglob("*")]
MADE = {"out", "card.pdf", "mine.toml", "first.toml", "flights.nc", "flights.zarr"}  # what README's commands write


def blocks(page: Path, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", page.read_text(), flags=re.S | re.M)


def named_paths(page: Path) -> set[str]:
    """Return the files and folders that a page names in code: `core/flight.py:fly` is core/flight.py."""
    words = {word for code in re.findall(r"`([^`\n]+)`", page.read_text()) for word in code.split()}
    words |= set(re.findall(r"\]\(([^)]+)\)", page.read_text()))
    return {word.split(":")[0] for word in words if re.fullmatch(r"[\w./-]+\.(py|toml|csv|c|ipynb|png|md)(:\w+)?|[\w.-]+(/[\w.-]+)*/", word)}


def is_there(path: str) -> bool:
    return path in MADE or (ROOT / path).exists() or any(file.endswith("/" + path.rstrip("/")) for file in FILES)


@pytest.mark.parametrize("page", [README, DEVELOPERS], ids=lambda page: page.name)
def test_page__has_lines_that_fit(page):
    assert [f"{number}: {line[:60]}" for number, line in enumerate(page.read_text().splitlines(), start=1) if len(line) > MOST] == []


@pytest.mark.parametrize("page", [README, DEVELOPERS], ids=lambda page: page.name)
def test_page__names_paths_that_exist(page):
    found = named_paths(page)
    assert len(found) > 10 and {path for path in found if not is_there(path)} == set()


def test_readme__mission_file_flies_as_written():
    (text,) = blocks(README, "toml")
    assert len(text.splitlines()) == 15
    mission = loads_mission(text)
    flight = sixdof.fly(mission)
    assert int(flight.status) == Status.LANDED and "no cautions raised" in sixdof.report(flight)
    assert 1.0 < float(flight.static_margin_min) < 3.0


def test_readme__asks_for_few_names():
    (code,) = blocks(README, "python")
    assert len(set(re.findall(r"\bsixdof\.(?:\w+\.)?\w+", code))) <= 8


@pytest.mark.slow
def test_readme__page_is_that_of_the_main_job(demo_mission):
    (text,) = blocks(README, "text")
    page = str(sixdof.report(sixdof.disperse(demo_mission, 1000, seed=1, progress=False))).splitlines()
    assert [line for line in text.splitlines() if line not in page] == [] and len(text.splitlines()) == 10
