"""Cautions about a mission as it is written: each slip of typing is told, and the demos are silent."""

from __future__ import annotations

from pathlib import Path

import pytest

import sixdof
from sixdof.study.reading.page import row_of, worst
from sixdof.study.report.mission_cautions import mission_cautions

CONFIGS = Path(__file__).parents[3] / "configs"
NOISY = {"time": [0.0, 0.05, 1.0, 1.2, 3.0, 10.0], "thrust": [0.0, 270.0, 250.0, 0.6, 0.4, 0.5]}


@pytest.fixture(scope="module")
def demo():
    return sixdof.load_mission(CONFIGS / "sampler.toml")


@pytest.mark.parametrize("name", ["sampler", "two-stage", "waypoints"])
def test_demos__are_silent(name):
    assert mission_cautions(sixdof.load_mission(CONFIGS / f"{name}.toml")) == []


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"rail.elevation": "3 deg"}, "the rail stands 3 deg above the horizontal"),
        ({"rail.length": "1.2 m"}, "the rail, 1.2 m, is shorter than the vehicle, 1.3 m"),
        ({"stage.0.measured": {"mass": "5 g"}}, 'the measured mass of "thistledown" is 5 g, and its parts make'),
        ({"stage.0.measured": {"cg": "60 mm"}}, 'the measured centre of mass of "thistledown" is at 0.060 m'),
        ({"part.nose.length": "1.5 m"}, "the nose is 20 times as long as it is wide: check its length, 1.5 m"),
        ({"part.airframe.length": "6.9 m"}, "the vehicle is 100 times as long as it is wide"),
        ({"part.tail.semispan": "55 m"}, 'one panel of the fins "tail" spans 55 m, 733 diameters of the body'),
        ({"recovery.main.height": "20 m"}, '"main" is deployed at 20 m above the ground'),
        ({"part.main.diameter": "12.5 m"}, 'under "main" alone the stage "thistledown" comes down at'),
        ({"part.tail.control": False, "rule": []}, "the autopilot has gains, and no fins have control = true: nothing steers"),
        ({"part.airframe.name": "sampler bay"}, '2 parts of the stage "thistledown" are called "sampler bay"'),
        ({"part.mount.station": "0.8 m"}, 'the motor "playa-h" ends 0.212 m inside the body of "thistledown"'),
        ({"motor.playa-h.thrust_curve": NOISY}, 'the thrust curve of "playa-h" stays below 5 % of its peak from 1.19 s to its end at 10 s'),
        ({"disperse.aero.drag": {"mean": 0.45, "sd": 0.02}}, "aero.drag is drawn about 0.45, and is a factor on the axial force"),
        ({"disperse.motor.impulse": {"sd": 3}}, "motor.impulse is drawn with a standard deviation of 300 %: a factor's is a share of 1"),
    ],
)
def test_caution__of_a_slip(demo, changes, text):
    found = mission_cautions(demo.change(changes, shift=False))
    assert any(text in said for said in found), found


def test_curve__three_points_are_a_burn_to_the_end(demo):
    """Of straight lines 0, 120, 0 N the thrust stands above 5 % of its peak for all but the last 0.055 s."""
    coarse = {"motor.playa-h.thrust_curve": {"time": [0.0, 0.1, 1.2], "thrust": [0.0, 120.0, 0.0]}}
    assert mission_cautions(demo.change(coarse)) == []


def test_curve__a_recording_that_goes_on_after_the_burn_flies_as_the_burn(demo):
    """A load cell's trace clipped at zero, a minute long: burnout is where thrust ends, and the flight is that of the curve cut there."""
    time, thrust = [0.0, 0.05, 0.9, 1.1], [0.0, 300.0, 250.0, 0.0]
    clean = {"motor.playa-h.thrust_curve": {"time": time, "thrust": thrust}}
    noisy = {"motor.playa-h.thrust_curve": {"time": [*time, 1.2, 3.0, 3.1, 20.0, 20.1, 60.0], "thrust": [*thrust, 0.0, 2.0, 0.0, 1.0, 0.0, 0.0]}}
    flights = [sixdof.fly(demo.change(each)) for each in (clean, noisy)]
    assert flights[1].drop_attrs(deep=False).identical(flights[0].drop_attrs(deep=False))
    assert float(flights[1].event_time.isel(body=0).sel(event="burnout")) == pytest.approx(1.1, abs=1e-9)


def test_check__says_that_a_vehicle_with_its_fins_at_the_nose_is_unstable():
    text = sixdof.parts.new_mission("single")
    assert "UNSTABLE" not in sixdof.report(sixdof.parts.loads_mission(text))
    nose_fins = sixdof.parts.loads_mission(text).change({"part.tail.station": "100 mm"})
    assert '"sandpiper" is UNSTABLE: its static margin is -' in sixdof.report(nose_fins)


def test_refused__what_cannot_be(demo):
    with pytest.raises(sixdof.MissionError, match="part nose, key length: 270 m is 3.6e\\+03 times its diameter; a bare number is in m"):
        demo.change({"part.nose.length": 270.0}, shift=False)


def test_pages__check_and_flight_have_them(demo, capsys, tmp_path):
    from sixdof.cli import main

    low = demo.change({"rail.elevation": "55 deg"})
    assert "- the rail stands 55 deg above the horizontal" in sixdof.report(sixdof.fly(low))
    file = tmp_path / "low.toml"
    file.write_text(low.to_toml())
    assert main(["check", str(file)]) == 0
    assert "Cautions\n  - the rail stands 55 deg above the horizontal" in capsys.readouterr().out
    assert main(["check", str(CONFIGS / "sampler.toml")]) == 0
    assert "Cautions\n  no cautions raised about the file" in capsys.readouterr().out


# ---------------------------------------------------------------- numbers on a page


def test_worst__has_the_decimals_that_tell_it_from_its_limit(demo):
    import numpy as np
    import xarray as xr

    ds = xr.Dataset()
    assert worst(ds, np.array([6.1278]), "m/s", np.fmax, 6.1) == ", 6.13 m/s"
    assert worst(ds, np.array([6.1004]), "m/s", np.fmax, 6.1) == ", 6.1004 m/s"
    assert worst(ds, np.array([7.3]), "m/s", np.fmax, 6.1) == ", 7.3 m/s"


def test_row__has_no_negative_zero():
    import numpy as np
    import xarray as xr

    assert row_of(xr.Dataset(), "speed", "m/s", np.array([-0.001]), 2).split()[-1] == "0.00"
