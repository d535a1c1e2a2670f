"""`python -m sixdof rehearse`: what it prints, writes and returns."""

from __future__ import annotations

import numpy as np
import pytest
from rehearsed import profile
from staged import stack

import sixdof
from sixdof.cli import BAD_INPUT, MISFIRED, OK, main


@pytest.fixture(scope="module")
def path(demo_mission, tmp_path_factory):
    failures = [{"kind": "no_separation", "of": "booster", "probability": 0.1}]
    path = tmp_path_factory.mktemp("rehearse") / "stack.toml"
    path.write_text(stack(demo_mission, failures=failures).to_toml())
    return path


@pytest.fixture(scope="module")
def script(tmp_path_factory):
    path = tmp_path_factory.mktemp("script") / "climb.csv"
    columns = profile()
    rows = "\n".join(",".join(f"{value:.6f}" for value in row) for row in np.column_stack(list(columns.values())))
    path.write_text(",".join(columns) + "\n" + rows)
    return path


def test_rehearse__prints_writes_and_returns_0(path, script, tmp_path, capsys):
    out = tmp_path / "rehearsal.nc"
    assert main(["rehearse", str(path), "--script", str(script), "--out", str(out), "--figures", str(tmp_path)]) == OK
    printed = capsys.readouterr().out
    assert "light fires: ignite thistledown" in printed and "nothing misfired" in printed
    assert (tmp_path / "rehearsal.png").stat().st_size > 10_000
    assert float(sixdof.open_result(out)["rule_fired"].sel(rule="light")) == pytest.approx(2.81)
    assert main(["rehearse", str(path), "--script", str(script), "--out", str(out)]) == BAD_INPUT
    assert "exists" in capsys.readouterr().err


def test_rehearse__a_misfire_returns_1(path, script, capsys):
    assert main(["rehearse", str(path), "--script", str(script), "--fail", "no_separation: booster"]) == MISFIRED
    assert "thistledown is never ignited" in capsys.readouterr().out


def test_rehearse__a_flight_on_disk_and_the_altimeter_of_a_stage(path, tmp_path, capsys):
    flown = tmp_path / "flight.nc"
    assert main(["fly", str(path), "--out", str(flown)]) == OK
    assert main(["rehearse", str(path), "--stage", "booster"]) == OK
    assert "rehearsal of booster's altimeter" in capsys.readouterr().out
    assert main(["rehearse", str(path), "--script", str(flown)]) == MISFIRED  # in the air the backup comes before apogee
    assert "deploy drogue: backup fires" in capsys.readouterr().out


def test_rehearse__bad_input_is_one_sentence(path, tmp_path, capsys):
    (tmp_path / "bad.csv").write_text("time, heigth\n0, 0\n1, 1\n")
    assert main(["rehearse", str(path), "--script", str(tmp_path / "bad.csv")]) == BAD_INPUT
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and 'did you mean "height"?' in error
