"""Compilation: one signature whatever is flown, and a cache that notices every edit."""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

import sixdof
from sixdof import _jit
from sixdof._jit import cache, kernel, lend, progress
from sixdof.core.flight import fly as core
from sixdof.core.leg.work import make_events, make_log, make_summary, make_work
from sixdof.draws.packed import kernel_draw
from sixdof.flight.model import build_model
from sixdof.vehicle.describe import describe

PACKAGE = Path(sixdof.__file__).parent
needs_compiler = pytest.mark.skipif(os.environ.get("NUMBA_DISABLE_JIT") == "1", reason="kernels are plain Python in this run")


@needs_compiler
def test_fly__has_one_signature_for_varied_flights(demo_mission):
    variants = [
        demo_mission,
        demo_mission.change({"recovery": ()}),
        demo_mission.change({"rule": (), "rail.elevation": "80 deg", "air.wind.profile": "uniform"}),
    ]
    for mission in variants:
        model = build_model(mission)
        empty = make_log(model, 0)
        core.fly(lend(model), lend(kernel_draw(mission)), lend(make_work(model)), empty, make_events(model), make_summary())
    assert len(core.fly.signatures) == 1


def test_source_hash__changes_with_any_kernel_file(tmp_path):
    copy = tmp_path / "sixdof"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    code = "from sixdof import _jit; print(_jit.source_hash())"

    def answer():
        env = {**os.environ, "PYTHONPATH": str(tmp_path)}
        return subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True).stdout

    before = answer()
    path = copy / "core" / "algebra.py"
    path.write_text(path.read_text() + "\n# an edit\n")
    assert answer() != before


@needs_compiler
def test_cache__gives_the_new_answer_after_an_edit_in_an_imported_file(tmp_path):
    # numba alone would go on returning the old trajectory here: its check looks only at the caller's own file
    copy = tmp_path / "sixdof"
    (copy / "core").mkdir(parents=True)
    (copy / "__init__.py").touch()
    (copy / "core" / "__init__.py").touch()
    shutil.copytree(PACKAGE / "_jit", copy / "_jit")
    inner, outer = copy / "core" / "inner.py", copy / "core" / "outer.py"
    inner.write_text("from sixdof._jit import kernel\n@kernel\ndef value(x):\n    return x + 1.0\n")
    outer.write_text("from sixdof._jit import kernel\nfrom sixdof.core.inner import value\n@kernel\ndef twice(x):\n    return 2.0 * value(x)\n")
    env = {**os.environ, "PYTHONPATH": str(tmp_path), "NUMBA_CACHE_DIR": str(tmp_path / "cache")}

    def answer():
        code = "from sixdof.core.outer import twice; print(twice(1.0), sum(twice.stats.cache_hits.values()))"
        out = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True).stdout
        return out.split()

    assert answer() == ["4.0", "0"]
    assert answer() == ["4.0", "1"]
    inner.write_text(inner.read_text().replace("1.0", "3.0"))
    assert answer()[0] == "8.0"


@needs_compiler
def test_cache__serves_the_same_sources_elsewhere(demo_path, demo_flight, tmp_path):
    """Installed again, in another environment, in a copied checkout: other paths, other times, and nothing to compile."""
    copy = tmp_path / "site" / "sixdof"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"), copy_function=shutil.copyfile)
    for path in copy.rglob("*.py"):
        os.utime(path, (1e9, 1e9))
    code = (
        "import gc, sys, sixdof\nsixdof.fly(sixdof.load_mission(sys.argv[1]))\nfrom sixdof._jit.linking import Kernel\n"
        "called = [each for each in gc.get_objects() if isinstance(each, Kernel) and each.signatures]\n"
        "print(sixdof.__file__, len(called) > 0, sum(sum(each._cache_misses.values()) for each in called))"
    )
    env = {**os.environ, "PYTHONPATH": str(copy.parent)}
    answer = subprocess.run([sys.executable, "-c", code, str(demo_path)], env=env, capture_output=True, text=True, check=True)
    assert answer.stdout.split() == [str(copy / "__init__.py"), "True", "0"] and answer.stderr == ""


@needs_compiler
def test_cache__tells_kernels_of_scripts_apart_by_their_text(tmp_path):
    """What is no source of the library may change without its hash: two scripts of one name, and one that is edited."""
    env = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "cache")}

    def answer(folder, factor):
        (tmp_path / folder).mkdir(exist_ok=True)
        script = tmp_path / folder / "twice.py"
        script.write_text(
            f"from sixdof._jit import kernel\n@kernel\ndef twice(x):\n    return {factor} * x\nprint(twice(1.0), sum(twice.stats.cache_hits.values()))\n"
        )
        return subprocess.run([sys.executable, script], env=env, capture_output=True, text=True, check=True).stdout.split()

    assert answer("a", 2.0) == ["2.0", "0"] and answer("a", 2.0) == ["2.0", "1"]
    assert answer("b", 3.0) == ["3.0", "0"]
    assert answer("a", 4.0) == ["4.0", "0"]


@needs_compiler
def test_kernels__keep_no_reference_counts(tmp_path):
    # atomic counting of array references costs more than the physics, and makes threads fight over one cache line
    script = tmp_path / "counting.py"
    script.write_text(
        "import numpy as np\nfrom sixdof._jit import kernel\n"
        "@kernel\ndef inner(pair):\n    return pair[0][1] + pair[1][2]\n"
        "@kernel\ndef outer(a, b):\n    return inner((a, b)) + inner((b, a))\n"
        "outer(np.zeros(9), np.zeros(9))\n"
        "print(sum(ir.count('call void @NRT_') for f in (inner.inner, outer) for ir in f.inspect_llvm().values()))\n"
    )
    env = {**os.environ, "SIXDOF_NUMBA_CACHE": "0"}
    answer = subprocess.run([sys.executable, script], env=env, capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "0"


def test_switch__cache_off():
    code = "from sixdof import _jit; from sixdof.vehicle import compiling; print(_jit.CACHE, compiling.is_compiled())"
    env = {**os.environ, "SIXDOF_NUMBA_CACHE": "0"}
    answer = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
    assert answer.stdout.split() == ["False", "False"]


@pytest.mark.skipif(os.name != "posix", reason="owners and modes of folders are another matter there")
@pytest.mark.parametrize("temporary", ["there", "none", "of others", "a link"])
def test_cache_folder__that_cannot_be_written(tmp_path, temporary):
    """A home that is no folder: kernels go to a folder of the user's own among the temporary ones, or are not kept, and a person is told."""
    mine, root = tmp_path / f"sixdof-{os.getuid()}", str(tmp_path)
    if temporary == "none":
        root = "/dev/null/none"
    elif temporary == "of others":
        mine.mkdir()
        mine.chmod(0o777)
    elif temporary == "a link":
        (tmp_path / "elsewhere").mkdir(mode=0o700)
        mine.symlink_to(tmp_path / "elsewhere")
    env = {key: value for key, value in os.environ.items() if key not in ("NUMBA_CACHE_DIR", "XDG_CACHE_HOME", "SIXDOF_NUMBA_CACHE")}
    script = tmp_path / "twice.py"
    script.write_text(
        f"import tempfile\ntempfile.tempdir = {root!r}\nfrom sixdof import _jit\n"
        "@_jit.kernel\ndef twice(x):\n    return 2.0 * x\n"
        "print(twice(1.0), _jit.cache_folder(), sep='|')\nprint(_jit.cache_note())\n"
    )
    answer = subprocess.run([sys.executable, script], env={**env, "HOME": "/dev/null"}, capture_output=True, text=True, check=True)
    result, note = answer.stdout.splitlines()
    value, folder = result.split("|")
    kept = mine / cache._wanted_folder().name
    assert (value, folder) == ("2.0", str(kept) if temporary == "there" else "None")
    assert note.startswith("/dev/null/.cache/sixdof cannot be written: ") and "NUMBA_CACHE_DIR names another folder" in note
    assert ("kept in" in note) == (temporary == "there")
    if temporary == "there" and os.environ.get("NUMBA_DISABLE_JIT") != "1":
        assert mine.stat().st_mode & 0o777 == 0o700 and list(kept.rglob("*.nbi"))


def test_cache_folder__honours_the_environment(tmp_path, monkeypatch):
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    assert _jit.cache_folder().parent == tmp_path
    assert _jit.source_hash() in _jit.cache_folder().name


# ---------------------------------------------------------------- the first flight


@needs_compiler
@pytest.mark.parametrize("first, code", [("build_model", 0), ("describe", 1)])
def test_first_flight__is_announced_and_compiled_by_another_process(demo_mission, monkeypatch, tmp_path, capsys, first, code):
    """Before a kernel is used here, whichever call comes first: what this process compiled itself would round otherwise than what it reads tomorrow."""
    from sixdof.flight.model import build_model as build
    from sixdof.vehicle import compiling

    calls = []
    monkeypatch.setattr(compiling, "_looked", False)
    monkeypatch.setattr(compiling, "_mark", lambda: tmp_path / "compiled")
    monkeypatch.setattr(compiling, "CACHE", True)
    monkeypatch.setattr(progress, "PATIENCE", 0.02)
    monkeypatch.delenv(_jit.QUIET, raising=False)

    def run(command, **options):
        calls.append(options)
        time.sleep(0.2)
        return subprocess.CompletedProcess(command, code)

    monkeypatch.setattr(compiling.subprocess, "run", run)
    {"build_model": build, "describe": describe}[first](demo_mission)
    build(demo_mission)
    assert len(calls) == 1 and sixdof.parts.loads_mission(calls[0]["input"]) == demo_mission
    assert calls[0]["env"][_jit.QUIET] == "1"
    assert compiling.is_compiled() == (code == 0)  # what was killed half-way is compiled again
    said = capsys.readouterr().err
    assert said.startswith("sixdof: compiling the flight kernels, once for this version (about half a minute) ...\nsixdof: done in 0 s\n")
    assert said.count("compiling the flight kernels") == 1


@needs_compiler
def test_kernel__tells_of_its_compilation_once(tmp_path):
    """Whichever kernel is compiled when: a person reads its name and when it is done; what is read from disk says nothing, nor what is quick."""
    env = {key: value for key, value in os.environ.items() if key != _jit.QUIET} | {"NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    script = tmp_path / "slow.py"
    script.write_text(
        "import sys, time\nfrom sixdof import _jit\nfrom sixdof._jit import progress\nprogress.PATIENCE = float(sys.argv[1])\n"
        "@_jit.kernel\ndef twice(x):\n    return 2.0 * x\n"
        "twice(1.0)\n"
    )

    def said(patience):
        return subprocess.run([sys.executable, script, str(patience)], env=env, capture_output=True, text=True, check=True).stderr

    assert re.fullmatch("sixdof: compiling __main__.twice, once for this version ...\nsixdof: done in [0-9]+ s\n", said(0.001))
    assert said(0.001) == ""
    shutil.rmtree(tmp_path / "cache")
    assert said(60.0) == ""


def test_progress__counts_the_seconds_where_a_line_can_be_written_again(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    monkeypatch.setattr(progress, "PATIENCE", 0.05)
    monkeypatch.setattr(sys, "stderr", terminal := Terminal())
    monkeypatch.delenv(_jit.QUIET, raising=False)
    with _jit.told("working"):
        time.sleep(0.4)
    first, rest = terminal.getvalue().split("\n", 1)
    assert first == "sixdof: working ..." and rest.startswith("\r  0 s\r") and rest.endswith("\rsixdof: done in 0 s\n")
    monkeypatch.setattr(sys, "stderr", quiet := Terminal())
    monkeypatch.setenv(_jit.QUIET, "1")
    with _jit.told("working"):
        time.sleep(0.2)
    assert quiet.getvalue() == ""


@pytest.mark.slow
@needs_compiler
def test_first_session__flies_the_bits_of_the_second(tmp_path):
    """Compiles all kernels once: some minutes. The canard rocket's tilt error differed by 2 ulp between the session that compiled and the next."""
    vehicle = Path(__file__).parents[1] / "vehicles" / "canard.toml"
    script = tmp_path / "session.py"
    script.write_text(
        "import hashlib, sys, sixdof\n"
        f"ds = sixdof.disperse(sixdof.load_mission({str(vehicle)!r}), 4, seed=3, threads=1, progress=False)\n"
        "print(*(f'{name}={hashlib.sha256(v.values.tobytes()).hexdigest()}' for name, v in ds.variables.items()), sep='\\n')\n"
    )
    env = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    sessions = [subprocess.run([sys.executable, script], env=env, capture_output=True, text=True, check=True) for _ in range(2)]
    assert "compiling the flight kernels" in sessions[0].stderr and "compiling" not in sessions[1].stderr
    assert sessions[0].stdout == sessions[1].stdout


@needs_compiler
def test_kernel__that_another_calls_has_no_machine_code_of_its_own():
    """Only what Python calls is linked and optimised; what was compiled before makes no difference to it."""

    @kernel
    def square(x):
        return x * x

    @kernel
    def twice(x):
        return square(x) + square(x)

    assert twice(3.0) == 18.0
    assert not square.overloads and len(square.inner.overloads) == 1
    assert square(2.0) == 4.0 and len(square.overloads) == 1
    assert twice(2.0) == 8.0
