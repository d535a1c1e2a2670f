"""`python -m sixdof new`, `keys`, `schema`, and what changes a mission on the command line: `--set`, `--fail`."""

from __future__ import annotations

import json
import re
import subprocess
import sys

import pytest
from jsonschema import Draft202012Validator

import sixdof
from sixdof.cli import BAD_INPUT, OK, main
from sixdof.cli.options import value_of
from sixdof.parts import keys


@pytest.fixture
def two_stages(tmp_path):
    path = tmp_path / "two.toml"
    assert main(["new", "two-stages", "--out", str(path)]) == OK
    return path


# ---------------------------------------------------------------- new, keys, schema


def test_new__writes_a_mission_that_is_checked_and_never_replaces(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "single"]) == OK
    assert "written: single.toml" in capsys.readouterr().out
    assert main(["check", "single.toml"]) == OK
    assert "static margin" in capsys.readouterr().out
    before = (tmp_path / "single.toml").read_text()
    assert main(["new", "single"]) == BAD_INPUT
    assert "exists, and is not replaced" in capsys.readouterr().err and (tmp_path / "single.toml").read_text() == before


def test_keys__prints_what_python_gives_and_suggests(capsys):
    assert main(["keys", "fins"]) == OK
    assert capsys.readouterr().out == f"{keys('fins')}\n"
    assert main(["keys"]) == OK
    assert "air.wind" in capsys.readouterr().out
    assert main(["keys", "fns"]) == BAD_INPUT
    captured = capsys.readouterr()
    assert 'did you mean "fins"?' in captured.err and captured.err.count("\n") == 1 and not captured.out


def test_schema__is_printed_or_written(tmp_path, capsys):
    assert main(["schema"]) == OK
    printed = json.loads(capsys.readouterr().out)
    Draft202012Validator.check_schema(printed)
    path = tmp_path / "sixdof.schema.json"
    assert main(["schema", "--out", str(path)]) == OK
    assert "#:schema sixdof.schema.json" in capsys.readouterr().out and json.loads(path.read_text()) == printed
    assert main(["schema", "--out", str(path)]) == BAD_INPUT
    assert "exists" in capsys.readouterr().err


def test_import__of_the_command_line_is_quick():
    """The verbs import what they need when they run: help must not wait for compilers."""
    code = "import sys, sixdof.cli; print([name for name in ('numba', 'xarray', 'matplotlib') if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# ---------------------------------------------------------------- --set, --fail


@pytest.mark.parametrize(
    "text, value",
    [
        ("4 m", "4 m"),
        ('"4 m"', "4 m"),
        ("0.3", 0.3),
        ("3", 3),
        ("true", True),
        ("wgs84", "wgs84"),
        ("[0 s, 2 s]", ["0 s", "2 s"]),
        ('["0 s", "2 s"]', ["0 s", "2 s"]),
        ("[0.4, 2.5]", [0.4, 2.5]),
        ("{ p = 0.3 }", {"p": 0.3}),
        ("", None),
        ("2020-01-01", "2020-01-01"),
    ],
)
def test_set__values_are_those_of_a_mission_file_quotes_or_not(text, value):
    assert value_of(text) == value and type(value_of(text)) is type(value)


def test_set__flies_the_mission_that_change_makes(demo_path, demo_mission, tmp_path, capsys):
    out = tmp_path / "flight.nc"
    asked = ["--set", "rail.length=4 m", "--set", "autopilot.profile.time=[0 s, 1 s, 2 s]", "--set", "site.earth=wgs84"]
    assert main(["fly", str(demo_path), *asked, "--out", str(out)]) == OK
    same = sixdof.fly(demo_mission.change({"rail.length": "4 m", "autopilot.profile.time": [0.0, 1.0, 2.0], "site.earth": "wgs84"}))
    assert sixdof.open_result(out).attrs["mission"] == same.attrs["mission"]
    assert float(sixdof.open_result(out)["apogee_height"]) == float(same["apogee_height"])


def test_set__nothing_behind_the_sign_leaves_a_key_out(demo_path, capsys):
    assert main(["check", str(demo_path), "--set", "air.wind="]) == OK
    assert re.search(r"speed m/s +0\.0 ", capsys.readouterr().out)


def test_fail__happens_for_certain(two_stages, tmp_path, capsys):
    out = tmp_path / "flight.nc"
    main(["fly", str(two_stages), "--fail", "no_separation: curlew", "--fail", "no_deployment: main", "--out", str(out)])
    assert str(sixdof.open_result(out)["branch"].values) == "no_separation: curlew + no_deployment: main"


@pytest.mark.parametrize("verb", ["check", "aero", "fly", "rehearse", "margins", "tune", "disperse --flights 2", "compare --flights 2 --motors x.csv"])
@pytest.mark.parametrize(
    "asked, said",
    [
        (["--set", "rail.lenght=4 m"], 'did you mean "length"?'),
        (["--set", "rail.length=4 kg"], "wrong unit"),
        (["--set", "rail.length"], "write KEY=VALUE"),
        (["--fail", "no_separaton: curlew"], 'did you mean "no_separation: curlew"?'),
    ],
)
def test_wrong_words__are_one_sentence_on_every_verb(verb, asked, said, two_stages, capsys):
    capsys.readouterr()
    assert main([*verb.split(), str(two_stages), *asked] if "motors" not in verb else ["compare", str(two_stages), *verb.split()[1:], *asked]) == BAD_INPUT
    captured = capsys.readouterr()
    assert said in captured.err and captured.err.count("\n") == 1 and not captured.out


def test_only__flies_one_stage_alone(two_stages, tmp_path, capsys):
    out = tmp_path / "flight.nc"
    assert main(["fly", str(two_stages), "--only", "plover", "--set", "rail.length=2 m", "--out", str(out)]) == OK
    assert 'stage "curlew"' in capsys.readouterr().err  # what belonged to the booster goes, and is named
    assert sixdof.open_result(out)["body"].values.tolist() == ["plover"]
    assert main(["fly", str(two_stages), "--only", "plovr"]) == BAD_INPUT
    assert 'did you mean "plover"?' in capsys.readouterr().err


def test_fail__of_a_mission_that_foresees_none(demo_path, capsys):
    assert main(["fly", str(demo_path), "--fail", "no_deployment: main"]) == BAD_INPUT
    assert "has no [[failure]] entries" in capsys.readouterr().err
