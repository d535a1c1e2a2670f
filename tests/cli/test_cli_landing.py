"""The verb landing: a page, GeoJSON, KML, figures and the rail map from a mission or from an ensemble that was flown."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sixdof.cli import main
from sixdof.cli.codes import BAD_INPUT, OK

FIELD = str(Path(__file__).parents[2] / "configs" / "lake-orrin-field.geojson")


def test_landing__writes_page_maps_and_figures(demo_path, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    arguments = ["landing", str(demo_path), "--field", FIELD, "--flights", "12", "--people-distance", "50 m", "--ceiling", "900 m", "--quiet"]
    arguments += ["--out-geojson", "a.geojson", "--out-kml", "a.kml", "--out", "a.nc", "--figures", "figures", "--criterion", "apogee_height > 100 m in 50 %"]
    arguments += ["--rail-map", "2", "--rail-azimuth", "75 deg", "255 deg", "--rail-elevation", "86 deg"]
    assert main(arguments) == OK
    page = capsys.readouterr().out
    assert "Where it lands: " in page and "a piece climbs above 900 m" in page and "Which way to lean the rail" in page and "pass" in page
    assert json.loads((tmp_path / "a.geojson").read_text())["type"] == "FeatureCollection"
    assert "<kml" in (tmp_path / "a.kml").read_text() and (tmp_path / "a.nc").exists()
    assert {path.name for path in (tmp_path / "figures").iterdir()} == {"landing.png", "rail-map.png"}
    assert main(arguments) == BAD_INPUT and "exists" in capsys.readouterr().err


def test_landing__of_an_ensemble_that_was_flown(demo_path, tmp_path, capsys):
    flights = tmp_path / "flights.nc"
    assert main(["disperse", str(demo_path), "--flights", "6", "--out", str(flights), "--quiet"]) == OK
    assert main(["landing", str(flights), "--field", FIELD, "--waiver", "3 km"]) == OK
    assert "6 flights drawn as the mission says" in capsys.readouterr().out
    assert main(["landing", str(flights), "--set", "rail.length=3"]) == BAD_INPUT and "is flown already" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ([], "say how many flights"),
        (["--flights", "3", "--field", "none.geojson"], "none.geojson cannot be read"),
        (["--flights", "3", "--failing", "2"], "failing is for missions with"),
        (["--flights", "3", "--ceiling", "high"], "ceiling ="),
    ],
)
def test_landing__says_what_is_wrong(demo_path, capsys, more, words):
    assert main(["landing", str(demo_path), "--quiet", *more]) == BAD_INPUT
    found = capsys.readouterr().err
    assert words in found and "Traceback" not in found
