"""The verb wind: its page, its figures, the file, and a sounding in place of the mission's wind."""

from __future__ import annotations

import pytest
import xarray as xr

from sixdof.cli.codes import BAD_INPUT, OK
from sixdof.cli.line import main

CRITERION = "rail_departure_incidence < 13 deg in 75 % of flights"
FEW = ["--flights", "4", "--seed", "1", "--quiet", "--criterion", CRITERION]
MORNING = "altitude (m),temperature (degC),speed (m/s),blows_from (deg)\n1250,18,2.5,240\n1400,18,5,250\n2500,9,10,275\n4500,-4,16,285\n"


def test_wind__page_figures_and_file(demo_path, tmp_path, capsys):
    arguments = ["wind", str(demo_path), *FEW, "--directions", "255 deg", "300 deg", "--out", str(tmp_path / "wind.nc"), "--figures", str(tmp_path / "figures")]
    assert main(arguments) == OK
    said = capsys.readouterr().out
    assert "WSW, 255 deg" in said and CRITERION in said and (tmp_path / "figures" / "wind-limit.png").stat().st_size > 10_000
    with xr.open_dataset(tmp_path / "wind.nc") as ds:
        assert ds.limit.sizes == {"direction": 2} and ds.attrs["flights"] == 4


def test_wind__of_a_sounding(demo_path, tmp_path, capsys):
    (tmp_path / "morning.csv").write_text(MORNING)
    assert main(["wind", str(demo_path), *FEW, "--flights", "2", "--directions", "1", "--sounding", str(tmp_path / "morning.csv")]) == OK
    said = capsys.readouterr().out
    assert "N, 0 deg" in said and "sounding" in said
    assert "2.7 m/s from 241 deg" not in said  # one direction, north, is no neighbour of the sounding's


@pytest.mark.slow
def test_wind__of_a_sounding_and_the_rail(demo_path, tmp_path, capsys):
    (tmp_path / "morning.csv").write_text(MORNING)
    assert main(["wind", str(demo_path), *FEW, "--flights", "2", "--directions", "1", "--rail", "--sounding", str(tmp_path / "morning.csv")]) == OK
    said = capsys.readouterr().out
    assert "2.7 m/s from 241 deg" not in said  # one direction, north, is no neighbour of the sounding's
    assert "Wind from WSW, 241 deg" in said and "into the wind" in said


@pytest.mark.parametrize(
    ("option", "words"), [(["--highest", "9 m"], "highest"), (["--directions", "north"], "directions"), (["--sounding", "none.csv"], "none.csv")]
)
def test_wind__bad_input(option, words, demo_path, capsys):
    assert main(["wind", str(demo_path), *FEW, *option]) == BAD_INPUT
    assert words in capsys.readouterr().err
