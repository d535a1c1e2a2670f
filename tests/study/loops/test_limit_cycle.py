"""Limit cycles of the attitude loops: what describing functions predict, against the same loops flown with the real servos."""

from __future__ import annotations

import math

import numpy as np
import pytest
from plain_gains import two_stages, waypoints

import sixdof
from sixdof.study.loops import describing
from sixdof.study.loops.frozen import simulate_frozen
from sixdof.study.loops.limit_cycle import limit_cycle_curves, limit_cycle_report, limit_cycle_table, limit_cycles, simulated_cycle
from sixdof.study.loops.linear import linearise
from sixdof.study.loops.loop import open_loop
from sixdof.study.loops.servo_cycles import Cycle, command_steps, largest

# Describing functions omit the higher harmonics: usually good to 10 or 20 % (Gelb and Vander Velde 1968, ch. 3). What is
# compared here was measured at 0.2 to 12 % in amplitude and 0.1 to 5 % in frequency.
AMPLITUDE, FREQUENCY = 0.15, 0.06
OTHERS = {"servo.backlash": 0.0, "servo.dead_band": 0.0}


@pytest.fixture(scope="module")
def models(demo_path):
    return linearise(waypoints(demo_path.parent), at=[4.8, 7.0, 9.2])


@pytest.fixture(scope="module")
def fast(stack_mission):
    """The two-stage demo's front stage, when it flies fastest."""
    return linearise(two_stages(stack_mission), at=[5.3])


# ---------------------------------------------------------------- the servo's steps


@pytest.mark.parametrize("amplitude", [0.3, 0.8, 1.7, 4.2])
def test_command_steps__is_the_quantiser_and_the_dead_band_at_its_ends(amplitude):
    a = np.array([amplitude])
    assert command_steps(a, 0.0, 1.0) == pytest.approx(describing.quantiser(a, 1.0), abs=1e-12)  # rounding
    assert command_steps(a, 1.0, 0.0) == pytest.approx(describing.command_dead_band(a, 1.0), abs=1e-12)
    assert command_steps(a, 0.0, 0.0) == 1.0


@pytest.mark.parametrize("between", [False, True])
@pytest.mark.parametrize(("dead_band", "resolution"), [(0.0, 1.0), (1.0, 0.0), (0.7, 0.5), (0.3, 0.5)])
@pytest.mark.parametrize("amplitude", [0.8, 2.3])
def test_command_steps__against_stepping_it(between, dead_band, resolution, amplitude):
    """The servos' rule itself, written out again, stepped through a slow sine."""
    levels = [k * resolution for k in range(1, 20) if k * resolution > dead_band]
    middle = (levels[0] if resolution else dead_band) / 2.0 if between else 0.0

    def taken(signal):
        out, last = [], 0.0
        for value in signal + middle:
            wanted = math.floor(value / resolution + 0.5) * resolution if resolution else value
            last = wanted if abs(wanted - last) > dead_band else last
            out.append(last)
        return np.array(out)

    expected = describing.first_harmonic(taken, np.array([amplitude]), samples=40_000, periods=2)
    # the dead band alone is crossed a sample late, 1e-4 of the amplitude; a step falls on a sample or the next: 2 pi/40000 of it
    assert command_steps(np.array([amplitude]), dead_band, resolution, between) == pytest.approx(expected, abs=2e-3)


# ---------------------------------------------------------------- predicted


def test_limit_cycles__solve_the_loop(models):
    """1 + N L = 0 with python-control's own response of the opened loop, and the vehicle's continuous answer behind the fin."""
    found = limit_cycles(models, 1, "pitch")
    loop = open_loop(models, 1, "pitch")
    play = float(found["size"][0])
    assert found["imperfection"].values[:2].tolist() == ["backlash"] * 2
    assert found["stable"].values[:2].tolist() == [False, True]  # the smaller one is what a start must pass
    one = found.isel(cycle=1)
    omega = 2.0 * math.pi * float(one["frequency"])
    n = complex(describing.backlash(float(one["amplitude"]), play))
    # `harmonic_balance` of describing solves a spline of L, good to some 1e-9
    assert n * complex(loop(np.exp(1j * omega * loop.dt))) == pytest.approx(-1.0, abs=1e-6)
    assert float(one["fin_amplitude"]) == pytest.approx(abs(n) * float(one["amplitude"]), rel=1e-9)
    names = ["w", "q", "pitch_angle"]
    a = models["state_matrix"].isel(point=1).sel(rate_of=names, state=names).values
    b = models["input_matrix"].isel(point=1).sel(rate_of=names, input="pitch_demand").values
    x = np.linalg.solve(1j * omega * np.eye(3) - a, b)
    # the fin moves between the ticks, where the predicted ratio is that at the ticks: images of the hold, (f T)^2 of it
    assert float(one["attitude_amplitude"] / one["fin_amplitude"]) == pytest.approx(abs(x[2]), rel=2e-3)
    assert float(one["rate_amplitude"] / one["fin_amplitude"]) == pytest.approx(abs(x[1]), rel=2e-3)


def test_limit_cycles__a_perfect_servo_has_none(models):
    perfect = limit_cycles(models, 0, "pitch", gains=OTHERS)
    assert perfect.sizes["cycle"] == 0 and perfect["frequency"].dtype == float
    cycle, swing = simulated_cycle(models, 1, "pitch", gains=OTHERS)
    assert cycle is None and swing < 1e-5  # rad: what is left of a start of half a degree and more after 10 s


# ---------------------------------------------------------------- predicted against simulated


def compare(models, point, gains, only):
    predicted = limit_cycles(models, point, "pitch", gains=gains)
    predicted = predicted.where(predicted["stable"] & (predicted["imperfection"] == only), drop=True)
    cycle, swing = simulated_cycle(models, point, "pitch", gains=gains, only=only)
    assert cycle is not None and cycle.stable and swing >= cycle.attitude_amplitude
    # several stable cycles: the start decides, and the nearest must be near
    one = predicted.isel(cycle=int(np.abs(np.log(predicted["frequency"].values / cycle.frequency)).argmin()))
    for name in ("fin_amplitude", "attitude_amplitude", "rate_amplitude"):
        assert getattr(cycle, name) == pytest.approx(float(one[name]), rel=AMPLITUDE), name
    assert cycle.frequency == pytest.approx(float(one["frequency"]), rel=FREQUENCY)


@pytest.mark.parametrize("integral", ["0.4 1/s", 0.0], ids=["integral", "none"])
def test_backlash__predicted_and_simulated(models, integral):
    compare(models, 1, {"autopilot.pitch.i": integral, "servo.dead_band": 0.0}, "backlash")


def test_backlash__high_up_where_the_play_is_a_large_part_of_what_the_fins_do(models):
    compare(models, 2, None, "backlash")


def test_dead_band__predicted_and_simulated(models):
    compare(models, 0, None, "dead_band")


def test_resolution__predicted_and_simulated(models):
    compare(models, 0, OTHERS | {"servo.resolution": "0.4 deg"}, "resolution")


def test_no_cycle__predicted_and_the_simulation_comes_to_rest(fast):
    """Without an integral and with a fast vehicle nothing crosses -1/N of the play: the fin ends where it is."""
    gains = {"autopilot.pitch.i": 0.0, "servo.dead_band": 0.0}
    assert limit_cycles(fast, 0, "pitch", gains=gains).sizes["cycle"] == 0
    cycle, _ = simulated_cycle(fast, 0, "pitch", gains=gains, only="backlash")
    assert cycle is None
    flown = simulate_frozen(fast, 0, "pitch", gains=gains, start=math.radians(1.0), duration=40.0)
    end = flown.sel(time=slice(30.0, None))
    play = sixdof.mission.load.loads_mission(fast.attrs["mission"]).servo.backlash
    assert float(end["fin"].max() - end["fin"].min()) < 0.02 * play
    assert float(np.abs(end["command"] - end["fin"]).max()) <= 0.5 * play * (1.0 + 1e-4)  # the motor follows a command that still creeps


def test_scaling__half_the_play_is_half_the_cycle(models):
    """Nothing but the play has a size while no limit is reached: everything scales with it, to the rounding of small angles."""
    found = []
    for play in (0.3, 0.15):
        given = {"servo.dead_band": 0.0, "servo.backlash": math.radians(play)}
        found.append(simulated_cycle(models, 1, "pitch", gains=given, only="backlash", starts=[math.radians(play)], period=0.86).cycle)
    whole, half = found
    for name in ("fin_amplitude", "attitude_amplitude", "rate_amplitude"):
        assert getattr(half, name) == pytest.approx(0.5 * getattr(whole, name), rel=1e-3)  # 2 sin(e/2) moves a start by 1e-6
    assert half.frequency == pytest.approx(whole.frequency, rel=1e-3)


@pytest.mark.parametrize("share", [0.5, 0.1])
def test_scaling__a_finer_resolution_predicts_a_proportionally_smaller_cycle(models, share):
    coarse, fine = (limit_cycles(models, 0, "pitch", gains=OTHERS | {"servo.resolution": math.radians(0.4 * s)}) for s in (1.0, share))
    assert coarse.sizes["cycle"] == fine.sizes["cycle"] > 0
    assert fine["fin_amplitude"].values == pytest.approx(share * coarse["fin_amplitude"].values, rel=1e-6)
    assert fine["frequency"].values == pytest.approx(coarse["frequency"].values, rel=1e-6)


# ---------------------------------------------------------------- tables, words, curves


@pytest.fixture(scope="module")
def table(models):
    return limit_cycle_table(models, "pitch", points=[1])


def test_limit_cycle_table__and_its_report(table):
    assert table["imperfection"].values.tolist() == ["backlash", "dead_band", "all"]
    assert table.sizes == {"point": 1, "imperfection": 3} and float(table["time"][0]) == pytest.approx(7.0)
    one = table.sel(imperfection="backlash").isel(point=0)
    assert float(one["simulated_frequency"]) == pytest.approx(float(one["predicted_frequency"]), rel=FREQUENCY)
    assert all("units" in v.attrs and "long_name" in v.attrs for v in table.data_vars.values())
    text = limit_cycle_report(table)
    assert "From backlash (0.3 deg)" in text and f"{float(one['simulated_frequency']):.2f} Hz" in text and "integral" in text


def test_limit_cycle_report__where_all_comes_to_rest(table):
    quiet = table.copy()
    for name in table.data_vars:
        if name.startswith(("predicted", "simulated")):
            quiet[name] = table[name] * math.nan
    quiet["attitude_swing"] = 0.0 * table["attitude_swing"]
    text = limit_cycle_report(quiet)
    assert "no limit cycle, predicted or simulated" in text and text.endswith("The loop comes to rest everywhere.")


def test_limit_cycle_curves__meet_where_the_cycles_are(models):
    curves, found = limit_cycle_curves(models, 1, "pitch"), limit_cycles(models, 1, "pitch")
    one, curve = found.isel(cycle=1), curves.isel(curve=0)
    size, hertz = float(one["amplitude"]), float(one["frequency"])
    loop = [float(np.interp(hertz, curves["frequency"], curves[name])) for name in ("loop_gain", "loop_phase")]
    there = [float(np.interp(size, curve["amplitude"], curve[name])) for name in ("inverse_gain", "inverse_phase")]
    assert loop == pytest.approx(there, abs=0.05)  # dB and rad, between two of 600 points 1.5 % apart


def test_largest__leaves_unstable_ones_out():
    small, big = (Cycle(0.1, size, size, size, 1.0, stable) for size, stable in ((0.1, True), (0.2, False)))
    assert largest([small, big]) is small and largest([big]) is largest([]) is None


def test_limit_cycle_curves__of_a_perfect_servo_are_the_loop_alone(models):
    curves = limit_cycle_curves(models, 0, "yaw", gains=OTHERS)
    assert curves.sizes["curve"] == 0 and np.isfinite(curves["loop_gain"]).all()
    # the phase is told within a turn below zero where the gain is 1, as margins are read
    assert -2.0 * math.pi < float(curves["loop_phase"][int(np.abs(curves["loop_gain"].values).argmin())]) <= 0.0


@pytest.mark.parametrize(
    ("words", "call"),
    [
        ("limit cycle is that of one loop", lambda m: limit_cycles(m, 0, "full")),
        ("from 0 to 2", lambda m: limit_cycles(m, 7)),
        ('only = "slack"', lambda m: simulated_cycle(m, 0, only="slack")),
        ("starts = ", lambda m: simulated_cycle(m, 0, only="backlash", starts=[])),
        ("there is nothing to tell", lambda m: limit_cycle_table(m, gains=OTHERS)),
        ("limit_cycle_table", lambda m: limit_cycle_report(m)),
        ("does not hold it", lambda m: simulated_cycle(m.assign(input_matrix=-m["input_matrix"]), 0, only="backlash", starts=[0.3])),
    ],
)
def test_bad_input(models, words, call):
    with pytest.raises(ValueError, match=words):
        call(models)
