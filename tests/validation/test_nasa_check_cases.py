"""NASA's ten atmospheric check cases by the real kernel: published end values, computed histories, and an independent flight.

Source: Murri, Jackson, Shelton, NASA/TM-2015-218675 (2015). End values of "SIM 5" and definitions second-hand
(sixdof.study.verification.nasa_cases holds them); data/nasa_check_cases_1s.csv says of itself where it is from. tests/support/independent_body.py
flies all ten without this library.
"""

from __future__ import annotations

import csv
from pathlib import Path

import independent_body
import numpy as np
import pytest

from sixdof.study.verification.nasa_cases import CASES, COMPUTED, PUBLISHED, SIGNALS, TENTH, fly_case

NAMES = {
    "altitude": "altitudeMsl_ft",
    "latitude": "latitude_deg",
    "longitude": "longitude_deg",
    "north velocity": "vN_ft_s",
    "east velocity": "vE_ft_s",
    "down velocity": "vD_ft_s",
    "roll": "roll_deg",
    "pitch": "pitch_deg",
    "yaw": "yaw_deg",
    "roll rate": "p_ei_deg_s",
    "pitch rate": "q_ei_deg_s",
    "yaw rate": "r_ei_deg_s",
}
TWELVE_DIGITS = 5e-12  # relative, of the file
SAME = 1e-9  # two integrations at rtol 1e-13, ft/s, deg, deg/s: the largest difference is 5e-10 deg after 30 s of tumbling
ROUNDING = 2e-7  # ft: heights are differences of distances of 2e7 ft, whose last bit is 4e-9


@pytest.fixture(scope="module")
def computed():
    path = Path(__file__).parent / "data" / "nasa_check_cases_1s.csv"
    rows = list(csv.DictReader(line for line in path.read_text().splitlines() if not line.startswith("#")))
    return {
        case: {name: np.array([float(row[name]) for row in rows if int(row["case"]) == case]) for name in NAMES.values()}
        for case in sorted({int(row["case"]) for row in rows})
    }


@pytest.fixture(scope="module")
def flown():
    return {case: fly_case(case) for case in CASES}


def seconds(ds, name):
    """A signal of a flight at 0, 1, .. 30 s."""
    whole = ds.isel(time=slice(None, None, 100))
    np.testing.assert_allclose(whole.time, np.arange(31.0), atol=1e-9)
    return SIGNALS[name][2](whole).values


def assert_history(ds, expected):
    """Every signal within a tenth of the limits against published values, angles modulo a turn."""
    for name, column in NAMES.items():
        off = seconds(ds, name) - expected[column]
        if name in ("roll", "yaw"):
            off = (off + 180.0) % 360.0 - 180.0
        assert np.abs(off).max() <= TENTH * SIGNALS[name][1], name


@pytest.mark.parametrize("case", PUBLISHED)
def test_published_end_values(flown, case):
    end = flown[case].isel(time=-1)
    assert float(end.time) == pytest.approx(30.0, abs=1e-9)
    for name, value in PUBLISHED[case].items():
        _, limit, read = SIGNALS[name]
        assert float(read(end)) == pytest.approx(value, abs=limit), name


@pytest.mark.parametrize("case", PUBLISHED)
def test_computed_history(flown, computed, case):
    assert_history(flown[case], computed[case])


@pytest.mark.parametrize("case", COMPUTED)
def test_cases_without_published_values__independent_flight(flown, case):
    history = independent_body.history(case)
    assert_history(flown[case], history)
    for name, value in COMPUTED[case].items():  # what `verify` compares with, to the digits it holds
        assert history[NAMES[name]][-1] == pytest.approx(value, rel=5e-9), name


@pytest.mark.parametrize("case", PUBLISHED)
def test_independent_flight__gives_the_computed_histories(computed, case):
    """The integration that stands for cases 3, 7 and 10, and somebody else's of the other seven, are of one mind."""
    history = independent_body.history(case)
    for name in NAMES.values():
        atol = ROUNDING if name == NAMES["altitude"] else SAME
        np.testing.assert_allclose(history[name], computed[case][name], rtol=TWELVE_DIGITS, atol=atol, err_msg=name)


def test_case_3__air_table_is_what_is_left(monkeypatch):
    """Brick with damping: the difference of 6e-5 deg goes with the square of the air table's spacing, as straight lines between
    rows do."""
    expected = independent_body.history(3, range(0, 31, 30))
    left = []
    for spacing in (20.0, 5.0):
        monkeypatch.setattr("sixdof.flight.passive.AIR_STEP", spacing)
        end = fly_case(3).isel(time=-1)
        left.append(max(abs(float(SIGNALS[name][2](end)) - expected[NAMES[name]][-1]) for name in ("roll", "pitch", "yaw")))
    assert left[0] == pytest.approx(16.0 * left[1], rel=0.1)
