"""Fuzzed arguments of the public functions: each is accepted, or refused by a sentence that names it."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from fuzz_arguments import FUZZERS, SOUND_BODY, demo
from fuzz_batch import run_apart, run_here
from fuzz_judge import attempt, complaints
from fuzz_loops import FUZZERS as OF_LOOPS
from fuzz_loops import LOOP_PLOTS, STUDIES, call_of

import sixdof
import sixdof.plot
from sixdof.study.loops import describing, frozen, limit_cycle, linear, loop, margins
from sixdof.study.tuning import gain_map
from sixdof.study.uncertainty import margin_spread

EVERY = [*(f"arguments.{name}" for name in FUZZERS), *(f"loops.{name}" for name in OF_LOOPS)]
SEED, LIMIT = 14, 60.0
BRIEF = {"arguments.body": 5}  # a second each


@pytest.mark.parametrize("name", EVERY)
def test_some(name, tmp_path):
    count = BRIEF.get(name, 25)
    assert run_here(name, SEED, count, tmp_path).total() == count


@pytest.mark.slow
@pytest.mark.parametrize("name", EVERY)
def test_many(name):
    ends, bad = run_apart(name, SEED, 300, LIMIT)
    assert not bad, "\n".join(bad)
    assert ends.total() == 300


@pytest.mark.slow
@pytest.mark.parametrize("vehicle", ["slender", "canard", "three-stage"])
@pytest.mark.parametrize("name", EVERY)
def test_many__of_vehicles_nobody_tuned(name, vehicle, monkeypatch):
    if name.startswith("loops.") and vehicle != "canard":
        pytest.skip("it has no loops")
    monkeypatch.setenv("FUZZ_VEHICLE", vehicle)
    ends, bad = run_apart(name, SEED, 60, LIMIT)
    assert not bad, "\n".join(bad)
    assert ends.total() == 60


# ---------------------------------------------------------------- what fuzzing found, one case each

EMPTY = xr.Dataset()
SCRIPT = {"time": [0.0, 1.0], "baro_height": [0.0, 10.0]}


@pytest.mark.parametrize(
    ("call", "kind", "text"),
    [
        (lambda: sixdof.aero.fly_body(**SOUND_BODY | {"step": None}), ValueError, "step = None must be a finite number"),
        (lambda: sixdof.aero.fly_body(**SOUND_BODY | {"longitude": None}), ValueError, "longitude = None must be a finite number"),
        (lambda: sixdof.aero.fly_body(**SOUND_BODY | {"area": EMPTY}), ValueError, "area = .* must be a finite number"),
        (lambda: sixdof.aero.fly_body(**SOUND_BODY | {"mass": len}), ValueError, "mass = a Python .* must be numbers"),
        (lambda: sixdof.aero.fly_body(**SOUND_BODY | {"inertia": [1.0, 2.0, 4.0]}), ValueError, "inertia: no body has"),
        (lambda: sixdof.aero.fly_body(**SOUND_BODY | {"earth": np.array(["flat", "wgs84"])}), ValueError, "earth = .* must be one of"),
        (lambda: sixdof.disperse(EMPTY, 2), TypeError, "disperse: mission must be a sixdof.Mission"),
        (lambda: sixdof.disperse(demo(), 2, first=2**32 - 1), ValueError, "flights = 2 must be a whole number from 1 to 1"),
        (lambda: sixdof.disperse(demo(), 2, seed="x"), ValueError, 'seed = "x" must be a whole number'),
        (lambda: sixdof.disperse(demo(), 2, sampling=np.zeros(2)), ValueError, "sampling = .* must be one of random, latin, sobol"),
        (lambda: sixdof.disperse(demo(), 2, until=5), TypeError, "until = 5 must be a function"),
        (lambda: sixdof.disperse(demo(), 2, out=5), TypeError, "out must be the path .* not 5"),
        (lambda: sixdof.disperse(demo(), 2, out=""), ValueError, "out = .* must be the name of a file or folder"),
        (lambda: sixdof.rehearse({}, SCRIPT), TypeError, "rehearse: mission must be a sixdof.Mission"),
        (lambda: sixdof.rehearse(demo(), SCRIPT, stage=np.zeros(2)), TypeError, "stage: array.* must be the name of a stage"),
        (lambda: sixdof.rehearse(demo(), SCRIPT, expect=[1]), TypeError, r"expect: \[1\] must be a mapping"),
        (lambda: sixdof.rehearse(demo(), SCRIPT, expect={3: None}), TypeError, "expect: 3 must be the name of a rule"),
        (lambda: sixdof.rehearse(demo(), SCRIPT | {3: [1, 2]}), ValueError, "script: 3 is nothing a flight computer senses"),
        (lambda: sixdof.rehearse(demo(), xr.Dataset({"sensed": ("x", [1.0])})), ValueError, r"script: .* sensed must go along \(time, reading\)"),
        (lambda: sixdof.refly(None, 0), ValueError, "refly takes an ensemble for ds"),
        (lambda: sixdof.save([1], "x.nc"), TypeError, r"save: ds must be a Dataset .* not \[1\]"),
        (lambda: sixdof.save(EMPTY, 5), TypeError, "path must be the path of a file or folder"),
        (lambda: sixdof.save(EMPTY, "a" * 5000), ValueError, "path = .* cannot be read or written"),
        (lambda: sixdof.open_result(None), TypeError, "path must be the path of a file or folder"),
        (lambda: sixdof.open_result("\0"), ValueError, "path = .* cannot be read or written"),
        (lambda: sixdof.open_result("no/such.nc"), FileNotFoundError, "path: there is no file or folder"),
        (lambda: sixdof.open_result(__file__), ValueError, "path: .* is not a netCDF file, or is damaged"),
        (lambda: sixdof.stats.make_draws(3, 2), TypeError, "make_draws: mission must be a sixdof.Mission"),
        (lambda: sixdof.stats.make_draws(demo(), 2, seed="x"), ValueError, 'make_draws: seed = "x" must be a whole number'),
        (lambda: sixdof.stats.make_draws(demo(), 2, first=-1), ValueError, "make_draws: first = -1 must be a whole number from 0"),
        (lambda: sixdof.stats.make_draws(demo(), 2, sampling=[1]), ValueError, r"make_draws: sampling = \[1\] must be one of random, latin, sobol"),
        (lambda: sixdof.compare({"a": demo()}, 1, laws="x"), TypeError, 'compare: laws must be a dictionary, .* not "x"'),
        (lambda: sixdof.compare({"a": demo()}, 1, out=3), TypeError, "compare: out must be the path .* not 3"),
        (lambda: sixdof.compare({"a": demo()}, 1, keep=3), TypeError, "compare: keep must be a list of names of variables, not 3"),
        (lambda: sixdof.parts.motor_variants(demo(), [1]), TypeError, r"motor_variants: folder must be the path of a folder, .* not \[1\]"),
        (lambda: sixdof.parts.motor_variants(demo(), 1), TypeError, "motor_variants: folder must be the path of a folder, .* not 1"),
        (lambda: sixdof.parts.loads_mission("", folder=3), TypeError, "loads_mission: folder must be the path .* not 3"),
        (lambda: sixdof.parts.build_mission(folder=3), TypeError, "build_mission: folder must be the path .* not 3"),
        (lambda: sixdof.Mission(3), TypeError, "Mission takes its tables by name, .* not 3"),
        (lambda: sixdof.Mission(rail=3), sixdof.MissionError, "rail: 3 is not a table"),
        (lambda: sixdof.plot.plot_track([1.0]), TypeError, r"plot_track: ds must be a Dataset .* not \[1.0\]"),
        (lambda: sixdof.plot.plot_fan("x"), TypeError, 'plot_fan: ds must be a Dataset .* not "x"'),
        (lambda: sixdof.plot.plot_rehearsal(0), TypeError, "plot_rehearsal: ds must be a Dataset"),
        (lambda: sixdof.plot.plot_trim(None), ValueError, "plot_trim needs the result of sixdof.aero.trim"),
        (lambda: sixdof.plot.draw_vehicle(EMPTY), TypeError, "draw_vehicle: mission must be a sixdof.Mission"),
    ],
)
def test_one_clear_sentence(call, kind, text):
    with pytest.raises(kind, match=text) as caught:
        call()
    assert not list(complaints(caught.value))


def test_damaged_file(tmp_path):
    """Most of this file is a compressed coordinate, broken in its middle: it opens, and fails while it is read."""
    path = tmp_path / "damaged.nc"
    noise = np.random.default_rng(1).normal(size=100_000)
    raw = bytearray(sixdof.save(xr.Dataset(coords={"time": noise}), path).read_bytes())
    middle = len(raw) // 2
    raw[middle : middle + 1000] = bytes(1000)
    path.write_bytes(raw)
    with pytest.raises(ValueError, match="is not a netCDF file, or is damaged"):
        sixdof.open_result(path)


def test_figures_say_what_is_missing():
    flight, flights = sixdof.fly(demo()), sixdof.disperse(demo(), 3, progress=False)
    for function, ds, name in (
        (sixdof.plot.plot_track, flight, "event_height"),
        (sixdof.plot.plot_attitude_error, flight, "tilt_yaw"),
        (sixdof.plot.plot_bodies, flight, "event_north"),
        (sixdof.plot.plot_timeline, flight, "body_status"),
        (sixdof.plot.plot_landing, flights, "status"),
        (sixdof.plot.plot_ensemble, flights, "event_time"),
    ):
        with pytest.raises(ValueError, match=f"{function.__name__} needs {name}, which this result does not hold"):
            function(ds.drop_vars(name))


# ---------------------------------------------------------------- the same of loops

REFUSED_WHEN_SOUND = {  # "tune" by a vehicle that costs no time, the table for no points, the report for what is not a table
    "tuning.tune.tune": "no control fins",
    "loops.limit_cycle.limit_cycle_table": "no point is named",
    "loops.limit_cycle.limit_cycle_report": "needs the result",
}


@pytest.mark.parametrize("where", [where for family in STUDIES.values() for where in family])
def test_sound_arguments_are_taken(where):
    """So that what the fuzzers see refused was refused for its odd argument, and not for those beside it."""
    sound = next(family[where][0] for family in STUDIES.values() if where in family)
    if where in REFUSED_WHEN_SOUND:
        with pytest.raises(ValueError, match=REFUSED_WHEN_SOUND[where]):
            call_of(where)(**sound())
    else:
        assert attempt(lambda: call_of(where)(**sound()), ())[0] == "done"


def test_the_fuzzed_names_are_those_there_are():
    import inspect

    for family in STUDIES.values():
        for where, (sound, more) in family.items():
            assert {*sound(), *more.split()} <= {*inspect.signature(call_of(where)).parameters}, where
    for name, (_, more) in LOOP_PLOTS.items():
        assert {*more.split()} <= {*inspect.signature(getattr(sixdof.plot, name)).parameters}, name


@pytest.fixture(scope="module")
def models():
    return sixdof.loops.linearise(demo(), at=[2.0, 5.0])


@pytest.mark.parametrize(
    ("call", "kind", "text"),
    [
        (lambda m: linear.linearise(demo(), step="x"), ValueError, 'linearise: step = "x" must be between'),
        (lambda m: linear.linearise(demo(), draw=3), TypeError, "linearise: draw = 3 must be a FlightDraw"),
        (lambda m: linear.linearise(demo(), points=10**40), ValueError, "linearise: points = .* must be a whole number from 1 up"),
        (lambda m: linear.state_space(m, 0, np.array(["pitch", "yaw"])), ValueError, "state_space: channel = array.* must be"),
        (lambda m: loop.open_loop(m, bending=40.0), TypeError, "open_loop: bending = 40 must be a BendingMode"),
        (lambda m: loop.closed_response([1]), ValueError, "closed_response needs the result of sixdof.loops.linearise"),
        (lambda m: loop.open_loop(m.drop_vars("gain_factor")), ValueError, "open_loop needs .* finds no gain_factor"),
        (lambda m: margins.margins(m, broken_at=-1), ValueError, "margins: broken_at = -1 must name some of actuator, attitude, rate"),
        (lambda m: margins.margins(m, bending="5 Hz"), TypeError, 'margins: bending = "5 Hz" must be a BendingMode'),
        (lambda m: margins.margins(m.drop_vars("incidence")), ValueError, "margins needs .* finds no incidence"),
        (lambda m: margins.margin_report(margins.margins(m), phase=45.0), ValueError, "margin_report: phase = 45 must be a number from 0 to 3.142"),
        (lambda m: margins.holds(margins.margins(m), "6 dB"), ValueError, 'holds: gain_db = "6 dB" must be a number'),
        (lambda m: margins.holds(margins.margins(m, broken_at="rate")), ValueError, "holds: these margins are not of loops broken at the actuator"),
        (lambda m: margins.worst_point(margins.margins(m), {}), ValueError, "worst_point: variable = .* must be the name of a margin"),
        (lambda m: margin_spread.margin_spread(demo(), 1, seed="x", progress=False), ValueError, 'margin_spread: seed = "x" must be a whole number'),
        (lambda m: margin_spread.margin_spread(demo(), len, progress=False), ValueError, "margin_spread: flights = a Python .* must be a whole"),
        (lambda m: margin_spread.margin_spread(demo(), 1, channels=5, progress=False), ValueError, "margin_spread: channels = 5 must name some of"),
        (
            lambda m: gain_map.gain_map(demo(), "autopilot.pitch.p", [0.1], "autopilot.pitch.d", [0.1], models=m, channel=np.zeros(2)),
            ValueError,
            "gain_map: channel = array.* must be",
        ),
        (lambda m: sixdof.tune(demo(), {"channels": 0.5}), ValueError, "tune: channels = 0.5 must name some of pitch, yaw, roll"),
        (lambda m: sixdof.tune(demo(), bending=40.0), TypeError, "tune: bending = 40 must be a BendingMode"),
        (lambda m: sixdof.tune(demo(), points="many"), ValueError, 'tune: points = "many" must be a whole number'),
        (lambda m: frozen.simulate_frozen(m, goal="up"), ValueError, 'simulate_frozen: goal is "up" at 0 s; it must be a finite number'),
        (lambda m: frozen.simulate_frozen(m, servo=3), TypeError, "simulate_frozen: servo = 3 must be changes of the servo"),
        (lambda m: limit_cycle.limit_cycles(m, channel=np.zeros(2)), ValueError, "limit_cycles: channel = array.* must be"),
        (lambda m: limit_cycle.simulated_cycle(m, starts=0.1), ValueError, "simulated_cycle: starts = 0.1 must be angles"),
        (lambda m: limit_cycle.simulated_cycle(m, starts=[0.1], period="1 s"), ValueError, 'simulated_cycle: period = "1 s" must be a number'),
        (lambda m: limit_cycle.limit_cycle_table(m, points=1.0), TypeError, "limit_cycle_table: points = 1 must be numbers of points"),
        (lambda m: describing.backlash("a", 0.1), ValueError, 'amplitude = "a" must be a number or an array of them'),
        (lambda m: describing.saturation(0.1, []), ValueError, r"limit = \[\] must be a number"),
        (lambda m: sixdof.plot.plot_steps(m, size_deg="5 deg"), ValueError, 'plot_steps: size_deg = "5 deg" must be a number'),
        (lambda m: sixdof.plot.plot_nyquist(m, required=6.0), ValueError, "plot_nyquist: required = 6 must be a pair"),
        (lambda m: sixdof.plot.plot_margins(margins.margins(m), required=(6.0, 45.0)), ValueError, "plot_margins: required: phase = 45 must be"),
    ],
)
def test_loops__one_clear_sentence(models, call, kind, text):
    with pytest.raises(kind, match=text) as caught:
        call(models)
    assert not list(complaints(caught.value))
