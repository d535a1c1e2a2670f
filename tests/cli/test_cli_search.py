"""The verb search: a page, strips, maps for a phone and figures from an ensemble that was flown."""

from __future__ import annotations

import sixdof
from sixdof.cli import main
from sixdof.cli.codes import BAD_INPUT, OK


def test_search__writes_page_maps_and_figures(demo_ensemble, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sixdof.save(demo_ensemble, "flights.nc")
    first = ["search", "flights.nc", "--cell", "25 m", "--declination", "11 deg", "--last-fix", "38.001, -116.999", "--quiet"]
    assert main([*first, "--hours", "1", "--cover", "open", "--out-geojson", "a.geojson", "--out-gpx", "a.gpx", "--out-kml", "a.kml"]) == OK
    page = capsys.readouterr().out
    assert "ANSWER: walk strip 1, " in page and "deg by compass" in page and "from the last fix" in page
    assert main([*first, "--walked", "a.gpx", "--cover", "open", "--out", "b.nc", "--figures", "figures"]) == OK
    assert "found by now" in capsys.readouterr().out and (tmp_path / "figures" / "search-1.png").exists() and (tmp_path / "b.nc").exists()
    assert main([*first, "--hours", "1"]) == BAD_INPUT and "say what it was like to look there" in capsys.readouterr().err
    assert main([*first, "--out-gpx", "a.gpx"]) == BAD_INPUT and "a.gpx exists" in capsys.readouterr().err
