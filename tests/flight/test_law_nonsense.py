"""Laws that write nonsense end the flight with a status and a sentence: which law, when, what; in Python, njit and C alike."""

from __future__ import annotations

import math
import shutil
import subprocess
from pathlib import Path

import nonsense_laws as laws
import numba
import numpy as np
import pytest

import sixdof
from sixdof.stats import Status

HERE = Path(__file__).parent
JITTED = pytest.mark.parametrize("jitted", [False, True])


def law_of(function, jitted):
    return numba.njit(function) if jitted else function


@JITTED
@pytest.mark.parametrize(
    ("function", "says"),
    [
        (laws.nan_demand, r"the control law nan_demand wrote nan for pitch \(command\[1\]\) at t = 1.01 s; it must be a finite number"),
        (laws.huge_demand, r"wrote -1e\+200 for yaw \(command\[2\]\) at t = 1.01 s; it must be a finite number"),
        (laws.no_such_canopy, r"wrote 7 for deploy \(command\[5\]\) at t = 1.01 s; the canopies of this vehicle are counted from 1 to 2"),
    ],
)
def test_control__that_writes_nonsense_is_told(demo_mission, function, says, jitted):
    with pytest.raises(sixdof.laws.LawError, match=says):
        sixdof.fly(demo_mission, control=law_of(function, jitted))


@JITTED
@pytest.mark.parametrize(("function", "length"), [(laws.zero_quaternion, "0"), (laws.long_quaternion, "0.99")])
def test_guidance__whose_quaternion_is_no_attitude_is_told(demo_mission, function, length, jitted):
    says = rf"the guidance law {function.__name__} wrote a quaternion of length {length} .* at t = 1.01 s; an attitude is one of length 1"
    with pytest.raises(sixdof.laws.LawError, match=says):
        sixdof.fly(demo_mission, guidance=law_of(function, jitted))


def test_guidance__whose_quaternion_is_rounded_flies_on(demo_mission):
    assert sixdof.fly(demo_mission, guidance=numba.njit(laws.nearly_unit)).status == Status.LANDED


def test_ensemble__nonsense_is_a_row_with_that_status(demo_mission):
    ds = sixdof.disperse(demo_mission, 2, seed=5, threads=1, control=numba.njit(laws.nan_demand), progress=False)
    assert (ds.status.values == Status.LAW_NONSENSE).all()
    assert ds.flight_time.values == pytest.approx(1.01, abs=1e-9)
    assert ds.status.attrs["flag_meanings"].split()[Status.LAW_NONSENSE] == "law_nonsense"
    assert "law_nonsense" not in sixdof.report(ds) and Status.LAW_NONSENSE.sentence[:50] in sixdof.report(ds)


def test_rehearsal__nonsense_is_told_too(demo_mission):
    with pytest.raises(sixdof.laws.LawError, match="nan_demand wrote nan for pitch"):
        sixdof.rehearse(demo_mission, control=numba.njit(laws.nan_demand))


# ---------------------------------------------------------------- beyond one's own arrays


@JITTED
def test_bounds__of_memory_are_checked_at_every_call(demo_mission, jitted):
    with pytest.raises(IndexError, match="70"):
        sixdof.fly(demo_mission, control=law_of(laws.beyond_memory, jitted))


def test_bounds__a_jitted_helper_of_the_law_is_found_out_after_the_flight(demo_mission):
    with pytest.raises(sixdof.laws.LawError, match=r"the control law beyond_memory_in_a_helper wrote memory\[70\], outside its 64 numbers"):
        sixdof.fly(demo_mission, control=numba.njit(laws.beyond_memory_in_a_helper))


@pytest.mark.skipif(shutil.which("gcc") is None, reason="no C compiler")
def test_bounds__a_c_law_is_found_out_after_the_flight(demo_mission, tmp_path):
    target = tmp_path / "overrun.so"
    subprocess.run(["gcc", "-O2", "-shared", "-fPIC", str(HERE / "overrun.c"), "-o", str(target)], check=True)
    law = sixdof.laws.CLaw(target, "overrun")
    with pytest.raises(sixdof.laws.LawError, match=r"the guidance law overrun wrote memory\[70\], outside its 64 numbers"):
        sixdof.fly(demo_mission, guidance=law)
    ds = sixdof.disperse(demo_mission, 2, seed=5, threads=1, control=law, progress=False)
    assert (ds.status.values == Status.LAW_NONSENSE).all()


# ---------------------------------------------------------------- what a law returns


@JITTED
def test_returned__anything_but_nothing_is_refused(demo_mission, jitted):
    says = "the control law returns_three returned 3; a law writes into command and returns nothing, or 0"
    with pytest.raises(sixdof.laws.LawError, match=says):
        sixdof.fly(demo_mission, control=law_of(laws.returns_three, jitted))


def test_returned__an_array_is_refused_before_the_flight_where_numba_knows(demo_mission):
    with pytest.raises(sixdof.laws.LawError, match=r"the control law returns_command: it returns array.*returns nothing, or 0"):
        sixdof.fly(demo_mission, control=numba.njit(laws.returns_command))
    with pytest.raises(sixdof.laws.LawError, match="the control law returns_command returned array.*returns nothing, or 0"):
        sixdof.fly(demo_mission, control=laws.returns_command)


# ---------------------------------------------------------------- laws that are none


@pytest.mark.parametrize(
    ("make", "kind", "says"),
    [
        (lambda: sixdof.laws.Law(3), TypeError, "Law: function must be a function law"),
        (lambda: sixdof.laws.Law(laws.nan_demand, memory=-1), ValueError, "Law: memory = -1 must be a whole number from 0 to 1000000"),
        (lambda: sixdof.laws.Law(laws.nan_demand, memory=2.5), ValueError, "memory = 2.5 must be a whole number"),
        (lambda: sixdof.laws.Law(laws.nan_demand, gains=[[1.0, 2.0]]), ValueError, r"gains = \[\[1.0, 2.0\]\] must be a list of finite numbers"),
        (lambda: sixdof.laws.Law(laws.nan_demand, gains=3.0), ValueError, "gains = 3 must be a list of finite numbers"),
        (lambda: sixdof.laws.Law(laws.nan_demand, gains=[math.nan]), ValueError, "must be a list of finite numbers"),
        (lambda: sixdof.laws.Law(laws.nan_demand, gains="high"), ValueError, 'gains = "high" must be a list'),
        (lambda: sixdof.laws.CLaw(None, "hold"), TypeError, "CLaw: path must be the path of a shared library, not None"),
        (lambda: sixdof.laws.CLaw("hold.so", 3), TypeError, "CLaw: name must be the name of a function in it, not 3"),
        (lambda: sixdof.laws.CLaw("hold.so", "hold", memory="64"), ValueError, 'CLaw: memory = "64" must be a whole number'),
    ],
)
def test_law__that_is_none_is_refused_in_a_sentence(make, kind, says):
    with pytest.raises(kind, match=says):
        make()


def test_law__gains_may_be_an_array():
    assert sixdof.laws.Law(laws.nan_demand, gains=np.array([1.0, 2.0])).gains.size == 2
