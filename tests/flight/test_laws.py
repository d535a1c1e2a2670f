"""Laws of one's own in plain Python, njit and C: the same bits, once per tick, errors shown as the user's own."""

from __future__ import annotations

import math
import shutil
import subprocess
import traceback
from pathlib import Path

import hold_law
import numba
import numpy as np
import pytest

import sixdof
from sixdof._jit import lend
from sixdof.core import layout
from sixdof.core.layout import COMMANDED, COMMANDED_SIZE, Ending
from sixdof.core.leg.work import make_events, make_log, make_summary
from sixdof.flight.laws import CONTROL, Bound, Laws, as_law, bind, layout_table

HERE = Path(__file__).parent
GAINS = hold_law.GAINS
EXACT = 1e-12  # relative: a few roundings of numbers near one
FORMS = ("python", "njit", "c")
needs_gcc = pytest.mark.skipif(shutil.which("gcc") is None, reason="no C compiler")
FORM = [pytest.param(form, marks=needs_gcc if form == "c" else ()) for form in FORMS]


@pytest.fixture(scope="session")
def library(tmp_path_factory):
    """hold.c as a shared library."""
    target = tmp_path_factory.mktemp("laws") / "hold.so"
    command = ["gcc", "-O2", "-Wall", "-Werror", "-ffp-contract=off", "-shared", "-fPIC", str(HERE / "hold.c"), "-o", str(target)]
    subprocess.run(command, check=True)
    return target


@pytest.fixture
def law_of(request):
    """A function that returns the hold law in one of its forms."""

    def make(form, gains=GAINS):
        if form == "c":
            return sixdof.laws.CLaw(request.getfixturevalue("library"), "hold", gains=gains)
        return sixdof.laws.Law(hold_law.hold if form == "python" else numba.njit(hold_law.hold), gains=gains)

    return make


def bare(ds):
    return ds.drop_attrs(deep=False)


@needs_gcc
def test_forms__the_whole_dataset_to_the_bit(demo_mission, law_of):
    flights = [sixdof.fly(demo_mission, control=law_of(form)) for form in FORMS]
    assert float(flights[0].tilt_error_coast_rms) < math.radians(5.0)  # the law does steer
    assert np.abs(flights[0].fin_command.values).max() > math.radians(1.0)
    for other in flights[1:]:
        assert bare(other).identical(bare(flights[0]))


def test_count__exactly_once_a_tick(demo_mission):
    """The demand in the log is 1e-6 times the number of calls so far; one call a tick, the first at t = 0."""
    mission = demo_mission.change({"record.rate": demo_mission.autopilot.rate})
    calls = []

    def counted(t, sensed, memory, gains, command):
        calls.append(t)
        hold_law.count(t, sensed, memory, gains, command)

    ds = sixdof.fly(mission, control=counted)
    period = 1.0 / mission.autopilot.rate
    rows = ds.phase.values < 4  # before the canopy, under which the computer runs slower
    ticks = np.round(ds.time.values[rows] / period)
    assert np.array_equal(ticks, np.arange(rows.sum()))
    live = ds.pitch_demand.values[rows]
    assert live == pytest.approx(1e-6 * (ticks + 1.0), rel=EXACT)
    assert len(set(calls)) == len(calls) and calls[0] == 0.0
    assert np.diff(calls[: rows.sum()]) == pytest.approx(period, rel=1e-9)


def test_memory__is_kept_and_zero_when_a_flight_starts(demo_mission):
    """`count` raises if its memory is not empty at the first tick; three flights share one set of arrays."""
    from sixdof.core.flight import fly as core
    from sixdof.draws.packed import kernel_draw
    from sixdof.flight.model import build_model

    model = build_model(demo_mission)
    laws = bind(None, numba.njit(hold_law.count))
    work = laws.make_work(model)
    summary = make_summary()
    seen = []
    for _ in range(3):
        status, _, _ = core.fly(lend(model), lend(kernel_draw(demo_mission)), lend(work), make_log(model, 0), make_events(model), summary)
        assert status == Ending.LANDED
        seen.append(work.memory[0])
    assert seen[0] > 1000.0 and len(set(seen)) == 1


def test_memory__as_much_as_the_law_asks_for(demo_mission):
    sizes = []

    def law(t, sensed, memory, gains, command):
        sizes.append((sensed.size, memory.size, gains.size, command.size))

    sixdof.fly(demo_mission, control=sixdof.laws.Law(law, memory=200, gains=[1.0, 2.0, 3.0]))
    assert set(sizes) == {(len(layout.SENSED), 200, 3, layout.DEMAND_SIZE)}
    sizes.clear()
    sixdof.fly(demo_mission, guidance=sixdof.laws.Law(law, memory=100))
    assert set(sizes) == {(len(layout.SENSED), 100, 0, COMMANDED_SIZE)}


def test_control__direct_angles_fins_and_canopy_of_its_own(demo_mission):
    """No rule of the mission is left: the law alone makes the fins live, centres them and opens the main canopy."""
    angles = np.radians([3.0, -20.0, 1.0, 0.5])
    mission = demo_mission.change({"rule": [], "recovery": []})
    ds = sixdof.fly(mission, control=sixdof.laws.Law(numba.njit(hold_law.direct), gains=angles))
    live = ds.sel(time=slice(1.0, float(ds.apogee_time) - 0.1))
    travel = mission.servo.deflection_limit
    assert live.fin_command.values == pytest.approx(np.tile(np.clip(angles, -travel, travel), (live.sizes["time"], 1)), rel=EXACT)
    assert float(ds.saturation_share) == 1.0  # fin 2 is asked beyond its stop
    times = ds.event_time.isel(body=0)
    start = float(times.sel(event="fins_enabled"))
    assert 0.5 < start < 0.6
    opened = times.sel(event="deployment main")
    assert float(opened) == pytest.approx(float(ds.apogee_time), abs=0.02)  # a tick and a bit
    assert np.isnan(times.sel(event="deployment drogue"))
    assert float(times.sel(event="fins_disabled")) == pytest.approx(float(opened), abs=1e-9)


@pytest.mark.parametrize("jitted", [False, True])
def test_guidance__of_ones_own(demo_mission, jitted):
    """Nose up, leaned east by 4 deg: body x = (sin 4 deg, 0, cos 4 deg) in east, north, up."""
    law = numba.njit(hold_law.lean) if jitted else hold_law.lean
    ds = sixdof.fly(demo_mission, guidance=sixdof.laws.Law(law, gains=[math.radians(4.0)]))
    azimuth = demo_mission.rail.azimuth
    flown = ds.sel(time=slice(1.0, float(ds.apogee_time)))
    # tilts are angles in the vertical planes along and across the azimuth (75 deg): small-angle parts of 4 deg to the east
    assert np.degrees(flown.commanded_pitch.values) == pytest.approx(4.0 * math.sin(azimuth), abs=0.01)
    assert np.degrees(flown.commanded_yaw.values) == pytest.approx(4.0 * math.cos(azimuth), abs=0.01)
    coast = ds.sel(time=slice(5.0, 8.0))
    assert np.degrees(coast.tilt_pitch.values).mean() == pytest.approx(4.0 * math.sin(azimuth), abs=1.5)  # the loop's own error


# ---------------------------------------------------------------- errors


def test_error__of_plain_python_is_the_users_own(demo_mission):
    with pytest.raises(ZeroDivisionError, match="my own trouble") as caught:
        sixdof.fly(demo_mission, control=sixdof.laws.Law(hold_law.fail_late, gains=[1.0]))
    assert caught.value.__notes__ == ["in the law fail_late at t = 1.01 s"]
    frames = traceback.extract_tb(caught.value.__traceback__)
    assert frames[-1].name == "fail_late" and frames[-1].filename == hold_law.__file__


def test_error__of_njit_is_the_users_own_run_again(demo_mission):
    law = sixdof.laws.Law(numba.njit(hold_law.fail_late), gains=[1.0])
    with pytest.raises(ZeroDivisionError, match="my own trouble") as caught:
        sixdof.fly(demo_mission, guidance=law)
    frames = traceback.extract_tb(caught.value.__traceback__)
    assert frames[-1].name == "fail_late" and frames[-1].filename == hold_law.__file__


def test_error__of_njit_that_does_not_come_again(demo_mission):
    """The compiled law has changed its memory by the time its plain form runs: then the sentence stands alone."""

    @numba.njit
    def once(t, sensed, memory, gains, command):
        memory[0] += 1.0
        if memory[0] == 5.0:
            raise ValueError("never shown")

    with pytest.raises(sixdof.laws.LawError, match=r"the law once returned the status 1 at t = 0.04 s"):
        sixdof.fly(demo_mission, control=once)


@needs_gcc
def test_error__of_c_says_the_law_its_status_and_the_time(demo_mission, law_of):
    with pytest.raises(sixdof.laws.LawError, match="the law hold returned the status 7 at t = 0 s"):
        sixdof.fly(demo_mission, control=law_of("c", gains=(-1.0, 0.0, 0.0, 0.0)))


@pytest.mark.parametrize("slot", ["guidance", "control"])
def test_signature__wrong_in_python(demo_mission, slot):
    with pytest.raises(TypeError, match="takes 2 positional arguments"):
        sixdof.fly(demo_mission, **{slot: hold_law.wrong})


@pytest.mark.parametrize("slot", ["guidance", "control"])
def test_signature__wrong_in_njit(demo_mission, slot):
    with pytest.raises(sixdof.laws.LawError, match=rf"the {slot} law wrong: it must be law\(t, sensed, memory, gains, command\)"):
        sixdof.fly(demo_mission, **{slot: numba.njit(hold_law.wrong)})


def test_no_law__is_a_sentence(demo_mission, tmp_path):
    with pytest.raises(TypeError, match="control must be a function law.*not int"):
        sixdof.fly(demo_mission, control=3)
    with pytest.raises(sixdof.laws.LawError, match="cannot be loaded as a shared library"):
        sixdof.fly(demo_mission, control=sixdof.laws.CLaw(tmp_path / "no.so", "hold"))


@needs_gcc
def test_no_function__in_the_library(demo_mission, library):
    with pytest.raises(sixdof.laws.LawError, match='has no function "hald"'):
        sixdof.fly(demo_mission, control=sixdof.laws.CLaw(library, "hald"))


# ---------------------------------------------------------------- ensembles


@needs_gcc
def test_ensemble__threads_and_processes_give_the_same_bits(demo_mission, law_of):
    """A plain law flies in processes, njit and C in threads; 10 flights are two blocks."""
    flights = [sixdof.disperse(demo_mission, 10, seed=5, threads=2, control=law_of(form), progress=False) for form in FORMS]
    assert np.unique(flights[0].apogee_height.values).size == 10
    for other in flights[1:]:
        assert bare(other).identical(bare(flights[0]))


@pytest.mark.parametrize("jitted", [False, True])
def test_ensemble__a_law_that_fails_is_a_row_with_that_status(demo_mission, jitted):
    law = sixdof.laws.Law(numba.njit(hold_law.fail_late) if jitted else hold_law.fail_late, gains=[1.0])
    ds = sixdof.disperse(demo_mission, 3, seed=5, threads=1, control=law, progress=False)
    assert (ds.status.values == Ending.LAW_FAILED).all()
    assert ds.flight_time.values == pytest.approx(1.01, abs=1e-9)


@pytest.mark.parametrize("form", FORM)
def test_crew__picks_processes_for_plain_python_alone(demo_mission, law_of, form):
    from sixdof.ensemble.block_runner import BlockRunner

    assert BlockRunner(demo_mission, control=law_of(form)).plain == (form == "python")


# ---------------------------------------------------------------- layouts


def test_layout_table__names_every_number_once():
    text = layout_table()
    for names in (layout.SENSED, COMMANDED, layout.DEMAND):
        for i, name in enumerate(names):
            assert f"\n  {i:>2}  {name} " in text
    rows = [line for line in text.splitlines() if line[:4].strip().isdigit()]
    assert len(rows) == len(layout.SENSED) + len(COMMANDED) + len(layout.DEMAND)
    assert all(len(row.split(maxsplit=3)) == 4 for row in rows)
    assert max(map(len, text.splitlines())) <= 120


def test_as_law__takes_what_is_one():
    law = sixdof.laws.Law(hold_law.hold, gains=[1.0])
    assert as_law(law, CONTROL) is law and as_law(None, CONTROL) is None
    assert isinstance(bind(None, None), Laws) and isinstance(law.bind(CONTROL), Bound)
    assert as_law(hold_law.hold, CONTROL).name == "hold"
