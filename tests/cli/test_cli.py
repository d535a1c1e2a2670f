"""The command line: what a tired builder types."""

from __future__ import annotations

import subprocess
import sys
import unittest.mock

import pytest

import sixdof
from sixdof.cli import BAD_INPUT, NONE_PASSES, NOT_LANDED, OK, main


def test_check__describes_the_demo(demo_path, capsys):
    assert main(["check", str(demo_path)]) == OK
    out = capsys.readouterr().out
    assert "Thistledown" in out or "thistledown" in out


def test_check__wrong_file_is_one_sentence_a_fault(tmp_path, demo_path, capsys):
    path = tmp_path / "wrong.toml"
    text = demo_path.read_text().replace('"motors/', f'"{demo_path.parent}/motors/')
    path.write_text(text.replace("elevation", "elevatoin").replace('speed = "4 m/s"', 'speed = "4 kg"'))
    assert main(["check", str(path)]) == BAD_INPUT
    captured = capsys.readouterr()
    assert "Traceback" not in captured.err
    assert 'did you mean "elevation"?' in captured.err and "4 kg" in captured.err


def test_check__missing_file(tmp_path, capsys):
    assert main(["check", str(tmp_path / "none.toml")]) == BAD_INPUT
    assert "none.toml" in capsys.readouterr().err


def test_fly__prints_and_writes(demo_path, tmp_path, capsys):
    path = tmp_path / "flight.nc"
    assert main(["fly", str(demo_path), "--out", str(path), "--figures", str(tmp_path / "figures")]) == OK
    assert "written" in capsys.readouterr().out
    assert float(sixdof.open_result(path).apogee_height) > 100.0
    assert {p.name for p in (tmp_path / "figures").glob("*.png")} == {"vehicle.png", "flight.png", "timeline.png"}
    assert main(["fly", str(demo_path), "--out", str(path)]) == BAD_INPUT
    assert "exists" in capsys.readouterr().err


def test_disperse__writes_what_python_gives(demo_path, demo_mission, tmp_path, capsys):
    path = tmp_path / "flights.nc"
    arguments = ["disperse", str(demo_path), "--flights", "6", "--seed", "4", "--out", str(path), "--quiet"]
    assert main([*arguments, "--figures", str(tmp_path)]) == OK
    same = sixdof.disperse(demo_mission, 6, seed=4, progress=False)
    assert sixdof.open_result(path).drop_attrs(deep=False).identical(same.drop_attrs(deep=False))
    assert (tmp_path / "ensemble.png").stat().st_size > 10_000
    capsys.readouterr()


def test_fly__a_flight_that_does_not_land_has_its_own_code(demo_path, tmp_path, capsys):
    path = tmp_path / "short.toml"
    text = demo_path.read_text().replace('"motors/', f'"{demo_path.parent}/motors/')
    path.write_text(text + '\n[solver]\ntime_limit = "3 s"\n')
    assert main(["fly", str(path)]) == NOT_LANDED
    assert "time_limit" in capsys.readouterr().err


def test_compare__judges_motors_by_criteria(demo_path, tmp_path, capsys):
    motors = sorted((demo_path.parent / "motors").glob("playa-*.csv"))
    arguments = ["compare", str(demo_path), "--motors", *map(str, motors), "--flights", "20", "--seed", "2", "--quiet"]
    assert main([*arguments, "--criterion", "apogee_height > 100 m in 80 % of flights", "--figures", str(tmp_path / "f"), "--out", str(tmp_path / "c")]) == OK
    out = capsys.readouterr().out
    assert "playa-h" in out and "playa-i" in out and "pass" in out
    names = {"apogee_height", "landing", "apogee_height-paired", "verdicts", "first-criterion"}
    assert {p.stem for p in (tmp_path / "f").glob("*.png")} == names
    assert main([*arguments, "--criterion", "apogee_height > 9 km in 80 % of flights"]) == NOT_LANDED
    assert main([*arguments, "--criterion", "apogee_heigth > 9 km"]) == BAD_INPUT
    assert "did you mean" in capsys.readouterr().err


def test_motors__says_which_and_by_what_it_would_change(stack_path, tmp_path, capsys):
    prices = tmp_path / "prices.txt"
    prices.write_text("motor, price\nmesa-i, 48\nmesa-j, 61\n")
    motors = [str(stack_path.parent / "motors" / f"{name}.csv") for name in ("mesa-i", "mesa-j")]
    arguments = ["motors", str(stack_path), *motors, "--flights", "4", "--quiet", "--columns", str(prices), "--figures", str(tmp_path / "out")]
    kept = ["--out", str(tmp_path / "choice.nc")]
    assert main([*arguments, "--criterion", "rail_departure_speed > 20 m/s in 50 % of flights", "--prefer", "least price", *kept]) == OK
    assert "ANSWER: mesa-i" in sixdof.report(sixdof.open_result(tmp_path / "choice.nc"))
    said = capsys.readouterr().out
    assert "ANSWER: mesa-i. It meets the criterion; least price, 48, of the 2 that meet all." in said and (tmp_path / "out" / "motors.png").exists()
    assert main([*arguments, "--criterion", "rail_departure_speed > 200 m/s"]) == NONE_PASSES
    assert "ANSWER: no motor" in capsys.readouterr().out
    assert main([*arguments, "--limit", "propellant_mass=3 g"]) == NONE_PASSES
    assert main([*arguments, "--limit", "propellant_mass"]) == BAD_INPUT
    assert "write NAME=VALUE" in capsys.readouterr().err


def test_compare__two_earths_flown_once_each(demo_path, capsys):
    assert main(["compare", str(demo_path), "--vary", "site.earth", "flat", "wgs84"]) == OK
    flat, ball = (line.split() for line in capsys.readouterr().out.splitlines()[:7] if line.startswith("  earth "))
    assert (
        abs(float(ball[2]) - float(flat[2]) - float(ball[3])) < 1.5e-4 and 0.0 < abs(float(ball[3])) < 0.05
    )  # decimals printed; the kernel's own measure: 2 mm


@pytest.mark.parametrize("option", [["--criterion", "apogee_height > 1 m"], ["--out", "x"], ["--figures", "x"]])
def test_compare__what_needs_many_flights_says_so(option, demo_path, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["compare", str(demo_path), "--vary", "rail.length", "2 m", "4 m", *option]) == BAD_INPUT
    assert f"{option[0]} is about many flights; say how many with --flights" in capsys.readouterr().err and not list(tmp_path.iterdir())


def test_compare__values_of_a_key_on_the_same_draws(demo_path, capsys):
    assert main(["compare", str(demo_path), "--vary", "rail.length", "4 m", "--flights", "4", "--quiet"]) == OK
    out = capsys.readouterr().out
    assert "as written" in out and "length 4 m" in out
    assert main(["compare", str(demo_path), "--vary", "rail.length"]) == BAD_INPUT
    assert "a key and its values" in capsys.readouterr().err


def test_aero__prints_the_report_and_writes_figures(demo_path, demo_mission, tmp_path, capsys):
    from sixdof.study.aero.report import aero_report

    assert main(["aero", str(demo_path), "--figures", str(tmp_path / "figures")]) == OK
    out = capsys.readouterr().out
    assert out.startswith(aero_report(demo_mission)) and "hinge moment" in out
    written = {p.name for p in (tmp_path / "figures").glob("*.png")}
    assert written == {"drag.png", "stability.png", "authority.png", "trim.png", "hinge.png"}
    assert all(f"figures/{name}" in out for name in written)


def test_aero__missing_file(tmp_path, capsys):
    assert main(["aero", str(tmp_path / "none.toml")]) == BAD_INPUT
    assert "none.toml" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["check", "aero", "fly", "rehearse", "disperse"])
def test_help__ends_with_the_caution(command, capsys):
    with pytest.raises(SystemExit) as stop:
        main([command, "--help"])
    assert stop.value.code == OK
    assert "never a clearance to fly" in " ".join(capsys.readouterr().out.split())


def test_pipe__a_reader_that_goes_away_is_no_error(demo_path, tmp_path):
    """`... | head -1`: nothing is said of it, and the figures are written."""
    command = [sys.executable, "-m", "sixdof", "check", str(demo_path), "--figures", str(tmp_path / "out")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        process.stdout.close()
        said = process.stderr.read()
    assert (process.returncode, said) == (OK, "")
    assert (tmp_path / "out" / "vehicle.png").stat().st_size > 10_000


@pytest.mark.parametrize("inside", ["", "further"])
def test_figures__a_file_is_refused_before_anything_is_flown(demo_path, tmp_path, capsys, inside):
    file = tmp_path / "figure.png"
    file.write_bytes(b"mine")
    with unittest.mock.patch("sixdof.fly", side_effect=AssertionError("flown")):
        assert main(["fly", str(demo_path), "--figures", str(file / inside)]) == BAD_INPUT
    assert f"{file} is a file; name a folder" in capsys.readouterr().err
    assert file.read_bytes() == b"mine"


def test_fly__into_the_name_of_a_zarr_folder_is_refused_before_it_flies(demo_path, tmp_path, capsys):
    assert main(["fly", str(demo_path), "--out", str(tmp_path / "x.zarr")]) == BAD_INPUT
    said = capsys.readouterr()
    assert "names a zarr folder, and this is written as netCDF" in said.err and not said.out and not list(tmp_path.iterdir())
