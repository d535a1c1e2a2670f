"""`python -m sixdof margins` and `python -m sixdof tune`: what they print, write and return."""

from __future__ import annotations

import math
import tomllib

import pytest

import sixdof
from sixdof.cli import BAD_INPUT, INTERRUPTED, NOT_MET, OK, main
from sixdof.study.loops.margins import margin_report
from sixdof.study.uncertainty.margin_spread import margin_spread, robust_margins, spread_report

POINTS, FEW = ("--points", "8"), ("--points", "4")
FIGURES = {"modes", "margins"} | {f"{kind}-{channel}" for kind in ("bode", "nichols", "margin-spread") for channel in ("pitch", "roll")}


def names(folder):
    return {path.stem for path in folder.glob("*.png") if path.stat().st_size > 10_000}


@pytest.fixture(scope="module")
def nominal(demo_mission):
    return sixdof.loops.margins(sixdof.loops.linearise(demo_mission, points=8))


@pytest.fixture(scope="module")
def spread(demo_mission):
    """What the command flies for --flights 3 --seed 1 with 8 points: half as many of a drawn flight."""
    return margin_spread(demo_mission, 3, seed=1, points=4, progress=False)


# ---------------------------------------------------------------- margins


def test_margins__prints_the_report_of_the_nominal_flight(demo_path, nominal, capsys):
    assert main(["margins", str(demo_path), *POINTS]) == NOT_MET
    printed = capsys.readouterr().out
    assert printed == margin_report(nominal) + "\n" and "NOT met" in printed


@pytest.mark.slow
def test_margins__drawn_flights_are_judged_where_asked(demo_path, nominal, spread, tmp_path, capsys):
    """A phase margin between the nominal flight's and that of a drawn one holds without --flights, and not with them."""
    own = float(nominal["phase_margin"].sel(broken_at="actuator").min())
    drawn = float(robust_margins(spread)["worst_phase_margin"].min())
    assert drawn < own - math.radians(1.0)  # or no requirement fits between them
    asked = ["margins", str(demo_path), *POINTS, "--gain-margin", "1", "--phase-margin", str(math.degrees(0.5 * (own + drawn)))]
    assert main(asked) == OK
    assert "met everywhere" in capsys.readouterr().out
    assert main([*asked, "--flights", "3", "--seed", "1", "--quiet", "--figures", str(tmp_path / "out")]) == NOT_MET
    captured = capsys.readouterr()
    assert spread_report(spread, gain_db=1.0, phase=0.5 * (own + drawn)) in captured.out and "met everywhere" in captured.out
    assert "flight/s" not in captured.err  # no bar
    assert names(tmp_path / "out") == FIGURES and all(f"out/{name}.png" in captured.out for name in FIGURES)


def test_margins__what_all_flights_bear_returns_0(demo_path, capsys):
    asked = ["margins", str(demo_path), *POINTS, "--gain-margin", "0", "--phase-margin", "0", "--flights", "3", "--seed", "1", "--quiet"]
    assert main(asked) == OK
    assert "met by 100.0 % of the flights" in capsys.readouterr().out


@pytest.mark.parametrize("finished", [0, 1])
def test_margins__interrupted(finished, demo_path, spread, monkeypatch, capsys):
    def stopped(*_, **__):
        return spread.isel(flight=slice(0, finished)).assign_attrs(interrupted=f"{finished} of 3 flights are finished")

    monkeypatch.setattr("sixdof.loops.margin_spread", stopped)
    assert main(["margins", str(demo_path), *POINTS, "--flights", "3", "--quiet"]) == INTERRUPTED
    captured = capsys.readouterr()
    assert "interrupted" in (captured.out if finished else captured.err)


@pytest.mark.parametrize(
    "arguments, said",
    [
        (["--points", "0"], "points = 0"),
        (["--flights", "0"], "flights = 0"),
        (["--flights", "2", "--seed", "-1"], "seed = -1"),
        (["--gain-margin", "-1"], "--gain-margin -1"),
        (["--phase-margin", "200"], "180 deg"),
        (["--phase-margin", "nan"], "--phase-margin nan"),
    ],
)
def test_margins__wrong_numbers_are_one_sentence(arguments, said, demo_path, capsys):
    assert main(["margins", str(demo_path), *arguments]) == BAD_INPUT
    captured = capsys.readouterr()
    assert said in captured.err and captured.err.count("\n") == 1 and not captured.out


def test_margins__no_control_fins(demo_path, tmp_path, capsys):
    path = tmp_path / "fixed.toml"
    text = demo_path.read_text().replace('"motors/', f'"{demo_path.parent}/motors/')
    path.write_text(text.replace("control = true", "control = false"))
    assert main(["margins", str(path), *POINTS]) == BAD_INPUT
    assert "control = true" in capsys.readouterr().err


# ---------------------------------------------------------------- tune


def test_tune__prints_writes_and_its_gains_hold(demo_path, demo_mission, tmp_path, capsys):
    """The file holds what Python gives; put into the mission, `margins` finds the requirement met."""
    out = tmp_path / "gains.toml"
    asked = ["tune", str(demo_path), *POINTS, "--schedule", "scale", "--phase-margin", "46", "--out", str(out)]
    assert main([*asked, "--figures", str(tmp_path)]) == OK
    printed = capsys.readouterr().out
    same = sixdof.tune(demo_mission, {"phase_margin_deg": 46.0, "schedule": "scale"}, points=8)
    assert printed.startswith(str(same)) and f"written: {out}" in printed
    assert out.read_text() == same.fragment()
    assert names(tmp_path) == {"tuning-pitch", "tuning-roll"}

    assert main(asked) == BAD_INPUT
    captured = capsys.readouterr()
    assert "exists" in captured.err and not captured.out  # refused before the work
    assert out.read_text() == same.fragment()

    keys = tomllib.loads(out.read_text())["autopilot"]
    changed = demo_mission.change({f"autopilot.{key}": value for key, value in keys.items()})
    (tmp_path / "tuned.toml").write_text(changed.to_toml())
    assert main(["margins", str(tmp_path / "tuned.toml"), *POINTS, "--phase-margin", "46"]) == OK


@pytest.mark.slow
def test_tune__holds_on_drawn_flights_and_overwrites(demo_path, tmp_path, capsys):
    out = tmp_path / "gains.toml"
    out.write_text("old")
    arguments = ["--schedule", "scale", "--hold-on", "3", "1", "--seed", "2", "--out", str(out), "--overwrite"]
    assert main(["tune", str(demo_path), *FEW, *arguments]) == OK
    printed = capsys.readouterr().out
    assert "hold at every point of the drawn flight 3" in printed and "hold at every point of the drawn flight 1" in printed
    assert "and its drawn flights 3, 1" in out.read_text() and "schedule" not in tomllib.loads(out.read_text())["autopilot"]


def test_tune__margins_that_no_gains_have_return_1(demo_path, capsys):
    assert main(["tune", str(demo_path), *FEW, "--schedule", "none", "--gain-margin", "25", "--phase-margin", "80"]) == NOT_MET
    assert "asked for do NOT hold" in capsys.readouterr().out


def test_tune__a_bandwidth_out_of_reach_returns_1(demo_path, capsys):
    """The servos of the demo turn at 57 rad/s: no loop of theirs follows at 200."""
    assert main(["tune", str(demo_path), *FEW, "--schedule", "scale", "--bandwidth", "200"]) == NOT_MET
    printed = capsys.readouterr().out
    assert "pitch and yaw: the 200 rad/s asked for are NOT reached" in printed and "roll: the 200 rad/s asked for are NOT reached" in printed


@pytest.mark.parametrize(
    "arguments, said",
    [
        (["--gain-margin", "-1"], "gain_margin_db"),
        (["--phase-margin", "91"], "at most 90"),
        (["--bandwidth", "0"], "bandwidth"),
        (["--rows", "1"], "rows = 1"),
        (["--hold-on", "-3"], "flight = -3"),
        (["--points", "0"], "points = 0"),
        (["--out", "no/such/folder.toml"], "does not exist"),
    ],
)
def test_tune__wrong_input_is_one_sentence(arguments, said, demo_path, capsys):
    assert main(["tune", str(demo_path), *arguments]) == BAD_INPUT
    captured = capsys.readouterr()
    assert said in captured.err and captured.err.count("\n") == 1 and not captured.out


def test_tune__never_over_the_mission_file(demo_path, tmp_path, capsys):
    path = tmp_path / "mission.toml"
    path.write_text(demo_path.read_text().replace('"motors/', f'"{demo_path.parent}/motors/'))
    before = path.read_text()
    assert main(["tune", str(path), "--out", str(path), "--overwrite"]) == BAD_INPUT
    assert "mission file itself" in capsys.readouterr().err and path.read_text() == before


def test_tune__a_schedule_that_there_is_not(demo_path, capsys):
    with pytest.raises(SystemExit) as stop:
        main(["tune", str(demo_path), "--schedule", "height"])
    assert stop.value.code == BAD_INPUT and "dynamic_pressure" in capsys.readouterr().err


# ---------------------------------------------------------------- help


@pytest.mark.parametrize("arguments", [[], ["margins"], ["tune"]])
def test_help__names_the_commands_and_ends_with_the_caution(arguments, capsys):
    with pytest.raises(SystemExit) as stop:
        main([*arguments, "--help"])
    text = " ".join(capsys.readouterr().out.split())
    assert stop.value.code == OK and "never a clearance to fly" in text
    if arguments:
        assert f"sixdof {arguments[0]}" in text and "--gain-margin DB" in text and "--figures FOLDER" in text
    else:
        assert ",margins,tune," in text and "sixdof margins configs/" in text and "sixdof tune configs/" in text
