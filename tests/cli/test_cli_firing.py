"""The verb firing: logs in, page, thrust curve and figure out."""

from __future__ import annotations

from pathlib import Path

import pytest

from sixdof.cli import main
from sixdof.cli.codes import BAD_INPUT, OK

CONFIGS = Path(__file__).parents[2] / "configs"
LOGS = [str(CONFIGS / "firings" / f"mesa-i-{k}.csv") for k in (1, 2)]
SAID = ["--calibration", str(CONFIGS / "firings" / "cell.csv"), "--propellant", "270 g", "--stand", "nozzle up", "--air-pressure", "87.6 kPa"]


def test_firing__writes_page_curve_and_figure(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    arguments = ["firing", *LOGS, *SAID, "--mission", str(CONFIGS / "two-stage.toml"), "--motor", "mesa-i", "--out", "a.csv", "--figures", "out"]
    assert main(arguments) == OK
    page = capsys.readouterr().out
    assert "ANSWER: class I" in page and "The flight feels it" in page and "written: a.csv" in page
    text = (tmp_path / "a.csv").read_text()
    assert "# propellant_mass = 0.27 kg" in text and "# reference_pressure = 87600 Pa" in text and "time (s), thrust (N)" in text
    assert (tmp_path / "out" / "firing.png").exists()
    assert main(arguments) == BAD_INPUT and "exists" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([LOGS[0]], "holds counts; give a calibration"),
        (["none.csv"], "there is no such file"),
        ([LOGS[0], *SAID, "--units", "ms", "apples"], 'units: "apples"'),
        ([LOGS[0], *SAID, "--notch", "3 kg"], "notch"),
        ([LOGS[0], *SAID, "--motor", "mesa-i"], "give the mission too"),
    ],
)
def test_firing__bad_input_is_one_sentence(arguments, words, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["firing", *arguments]) == BAD_INPUT
    error = capsys.readouterr().err
    assert words in error and len(error.splitlines()) == 1
