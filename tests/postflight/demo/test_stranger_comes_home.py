"""A vehicle that nothing was tuned on, after its flight: a hand-made log of a small altimeter read, laid against the model, and the vehicle searched for."""

from __future__ import annotations

import numpy as np
import pytest
from strangers import stranger

import sixdof
from sixdof import postflight

pytestmark = pytest.mark.slow
NUMBER, SEED = 3, 21
COLUMNS = {
    "clock": {"column": "seconds"},
    "read": {
        "height": {"column": "feet", "unit": "ft", "error": "2 ft"},
        "specific_force": {"columns": ["g", "", ""], "unit": "g", "station": "265 mm", "error": "0.05 g"},
    },
}


@pytest.fixture(scope="module")
def mission():
    return stranger("slender").change({"failure": None})


@pytest.fixture(scope="module")
def truth(mission):
    """The flight that was flown: drawn, its streamer and canopy as planned."""
    return sixdof.fly(mission, flight=NUMBER, seed=SEED)


@pytest.fixture(scope="module")
def log(mission, truth, tmp_path_factory):
    """Seconds, feet and g, 50 a second, two seconds of rest: no more than a small altimeter writes."""
    rng = np.random.default_rng(8)
    rows = np.flatnonzero(np.append(np.diff(truth.time.values) > 0.0, True))
    time = np.arange(-2.0, 30.0, 0.02)
    at = np.clip(time, 0.0, None) + float(truth.event_time.sel(event="liftoff").values[0])
    height, force = (np.interp(at, truth.time.values[rows], values[rows]) for values in (truth.height.values, truth.specific_force.values[:, 0]))
    height = height / 0.3048 + 2.0 * rng.standard_normal(time.size)
    force = np.where(time < 0.0, 9.79, force) / 9.80665 + 0.05 * rng.standard_normal(time.size)
    path = tmp_path_factory.mktemp("stranger") / "altimeter.csv"
    path.write_text("seconds,feet,g\n" + "".join(f"{t + 104.2:.2f},{h:.1f},{g:.3f}\n" for t, h, g in zip(time, height, force, strict=True)))
    return postflight.read_log(path, COLUMNS, mission)


def test_log__is_the_flight(log, truth):
    """Liftoff within a reading of the clock's; apogee within the altimeter's errors."""
    assert float(log.attrs["liftoff_time"]) == pytest.approx(104.2, abs=0.05)
    assert float(log.height.max()) == pytest.approx(float(truth.apogee_height), abs=4.0)
    assert "m" in str(sixdof.report(log))


def test_estimate__holds_the_true_drag_and_impulse(mission, log, truth):
    """Within four standard deviations: one flight proves no interval, and a wrong unit or sign is hundreds of them away."""
    draws = sixdof.stats.make_draws(mission, 1, seed=SEED, first=NUMBER)
    found = postflight.estimate(mission, log, ["aero.drag", "motor.impulse"], between=("0.1 s", "10 s"), progress=False)
    for name, value, sd in zip(found.parameter.values, found.estimate.values, found.sd.values, strict=True):
        assert abs(value - float(draws[str(name)].values.ravel()[0])) < 4.0 * sd + 0.01, name
    assert "ANSWER" in str(sixdof.report(found))


def test_compare__the_model_holds_for_a_flight_of_its_own(mission, log):
    """The log is one draw of the ensemble it is laid against: not refused, and no word of what lies above its Mach number."""
    found = postflight.compare_log(mission, log, flights=60, seed=5, progress=False)
    assert float(found.log_p_value.min()) > 0.005
    text = str(sixdof.report(found))
    assert "ANSWER" in text and "no data" in text
    sixdof.plot.plot_against(found)


def test_happened_and_searched__the_vehicle_lies_in_its_area(mission, truth):
    """A fix, a late landing and a canopy seen open: the vehicle is inside of what holds nearly all.

    Fix and landing alone tell nothing here: this flight came down 15 s before the median of flights as planned, when those without a canopy do.
    """
    time = float(truth.body_landing_time.values[0])
    k = int(np.searchsorted(truth.time.values, time - 20.0))
    fix = {"kind": "fix", "time": time - 20.0, "east": float(truth.east[k]), "north": float(truth.north[k]), "horizontal_error": "15 m"}
    late = {"kind": "landed", "time": time - 5.0, "landed": False}
    seen = {"kind": "canopy", "canopy": "canopy", "time": time - 3.0, "time_error": 1.0, "seen": True, "wrong": 0.05}
    hypotheses = {"as planned": {}, "canopy stayed in": {"failures": ["no_deployment: canopy"]}}
    found = postflight.what_happened(mission, [fix, late, seen], hypotheses, flights=100, rounds=4, seed=2, progress=False)
    assert float(found.probability.sel(candidate="as planned")) > 0.5
    area = postflight.search_map(found, "needlegrass")
    p = area["probability"].sel(body="needlegrass")
    here = float(p.sel(east=float(truth.body_landing_east[0]), north=float(truth.body_landing_north[0]), method="nearest"))
    assert float(p.values[p.values > here].sum()) < 0.99
    assert "needlegrass" in str(sixdof.report(area))
