"""Raw logs: what is put right and said, what is refused in one sentence; calibrations."""

from __future__ import annotations

import numpy as np
import pytest
from firing_logs import impulse_of, log_of, trapezium

import sixdof
from sixdof.study.static_firing.calibration import calibration_of
from sixdof.study.static_firing.log import ordered, read_log

CURVE = trapezium()
TRUE = impulse_of(CURVE)


@pytest.fixture(scope="module")
def log():
    return log_of(CURVE, np.random.default_rng(1), noise=0.5)


def fired(log, **options):
    return sixdof.workshop.static_firing({"one": log}, calibration="0.1 %", **options).isel(firing=0)


def same(ds, true=TRUE):
    """Tell whether the impulse is right within four of its standard deviations (1 in 16,000 by chance)."""
    return abs(float(ds.total_impulse) - true) < 4.0 * float(ds.total_impulse_error)


# ---------------------------------------------------------------- what is put right


def test_log__stamps_double_and_out_of_order_are_put_right_and_said(log):
    time, reading = (np.array(one) for one in log)
    time[[400, 401]], reading[[400, 401]] = time[[401, 400]], reading[[401, 400]]
    time = np.append(time, time[500])
    reading = np.append(reading, reading[500] + 10.0)
    order = np.argsort(time, kind="stable")
    found = ordered("one", np.insert(time[:-1], 501, time[-1]), np.insert(reading[:-1], 501, reading[-1]), False)
    assert (np.diff(found.time) > 0.0).all() and found.time.size == time.size - 1 and order.size == time.size
    assert found.reading[found.time == time[500]] == pytest.approx(reading[500] + 5.0)
    assert "1 samples stood out of order" in found.notes[0] and "1 samples had the time of another" in found.notes[1]
    assert same(fired((found.time, found.reading)))


def test_log__of_a_pulled_cell_has_its_sign_turned(log):
    ds = fired((log[0], -log[1]))
    assert same(ds) and "sign is turned" in str(ds.note.values)
    assert float(ds.tare_before) == pytest.approx(-12.0, abs=0.5)


def test_log__lost_samples_are_bridged_and_widen_the_error(log):
    kept = (log[0] < 1.4) | (log[0] > 1.45)
    rising = (log[0] < 1.005) | (log[0] > 1.06)
    plateau, ignition, whole = fired((log[0][kept], log[1][kept])), fired((log[0][rising], log[1][rising])), fired(log)
    for ds in (plateau, ignition):
        assert same(ds) and "1 gap without samples" in str(ds.note.values) and "of the gaps lies in the burn" in str(ds.note.values)
    # a straight line over a plateau misses nothing; over the whole rise it may miss half of the rise's height times the gap
    assert float(ignition.total_impulse_error) > 5.0 * float(whole.total_impulse_error) > 0.5 * float(plateau.total_impulse_error)


def test_log__clipped_is_found_by_its_flat_top_and_by_the_limit_of_the_cell(log):
    cut = np.minimum(log[1], 590.0)
    for ds in (fired((log[0], cut)), fired((log[0], cut), cell_limit="590 N")):
        assert float(ds.clipped) > 250 and "CLIPPED" in str(ds.note.values)
    assert float(fired(log).clipped) == 0.0


def test_with_firing__refuses_a_clipped_log(log, demo_mission):
    clipped = sixdof.workshop.static_firing({"one": (log[0], np.minimum(log[1], 590.0))}, mission=demo_mission, motor="playa-h")
    with pytest.raises(ValueError, match="a log is clipped, and its impulse only a lower bound"):
        sixdof.workshop.with_firing(demo_mission, "playa-h", clipped)
    assert "AT LEAST" in sixdof.report(clipped) and "flown_apogee_height" not in clipped


def test_log__short_rises_outside_the_burn_are_left_out(log):
    """An igniter's kick before, an ejection charge behind, told as a delay."""
    time, reading = log_of(CURVE, np.random.default_rng(1), noise=0.5, after=4.0)
    reading = reading + 150.0 * ((time > 0.5) & (time < 0.52)) + 300.0 * ((time > 4.95) & (time < 4.97))
    ds = fired((time, reading))
    assert same(ds) and float(ds.delay) == pytest.approx(4.95 - float(ds.burn_end[0]), abs=0.01)
    assert "shorter rise" in str(ds.note.values)


def test_log__that_ends_with_the_burn_has_a_wider_error(log):
    short = log[0] < 2.0
    ds = fired((log[0][short], log[1][short]))
    assert same(ds) and "the drift of the tare is not known" in str(ds.note.values)
    assert float(ds.total_impulse_error) > 2.0 * float(fired(log).total_impulse_error)


# ---------------------------------------------------------------- files and units


@pytest.mark.parametrize(
    ("header", "scale", "options"),
    [
        ("time (ms), force (lbf)", (1e3, 1.0 / 4.4482216152605), {}),
        ("t [s]; F [kN]", (1.0, 1e-3), {}),
        ("", (1e3, 1.0 / 4.4482216152605), {"units": ("ms", "lbf")}),
        ("", (1.0, 1.0), {}),
        ("ms, load", (1e3, 1.0), {"rename": "time (ms), load (N)"}),
    ],
)
def test_log__units_of_header_or_given(log, tmp_path, header, scale, options):
    options = dict(options)
    header = options.pop("rename", header)
    mark = ";" if ";" in header else ","
    rows = [f"{t * scale[0]!r}{mark} {f * scale[1]!r}" for t, f in zip(*map(np.ndarray.tolist, log), strict=True)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([header, *rows] if header else rows))
    ds = sixdof.workshop.static_firing(path, **options)
    assert float(ds.total_impulse[0]) == pytest.approx(float(sixdof.workshop.static_firing({"log": log}).total_impulse[0]), rel=1e-4)


def test_log__in_counts_takes_a_calibration(log, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["time, counts", *(f"{t:.5f}, {9000.0 - 250.0 * f:.0f}" for t, f in zip(*log, strict=True))]))
    cell = tmp_path / "cell.csv"
    cell.write_text("reading, force (N), error (N)\n9000, 0, 0.1\n-66000, 300, 0.3\n-141000, 600, 0.6\n")
    points = [(9000.0, "0 N", "0.1 N"), (-66000.0, "300 N", "0.3 N"), (-141000.0, "600 N", "0.6 N")]
    for given in (cell, points):
        assert same(sixdof.workshop.static_firing(path, calibration=given).isel(firing=0))
    with pytest.raises(ValueError, match="holds counts; give a calibration of two points or more"):
        sixdof.workshop.static_firing(path)


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda t, f: (t[:30], f[:30]), "30 samples are too few"),
        (lambda t, f: (t, np.full(t.size, 3.0)), "there is no thrust in it"),
        (lambda t, f: (np.where(np.arange(t.size) > 600, t - 1.0, t), f), "the time falls from .* at sample 602; cut it there"),
        (lambda t, f: (t * 0.0, f), "its times do not rise"),
        (lambda t, f: (t[401:], f[401:]), "it ends .or begins. in the burn"),
        (lambda t, f: (t[::4][91:], f[::4][91:]), "before ignition are too few for a tare"),
        (lambda t, f: (t, np.where(t > 1.3, np.nan, f)), "a time or a reading is not a finite number"),
        (lambda t, f: (t[:-1], f), "each reading needs its time"),
    ],
)
def test_log__that_is_none_is_refused_in_a_sentence(log, make, match):
    with pytest.raises(ValueError, match=match):
        sixdof.workshop.static_firing({"one": make(*log)})


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"stand": "sideways"}, "must be one of horizontal, nozzle up, nozzle down"),
        ({"units": ("ms",)}, "units must be two words"),
        ({"units": ("kg", "N")}, 'units: "kg"'),
        ({"calibration": "80 %"}, "is no error of a scale"),
        ({"calibration": [(1.0, "0 N")]}, "two different readings or more"),
        ({"calibration": [(1.0, 0.0, 1.0), (2.0, 5.0, -1.0)]}, "below zero"),
        ({"propellant_mass": "1 N"}, "propellant_mass"),
        ({"propellant_mass": ["1 kg", "1 kg"]}, "2 values for 1 logs"),
        ({"propellant_mass": {"two": "1 kg"}}, "there is no log 'two'|there is no log \"two\""),
        ({"propellant_mass": "1 kg", "mass_before": "2 kg", "mass_after": "1 kg"}, "two truths"),
        ({"mass_before": "2 kg"}, "go together"),
        ({"mass_before": "1 kg", "mass_after": "2 kg"}, "must have lost its propellant"),
        ({"alignment": "peak"}, "must be one of burn_time, ignition"),
        ({"points": 3}, "a whole number, 5 or more"),
        ({"confidence": 1.5}, "confidence"),
        ({"notch": "4 m"}, "notch"),
        ({"motor": "mesa-i"}, "give the mission too"),
        ({"flights": -1}, "0 or more"),
    ],
)
def test_arguments__that_cannot_be_are_refused(log, options, match):
    with pytest.raises(ValueError, match=match):
        sixdof.workshop.static_firing({"one": log}, **options)


def test_logs__that_are_none(log, tmp_path):
    for given in ([], {}, 3, [3]):
        with pytest.raises(ValueError, match="logs must be a path|there is no log"):
            sixdof.workshop.static_firing(given)
    (tmp_path / "log.csv").write_text("time (s), mass (kg)\n0, 1\n1, 2\n")
    with pytest.raises(ValueError, match="a log needs the columns time and force"):
        sixdof.workshop.static_firing(tmp_path / "log.csv")
    with pytest.raises(sixdof.MissionError, match="there is no such file"):
        read_log("none", tmp_path / "none.csv", None)


# ---------------------------------------------------------------- calibration


def test_calibration__slope_and_error_are_those_of_weighted_least_squares():
    """Against the normal equations solved as a matrix: two points give the slope's variance (e1^2 + e2^2)/span^2."""
    found = calibration_of([(100.0, "0 N", "0.3 N"), (1100.0, "500 N", "0.4 N")], True)
    assert found.slope == pytest.approx(0.5) and found.offset == pytest.approx(-50.0)
    assert found.share * found.slope == pytest.approx(0.5e-3)
    points = np.array([[0.0, 0.2, 0.5], [400.0, 199.8, 0.5], [1000.0, 500.1, 1.0], [1200.0, 600.3, 1.0]])
    design = np.column_stack([points[:, 0], np.ones(4)]) / points[:, 2:]
    covariance = np.linalg.inv(design.T @ design)
    slope, offset = covariance @ design.T @ (points[:, 1] / points[:, 2])
    found = calibration_of(points, True)
    assert (found.slope, found.offset) == pytest.approx((slope, offset), rel=1e-12)
    assert found.share * found.slope == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-12)


def test_calibration__of_bent_points_says_so_and_raises_its_error():
    straight = calibration_of([(0.0, 0.0, 0.1), (500.0, 250.0, 0.1), (1000.0, 500.0, 0.1)], True)
    bent = calibration_of([(0.0, 0.0, 0.1), (500.0, 253.0, 0.1), (1000.0, 500.0, 0.1)], True)
    assert bent.share > 10.0 * straight.share and "miss their straight line" in bent.notes[0] and not straight.notes


# ---------------------------------------------------------------- logs nobody would send


def test_log__that_drifts_by_a_tenth_of_its_thrust():
    """The line between both rests is the drift's own here; the error says how far it might have been otherwise."""
    ds = fired(log_of(CURVE, np.random.default_rng(2), noise=0.5, drift=90.0))
    assert same(ds) and "the tare drifts by +" in str(ds.note.values) and float(ds.impulse_error.sel(error_source="drift")) > 5.0


def test_log__whose_noise_hides_ignition_says_so():
    """A tenth of the thrust: the impulse is right within its error, the ends are called doubtful."""
    ds = fired(log_of(CURVE, np.random.default_rng(2), noise=60.0), lowpass="none")
    assert same(ds) and "beginning and end are doubtful" in str(ds.note.values)


_SPOILT = {
    "noise alone": lambda rng, t, r: (t, rng.standard_normal(r.size)),
    "a random walk": lambda rng, t, r: (t, np.cumsum(rng.standard_normal(r.size))),
    "wild samples": lambda rng, t, r: (t, np.where(rng.random(r.size) < 0.01, 1e5, r)),
    "lost to zero": lambda rng, t, r: (t, np.where(rng.random(r.size) < 0.05, 0.0, r)),
    "a third kept": lambda rng, t, r: tuple(one[rng.permutation(t.size)[: t.size // 3]] for one in (t, r)),
    "shuffled": lambda rng, t, r: (rng.permutation(t), r),
    "tiny": lambda rng, t, r: (t, 1e-6 * r),
    "huge": lambda rng, t, r: (t, 1e7 * r),
    "in milliseconds": lambda rng, t, r: (1e3 * t, r),
    "read in steps of 100 N": lambda rng, t, r: (t, np.round(r / 100.0) * 100.0),
    "without an end": lambda rng, t, r: (t[t < 1.5], r[t < 1.5]),
}


@pytest.mark.parametrize("how", _SPOILT)
def test_log__spoilt_is_worked_out_or_refused_in_a_sentence(log, how):
    """Never a traceback from inside, never a silent NaN on the page; warnings are errors here."""
    for seed in range(2):
        try:
            ds = sixdof.workshop.static_firing({"one": _SPOILT[how](np.random.default_rng(seed), *log)}, stand="nozzle up")
        except ValueError as error:
            assert str(error).startswith("static_firing: log one: ") and len(str(error).splitlines()) == 1
            continue
        assert float(ds.total_impulse[0]) > 0.0 and "nan" not in sixdof.report(ds)
        assert np.trapezoid(ds.curve_thrust, ds.curve_time) == pytest.approx(float(ds.total_impulse[0])) and (ds.curve_thrust >= 0.0).all()
