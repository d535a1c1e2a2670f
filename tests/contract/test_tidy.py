"""Formatter, linter and type checker agree with what is written (their settings stand in pyproject.toml)."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def run(*command: str) -> tuple[int, str]:
    """Return the exit code and the output of a module of this Python, run at the top of the repository."""
    found = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    return found.returncode, found.stdout + found.stderr


@pytest.mark.parametrize("command", [("ruff", "format", "--check"), ("ruff", "check")], ids=["formatter", "linter"])
def test_code__is_as_the_tools_want_it(command):
    code, text = run(*command, "--no-cache", "src", "tests")
    assert code == 0, text


@pytest.mark.slow  # half a minute where nothing is kept of an earlier run
def test_types__of_the_public_surface_hold():
    code, text = run("mypy")
    assert code == 0, text


def test_marks__that_switch_the_tools_off_are_few():
    files = [path for top in ("src", "tests") for path in (ROOT / top).rglob("*.py")]
    assert sum(len(re.findall(r"# (?:noqa|fmt: |type: ignore)", path.read_text())) for path in files) < 60


def test_licence__is_in_the_package():
    text = (ROOT / "src" / "sixdof" / "LICENSE.txt").read_text()
    assert text.startswith("MIT License") and 'license-files = ["src/sixdof/LICENSE.txt"]' in (ROOT / "pyproject.toml").read_text()
