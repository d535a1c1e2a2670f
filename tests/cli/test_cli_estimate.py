"""The verb `estimate`."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import sixdof
from sixdof.cli import main
from sixdof.cli.codes import BAD_INPUT, OK

DEMO = str(Path(__file__).parents[2] / "configs" / "sampler.toml")


@pytest.fixture(scope="module")
def folder(demo_flight, tmp_path_factory):
    """A log of the demo's own flight, with noise, and its column map."""
    where = tmp_path_factory.mktemp("estimate")
    sixdof.postflight.log_of(demo_flight, where / "flown.csv", what=["height", "velocity"], rate=5.0, until=4.0, noise={"height": 0.5, "velocity": 0.2})
    return where


def test_estimate__prints_its_page_and_writes_figure_and_fragment(folder, capsys):
    how = ["--columns", str(folder / "flown.csv.toml"), "--of", "aero.drag", "--of", "motor.impulse", "--prior", "aero.drag=10 %", "--alone", "--quiet"]
    out = ["--out", str(folder / "found.toml"), "--figures", str(folder), "--keep", str(folder / "turns.json")]
    assert main(["estimate", DEMO, str(folder / "flown.csv"), *how, *out]) == OK
    said = capsys.readouterr().out
    assert "ANSWER: aero.drag is " in said and "(before: 1.00 +- 0.10)" in said
    assert (folder / "estimate.png").exists() and (folder / "turns.json").exists()
    assert tomllib.loads((folder / "found.toml").read_text())["disperse"]["aero.drag"]["sd"] < 0.1


@pytest.mark.parametrize(
    "more, says",
    [
        ([], "estimate: say what to estimate, such as --of aero.drag"),
        (["--of", "aero.drag", "--prior", "aero.drag"], 'estimate: --prior "aero.drag": write NAME=SD'),
        (["--of", "aero.drag", "--hold-back", "--quiet"], "hold_back: one flight is held back and the others are asked: give two logs or more"),
    ],
)
def test_estimate__says_in_one_sentence_what_is_wrong(folder, capsys, more, says):
    assert main(["estimate", DEMO, str(folder / "flown.csv"), "--columns", str(folder / "flown.csv.toml"), *more]) == BAD_INPUT
    assert says in capsys.readouterr().err
