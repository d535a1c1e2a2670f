"""Fuzzed mission files end with a flight of finite numbers, a status, or clear faults; never an error from inside, a hang or a crash."""

from __future__ import annotations

import pytest
from fuzz_batch import run_apart, run_here
from fuzz_judge import attempt

import sixdof

SEED = 11
LIMIT = 60.0  # s a case: MOST_STEPS of the solver take a minute or two, and those scaled here come nowhere near


@pytest.mark.parametrize(("name", "count"), [("missions.text", 40), ("missions.tables", 40), ("missions.scaled", 12), ("missions.flown", 8)])
def test_some(name, count, tmp_path):
    ends = run_here(name, SEED, count, tmp_path)
    assert ends.total() == count and set(ends) & {"loaded", "landed"} and (name == "missions.flown" or "refused" in ends)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "count"), [("missions.text", 4000), ("missions.tables", 4000), ("missions.scaled", 1000), ("missions.flown", 400)])
def test_many(name, count):
    ends, bad = run_apart(name, SEED, count, LIMIT)
    assert not bad, "\n".join(bad)
    assert ends.total() == count and len(ends) > 1


# ---------------------------------------------------------------- what fuzzing found once

DEEP = "a." * 400 + "b = 1"
FOUND = {
    "a line end in a key": ('[rail]\n"a\\nb" = 1\n', r"key a\nb: unknown key"),
    "a mark that turns the text round": ('[rail]\n"\\u202e" = 1\n', r"key \u202e: unknown key"),
    "a key without an end": (f"[rail]\n{'x' * 3000} = 1\n", " ...: unknown key"),
    "very deep tables": (DEEP, "the tables: are too deeply nested"),
    "decibels": ('[rail]\nlength = "3 m"\nfriction = "1 dB"\n', '"1 dB"'),
    "a square beyond all floats": ("[rail]\nlength = 1e200\n", "1e+200 is far too large"),
    "an inverse beyond all floats": ("[rail]\nlength = 1e-310\n", "is far too small"),
    "ground above the air": ('[site]\nlatitude = 0.0\naltitude = "45 km"\n', "45000 m is not an altitude of the ground"),
    "no text at all": ("=", "the text: is not valid TOML"),
}


@pytest.mark.parametrize("name", FOUND)
def test_found__is_refused_in_one_clear_line(name, tmp_path, demo_mission):
    text, sentence = FOUND[name]
    if name == "ground above the air":
        how, error = attempt(lambda: demo_mission.change({"site.altitude": "45 km"}))
    else:
        how, error = attempt(lambda: sixdof.parts.loads_mission(text))
    assert how == "refused" and sentence in str(error)


def test_found__a_dictionary_that_holds_itself():
    tables: dict = {}
    tables["site"] = tables
    how, error = attempt(lambda: sixdof.parts.build_mission(**tables))
    assert how == "refused" and "the tables: are too deeply nested" in str(error)


ENDLESS = {
    "steps": ({"autopilot.rate": 1e5, "solver.time_limit": 1e4}, "steps, more than 1e+08"),
    "rows": ({"autopilot.rate": 1e4, "record.rate": 1e4}, "rows of the log, more than 5e+05"),
}


@pytest.mark.parametrize("name", ENDLESS)
def test_found__a_flight_without_an_end_is_refused(demo_mission, name):
    changes, sentence = ENDLESS[name]
    how, error = attempt(lambda: demo_mission.change(changes | {"servo.delay": 0.0}))
    assert how == "refused" and sentence in str(error)


AIR = {
    "temperature": ({"air.temperature": 43.5}, "air.temperature: 43.5 K is not a temperature of the site"),
    "pressure": ({"air.pressure": 44e3}, "air.pressure: 44000 Pa is not a pressure of the site"),
}


@pytest.mark.parametrize("name", AIR)
def test_found__air_that_no_weather_explains_is_a_fault_of_the_mission(demo_mission, name):
    changes, sentence = AIR[name]
    how, error = attempt(lambda: sixdof.fly(demo_mission.change(changes | {"disperse": {}})))
    assert how == "refused" and sentence in str(error)


def test_found__a_long_list_of_what_would_be_right_is_cut(demo_mission):
    how, error = attempt(lambda: demo_mission.change({"disperse": {"motor.unknown": {"sd": 0.1}}}))
    assert how == "refused" and "motor.unknown" in str(error)


def test_found__a_harness_that_parts_where_nothing_is_ahead_of_it(stack_mission):
    how, _ = attempt(lambda: sixdof.fly(stack_mission.change({"harness.drogue.separation_station": "0.8 mm"})))
    assert how in ("done", "refused")
