"""Fuzzed arguments of the public functions: each is accepted, or refused by a sentence that names it."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from fuzz_arguments import FUZZERS, SOUND_BODY, demo
from fuzz_batch import run_apart, run_here
from fuzz_judge import complaints

import sixdof
import sixdof.plot

SEED, LIMIT = 14, 60.0


@pytest.mark.parametrize("name", FUZZERS)
def test_some(name, tmp_path):
    assert run_here(f"arguments.{name}", SEED, 25, tmp_path).total() == 25


@pytest.mark.slow
@pytest.mark.parametrize("name", FUZZERS)
def test_many(name):
    ends, bad = run_apart(f"arguments.{name}", SEED, 300, LIMIT)
    assert not bad, "\n".join(bad)
    assert ends.total() == 300


# ---------------------------------------------------------------- what fuzzing found, one case each

EMPTY = xr.Dataset()
SCRIPT = {"time": [0.0, 1.0], "baro_height": [0.0, 10.0]}


@pytest.mark.parametrize(
    ("call", "kind", "text"),
    [
        (lambda: sixdof.fly_body(**SOUND_BODY | {"step": None}), ValueError, "step = None must be a finite number"),
        (lambda: sixdof.fly_body(**SOUND_BODY | {"longitude": None}), ValueError, "longitude = None must be a finite number"),
        (lambda: sixdof.fly_body(**SOUND_BODY | {"area": EMPTY}), ValueError, "area = .* must be a finite number"),
        (lambda: sixdof.fly_body(**SOUND_BODY | {"mass": len}), ValueError, "mass = a Python .* must be numbers"),
        (lambda: sixdof.fly_body(**SOUND_BODY | {"inertia": [1.0, 2.0, 4.0]}), ValueError, "inertia: no body has"),
        (lambda: sixdof.fly_body(**SOUND_BODY | {"earth": np.array(["flat", "wgs84"])}), ValueError, "earth = .* must be one of"),
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
        (lambda: sixdof.open_result(__file__), ValueError, "path: .* is no netCDF file, or is damaged"),
        (lambda: sixdof.plot.plot_track([1.0]), TypeError, r"plot_track: ds must be a Dataset .* not \[1.0\]"),
        (lambda: sixdof.plot.plot_fan("x"), TypeError, 'plot_fan: ds must be a Dataset .* not "x"'),
        (lambda: sixdof.plot.plot_rehearsal(0), TypeError, "plot_rehearsal: ds must be a Dataset"),
        (lambda: sixdof.plot.plot_trim(None), ValueError, "plot_trim needs the result of sixdof.study.authority.trim"),
        (lambda: sixdof.plot.draw_vehicle(EMPTY), TypeError, "draw_vehicle: mission must be a sixdof.Mission"),
    ],
)  # fmt: skip
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
    with pytest.raises(ValueError, match="is no netCDF file, or is damaged"):
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
