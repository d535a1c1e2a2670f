"""Missions to start from: each flies as it is written, safely, and disperses."""

from __future__ import annotations

import importlib.util
import warnings
from pathlib import Path

import numpy as np
import pytest

import sixdof
from sixdof.mission.explain.templates import TEMPLATES, new_mission
from sixdof.results.status import Status
from sixdof.study.loops.margins import holds
from sixdof.study.report.cautions import cautions
from sixdof.study.report.mission_cautions import mission_cautions


@pytest.fixture(scope="module", params=TEMPLATES)
def kind(request):
    return request.param


@pytest.fixture(scope="module")
def mission(kind):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return sixdof.parts.loads_mission(new_mission(kind), folder="/nowhere")  # no file beside it


def test_template__says_that_it_is_invented_and_what_to_change_first(kind):
    text = new_mission(kind)
    assert "EVERYTHING HERE IS INVENTED" in text and "never a clearance to fly" in text and text.count("CHANGE FIRST") >= 4
    assert max(map(len, text.splitlines())) <= 160


def test_template__loads_in_silence_and_raises_no_caution(mission):
    assert mission_cautions(mission) == []


def test_template__flies_as_written(mission):
    ds = sixdof.fly(mission)
    assert int(ds["status"]) == Status.LANDED and cautions(ds) == []
    # stated again, from the numbers alone: off the rail at four times the wind's few m/s and more, stable throughout, under a canopy
    assert float(ds["rail_departure_speed"]) > 20.0 and float(ds["rail_departure_incidence"]) < np.radians(10.0)
    assert 1.0 < float(ds["static_margin_min"]) < 3.0
    assert 300.0 < float(ds["apogee_height"]) < 2500.0 and float(ds["mach_max"]) < 0.8
    assert (ds["body_landing_ground_speed"] < 7.0).all()  # 6 m/s down in 3 m/s of wind
    assert np.isfinite(ds["line_stretch_airspeed"]).all()  # every canopy opened


def test_template__disperses_and_every_flight_comes_down(mission):
    ds = sixdof.disperse(mission, 30, seed=5, progress=False)
    assert (ds["status"] == Status.LANDED).all()
    assert float(ds["static_margin_min"].min()) > 1.0 and float(ds["rail_departure_speed"].min()) > 18.0
    nominal = np.flatnonzero(ds["branch"].values == "nominal")
    assert len(nominal) >= 25 and [text for text in cautions(ds.isel(flight=nominal)) if "descent rate" not in text] == []


def test_canards__gains_hold_the_margins_their_comment_promises():
    mission = sixdof.parts.loads_mission(new_mission("canards"))
    found = sixdof.loops.margins(sixdof.loops.linearise(mission, points=12))
    assert "6 dB and 45 deg hold" in new_mission("canards") and bool(holds(found, 6.0, np.radians(45.0)).all())


def test_two_stages__separate_ignite_and_fail_as_asked():
    mission = sixdof.parts.loads_mission(new_mission("two-stages"))
    ds = sixdof.fly(mission, failures=["no_separation: curlew"])
    assert "ignite" in ds["rule"].values and not np.isfinite(float(ds["rule_fired"].sel(rule="ignite")))
    fired = sixdof.fly(mission)["rule_fired"]
    assert float(fired.sel(rule="separate")) < float(fired.sel(rule="ignite")) - 0.4


def test_new_mission__is_package_data_and_named_after_the_file_written(tmp_path):
    path = tmp_path / "mine.toml"
    text = new_mission("canards", path)
    assert path.read_text(encoding="utf-8") == text and "check mine.toml" in text and "canards.toml" not in text
    assert sixdof.load_mission(path).title == sixdof.parts.loads_mission(new_mission("canards")).title
    found = Path(importlib.util.find_spec("sixdof").origin).parent / "mission" / "templates"
    assert {file.stem for file in found.glob("*.toml")} == set(TEMPLATES)


def test_new_mission__refuses_in_one_sentence(tmp_path):
    (tmp_path / "mine.toml").write_text("mine")
    with pytest.raises(FileExistsError, match="exists, and is not replaced"):
        new_mission("single", tmp_path / "mine.toml")
    assert (tmp_path / "mine.toml").read_text() == "mine"
    with pytest.raises(FileNotFoundError, match="make it first"):
        new_mission("single", tmp_path / "no" / "mine.toml")
    with pytest.raises(ValueError, match='did you mean "single"'):
        new_mission("singel")
    with pytest.raises(TypeError, match="path of the file"):
        new_mission("single", 3)
