"""The verb card: its page, the sheet, the file, exit codes, bad input."""

from __future__ import annotations

import pytest
import xarray as xr

from sixdof.cli.codes import BAD_INPUT, NONE_PASSES, OK
from sixdof.cli.line import main

FEW = ["--flights", "4", "--seed", "1", "--quiet", "--directions", "0"]
EASY, HARD = "apogee_height > 100 m in 50 % of flights", "apogee_height > 9 km in 50 % of flights"


def test_card__page_sheet_and_file(demo_path, tmp_path, capsys):
    sheet, out, figures = tmp_path / "card.pdf", tmp_path / "card.nc", tmp_path / "figures"
    arguments = ["card", str(demo_path), *FEW, "--criterion", EASY, "--wind", "2 m/s from 250 deg", "--paper", "letter"]
    assert main([*arguments, "--sheet", str(sheet), "--out", str(out), "--figures", str(figures)]) == OK
    said = capsys.readouterr().out
    assert "GO in the wind measured now" in said and EASY in said
    assert sheet.read_bytes()[:5] == b"%PDF-" and (figures / "launch-card.png").stat().st_size > 10_000
    with xr.open_dataset(out) as ds:
        assert int(ds.decision) == 0 and ds.attrs["flights"] == 4
    assert main([*arguments, "--sheet", str(sheet)]) == BAD_INPUT
    assert "exists; give another name" in capsys.readouterr().err


def test_card__of_a_no_go(demo_path, capsys):
    assert main(["card", str(demo_path), *FEW, "--criterion", HARD, "--wind", "2 m/s from 250 deg"]) == NONE_PASSES
    assert "no single change within reach" in capsys.readouterr().out


@pytest.mark.parametrize(("option", "words"), [(["--wind", "2 m/s"], "is not a measured wind"), (["--sheet", "card.doc"], "must end with one of")])
def test_card__bad_input(option, words, demo_path, capsys):
    assert main(["card", str(demo_path), *FEW, "--criterion", EASY, *option]) == BAD_INPUT
    assert words in capsys.readouterr().err
