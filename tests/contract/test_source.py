"""One hash says which code flew: nothing that a flight imports is missing from it, and it changes with every one of those files."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

import sixdof
from sixdof.results import source

PACKAGE = Path(sixdof.__file__).parent
FLYING = """
    import sys
    import sixdof
    mission = sixdof.load_mission(sys.argv[1]).change({"solver.time_limit": 0.5})
    sixdof.disperse(mission, 2, threads=1, progress=False, out=sys.argv[2])
    sixdof.refly(sixdof.open_result(sys.argv[2]), 1)
    print(*(name for name in sys.modules if name.startswith("sixdof")))
"""


def test_hash__covers_every_module_that_a_flight_imports(demo_path, tmp_path):
    """What Python has imported after flights from file to file, against the rooms that are hashed."""
    command = [sys.executable, "-W", "ignore", "-c", textwrap.dedent(FLYING), str(demo_path), str(tmp_path / "a.zarr")]
    loaded = set(subprocess.run(command, capture_output=True, text=True, check=True).stdout.split())
    assert loaded - set(source.flown_modules()) == {"sixdof"}  # whose `__init__` only shows names
    assert len(loaded) > 50


def test_hash__leaves_out_what_only_looks_at_results():
    assert not [name for name in source.flown_modules() if name.startswith(("sixdof.study", "sixdof.plot", "sixdof.cli"))]


@pytest.mark.slow
def test_hash__changes_with_any_of_its_files(tmp_path):
    shutil.copytree(PACKAGE, tmp_path / "sixdof", ignore=shutil.ignore_patterns("__pycache__"))
    code = """
        from sixdof.results import source
        before = source.code_hash()
        for name, file in source.flown_modules().items():
            source.code_hash.cache_clear()
            text = file.read_text()
            file.write_text(text + "# an edit")
            assert source.code_hash() != before, name
            file.write_text(text)
        print(source.Path(source.__file__).parents[1])
    """
    env = {**os.environ, "PYTHONPATH": str(tmp_path)}
    found = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], env=env, capture_output=True, text=True, check=False)
    assert found.stdout.strip() == str(tmp_path / "sixdof"), found.stderr


def test_hash__is_that_of_results_and_of_ensembles(demo_flight, demo_mission):
    from sixdof.ensemble.identity import identity_of

    found = identity_of(demo_mission, seed=0, first=0, sampling="random", total=None, given=None, tracked=None, guidance=None, control=None)
    assert source.code_hash() in found["sixdof"] and demo_flight.attrs["source"].endswith(source.code_hash())
