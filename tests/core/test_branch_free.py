"""Kernels of free flight, flight computer, canopy and observers take eight flights in the place of one, and each is as if it flew alone."""

from __future__ import annotations

import ast
import json
import operator
import os
import subprocess
import sys
from pathlib import Path

import eight
import eight_scenes
import numpy as np
import pytest

import sixdof

CORE = Path(sixdof.__file__).parent / "core"
# modules whose kernels take lanes: of math they know constants and what asks for a plain truth value, the rest comes from core/lanes.py
TAKE_LANES = (
    "algebra.py",
    "body.py",
    "computer/control.py",
    "computer/estimator.py",
    "computer/sensors.py",
    "flight/canopy.py",
    "flight/free.py",
    "flight/rk4.py",
    "forces/aerodynamics.py",
    "forces/loads.py",
    "forces/stability.py",
    "forces/turbulence.py",
    "observe.py",
    "random.py",
)
PLAIN = {"inf", "nan", "pi", "isnan"}


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """What came of every scene, run once in a process whose kernels are plain Python."""
    path = tmp_path_factory.mktemp("eight") / "found.json"
    run = subprocess.run([sys.executable, eight_scenes.__file__, path], env=os.environ | {"NUMBA_DISABLE_JIT": "1"}, capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
    return json.loads(path.read_text())


@pytest.mark.parametrize("scene", eight_scenes.SCENES)
def test_eight_flights__each_as_alone_to_the_bit(found, scene):
    """Different Mach numbers, incidences (stalled, broadside, backwards), rates, draws, fins, canopies: no number differs from the flight alone."""
    assert isinstance(found[scene], int), found[scene]
    assert found[scene] >= 3 * eight.COUNT


@pytest.mark.parametrize("module", TAKE_LANES)
def test_mathematical_functions__come_from_one_place(module):
    tree = ast.parse((CORE / module).read_text())
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module == "math" for alias in node.names}
    assert names <= PLAIN
    assert not any(isinstance(node, ast.Import) and any(alias.name == "math" for alias in node.names) for node in ast.walk(tree))


@pytest.mark.parametrize("ask", [bool, float, int, operator.index, lambda x: x and x, lambda x: 1.0 if x > 0.0 else 2.0, lambda x: [1.0, 2.0][x]])
def test_eight__a_plain_question_is_an_error(ask):
    with pytest.raises(TypeError):
        ask(eight.Eight(np.arange(8)))


def test_eight__packed_and_taken_out_again():
    flights = [(float(k), np.array([[k, 2.0 * k]]), 3) for k in range(8)]
    packed = eight.pack(flights)
    assert packed[2] == 3  # what all have in common stays plain
    for k, flight in enumerate(flights):
        assert eight.lane(packed, k).tolist() == [k, k, 2.0 * k, 3.0]
        assert eight.lane(flight, k).tolist() == [k, k, 2.0 * k, 3.0]
