"""The option --flown: what a verb flies is kept in a folder, and the same command does not fly it again."""

from __future__ import annotations

import pytest

from sixdof.cli import main
from sixdof.ensemble import block_runner

WIND = ["wind", "configs/sampler.toml", "--directions", "90 deg", "--flights", "8", "--highest", "4 m/s", "--threads", "1", "--quiet"]


def test_flown__is_not_flown_again(tmp_path, capsys, monkeypatch):
    folder = tmp_path / "flown"
    assert main([*WIND, "--flown", str(folder)]) == 0
    first = capsys.readouterr().out
    assert list(folder.glob("*.zarr"))
    fly = block_runner.FlightRunner.fly
    many = []
    monkeypatch.setattr(block_runner.FlightRunner, "fly", lambda self, draws, *a, **b: (many.append(len(draws.common)), fly(self, draws, *a, **b))[1])
    assert main([*WIND, "--flown", str(folder)]) == 0
    assert capsys.readouterr().out == first
    assert max(many, default=0) <= 1  # one flight alone tells how long a flight takes


def test_flown__that_is_a_file_is_bad_input(tmp_path, capsys):
    (tmp_path / "file").write_text("")
    assert main([*WIND, "--flown", str(tmp_path / "file")]) == 2
    assert "is a file; give the folder in which flights are kept" in capsys.readouterr().err


@pytest.mark.parametrize("verb", ["weathercock", "motors", "wind", "landing", "card"])
def test_flown__goes_with_every_verb_that_flies_much_before_a_flight(verb, capsys):
    with pytest.raises(SystemExit):
        main([verb, "--help"])
    assert "--flown FOLDER" in capsys.readouterr().out
