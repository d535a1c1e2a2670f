"""`python -m sixdof built`: page, mission with what was measured, figures, ballast, keys."""

from __future__ import annotations

from pathlib import Path

import pytest

import sixdof
from sixdof.cli import main

ROOT = Path(__file__).parents[2]
FILES = ["built", str(ROOT / "configs/whinchat-readings.toml"), str(ROOT / "configs/two-stage.toml")]


def test_built__writes_a_mission_that_flies(tmp_path, capsys, stack_mission):
    out = tmp_path / "measured.toml"
    assert main([*FILES, "--out", str(out), "--figures", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "41.1 g more than the parts" in said and f"written: {out}" in said and "[stage.measured]" in said
    assert (tmp_path / "as-built.png").stat().st_size > 20_000
    mission = sixdof.load_mission(out)
    built = sixdof.workshop.as_built(stack_mission, FILES[1])
    assert mission == sixdof.workshop.with_measured(stack_mission, built)
    assert main([*FILES, "--out", str(out)]) == 2
    assert "the file exists; give another name, or --overwrite" in capsys.readouterr().err


@pytest.mark.slow
def test_built__ballast_that_is_out_of_reach_has_its_own_code(capsys):
    arguments = ["--margin", "6 calibres", "--flights", "1", "--threads", "1", "--quiet"]
    assert main([*FILES, *arguments]) == 1
    assert "Nothing in the nose" in capsys.readouterr().out


def test_built__keys(capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["built", "--keys"])
    assert stopped.value.code == 0
    assert "standard deviation of the station of each support" in capsys.readouterr().out


def test_built__faults_are_sentences(tmp_path, capsys):
    path = tmp_path / "r.toml"
    path.write_text('[[stage]]\nname = "whinchat"\n[stage.scales]\n')
    assert main(["built", str(path), FILES[2]]) == 2
    assert f'{path}: stage "whinchat", scales, key fore_support: missing' in capsys.readouterr().err
