"""Every planted error is caught by the test that is named for it, and by nothing but that test's own assertion."""

from __future__ import annotations

import ast
import csv
from functools import cache

import pytest
from planted.errors import PLANTED, ROOT, SOURCE, TABLE, PlantedError, caught, check, is_core, plant, run_tests

FEWEST = 24
PLACES = {
    "core/forces/loads.py",
    "core/body.py",
    "core/forces/aerodynamics.py",
    "core/algebra.py",
    "core/flight/free.py",
    "core/actuator.py",
    "core/computer/sensors.py",
    "core/computer/estimator.py",
    "core/forces/turbulence.py",
    "core/flight/events.py",
    "world/atmosphere.py",
    "world/gravity.py",
    "world/wind.py",
    "world/geodesy.py",
    "vehicle/solids.py",
    "vehicle/mass.py",
    "vehicle/motor.py",
    "vehicle/aero/table.py",
    "vehicle/aero/interference.py",
    "vehicle/aero/wake.py",
    "autopilot/mixer.py",
    "autopilot/gains.py",
    "core/whole/dividing.py",
    "core/whole/stack.py",
    "core/whole/harness.py",
    "core/whole/gap.py",
    "core/whole/facts.py",
}


@cache
def functions_in(file: str) -> frozenset[str]:
    return frozenset(node.name for node in ast.parse((ROOT / file).read_text()).body if isinstance(node, ast.FunctionDef))


@pytest.mark.parametrize("error", PLANTED, ids=lambda error: error.name)
def test_error__can_still_be_planted_and_its_test_exists(error):
    text = (SOURCE / error.file).read_text()
    assert text.count(error.right) == 1
    assert error.wrong != error.right
    ast.parse(text.replace(error.right, error.wrong))
    file, test = error.caught_by.split("::")
    assert test in functions_in(file)


def test_errors__are_enough_and_everywhere():
    names = [error.name for error in PLANTED]
    assert len(names) >= FEWEST and len(set(names)) == len(names)
    assert {error.file for error in PLANTED} >= PLACES


def test_table__lists_every_error_as_caught():
    rows = list(csv.DictReader(TABLE.read_text().splitlines()))
    listed = {row["error"]: (row["file"], row["what is wrong"], row["caught by"]) for row in rows}
    assert listed == {error.name: (error.file, error.words, error.caught_by) for error in PLANTED}


@pytest.mark.slow
@pytest.mark.parametrize("error", PLANTED, ids=lambda error: error.name)
def test_error__is_caught(error):
    verdict = check(error)
    assert caught(verdict, error.caught_by), verdict


@pytest.mark.slow
@pytest.mark.parametrize("core", [True, False], ids=["kernels as plain Python", "kernels as they are"])
def test_nothing_planted__the_same_tests_pass(tmp_path, core):
    """From the same kind of copy, run in the same way: so it is the errors that fail, not the copying."""
    tests = sorted({error.caught_by for error in PLANTED if is_core(error.file) == core})
    verdict = run_tests(plant(None, tmp_path, core=core), "__init__.py", tests, core=core)
    assert verdict.code == 0 and not verdict.failed and not verdict.broken, verdict


def test_plant__refuses_a_text_that_is_not_there_once(tmp_path):
    with pytest.raises(ValueError, match='"gone": its right text stands 0 times in core/forces/loads.py, not once'):
        plant(PlantedError("gone", "core/forces/loads.py", "no such text", "", "", ""), tmp_path, core=True)


def test_caught__not_by_an_exception(tmp_path):
    """An error that breaks the import, or makes the test raise, is not caught by it."""
    more = "def components(speed, blows_from, more):"
    broken = PlantedError("", "world/wind.py", "def components(speed, blows_from):", more, "", "")
    test = "tests/world/test_wind.py::test_components__a_wind_from_a_side_moves_to_the_other"
    verdict = run_tests(plant(broken, tmp_path, core=False), broken.file, [test], core=False)
    assert verdict.broken == (test,) and not caught(verdict, test)
