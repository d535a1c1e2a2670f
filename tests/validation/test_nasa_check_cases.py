"""The atmospheric check-cases of NASA/TM-2015-218675, flown by the vehicle's own kernel.

Definitions, constants and end values: Murri, Jackson, Shelton, Check-Cases for Verification of 6-Degree-of-Freedom Flight Vehicle
Simulations, NASA/TM-2015-218675 (2015). The end values of its "SIM 5" are published (taken second-hand); the 1 s histories in
data/nasa were computed independently (inertial Cartesian state, DOP853 at rtol 1e-13). The report states no limits: those here are a
few times the scatter of its programs at rounding of the 1976 atmosphere's constants.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from sixdof.bodies import fly_body

DATA = Path(__file__).parent / "data" / "nasa"
FOOT, DEGREE = 0.3048, np.pi / 180.0
SLUG = 14.593902937206365  # kg: 1 lbf s^2/ft
TURN = 7.292115e-5  # rad/s
TOP = 30_000.0 * FOOT
SPHERE = {"mass": SLUG, "inertia": np.full(3, 3.6) * SLUG * FOOT**2, "area": 0.1963495 * FOOT**2, "drag": 0.1}
BRICK = {
    "mass": 0.155404754 * SLUG, "inertia": np.array([0.001894220, 0.006211019, 0.007194665]) * SLUG * FOOT**2,
    "area": 0.22222 * FOOT**2, "lengths": (0.33333 * FOOT, 0.66667 * FOOT), "height": TOP, "rates": np.array([10.0, 20.0, 30.0]) * DEGREE,
}  # fmt: skip
SPINNING = {"height": TOP, "rates": np.array([10.0, 20.0, 30.0]) * DEGREE}


def steady(z):
    return np.full_like(z, 20.0 * FOOT), np.zeros_like(z)  # from the west: towards the east


def shear(z):
    return (0.003 * z / FOOT - 20.0) * FOOT, np.zeros_like(z)


CASES = {
    1: SPHERE | {"height": TOP, "drag": 0.0},
    2: BRICK,
    3: BRICK | {"damping": (-1.0, -1.0, -1.0)},
    4: SPHERE | SPINNING | {"earth": "sphere at rest"},
    5: SPHERE | SPINNING | {"earth": "sphere"},
    6: SPHERE | {"height": TOP},
    7: SPHERE | {"height": TOP, "wind": steady},
    8: SPHERE | {"height": TOP, "wind": shear},
    9: SPHERE | {"height": 0.0, "velocity": (0.0, 1000.0 * FOOT, -1000.0 * FOOT), "attitude": (0.0, 0.0, 90.0 * DEGREE), "rates": (0.0, -TURN, 0.0)},
    10: SPHERE | {"height": 0.0, "velocity": (1000.0 * FOOT, 0.0, -1000.0 * FOOT), "rates": (TURN, 0.0, 0.0)},
}  # fmt: skip
# ft, ft/s, deg, deg/s
LIMITS = {"altitude": 0.02, "v": 0.002, "latitude": 1e-6, "longitude": 1e-6, "roll": 1e-3, "pitch": 1e-3, "yaw": 1e-3, "rate": 1e-4}


def signals(ds):
    """Return the report's signals of a flight, in its units."""
    found = {
        "altitudeMsl_ft": ds["height"] / FOOT, "latitude_deg": ds["latitude"] / DEGREE, "longitude_deg": ds["longitude"] / DEGREE,
        "roll_deg": ds["roll"] / DEGREE, "pitch_deg": ds["pitch"] / DEGREE, "yaw_deg": ds["yaw"] / DEGREE,
    }  # fmt: skip
    for axis, direction in zip("NED", ("north", "east", "down")):
        found[f"v{axis}_ft_s"] = ds["velocity"].sel(direction=direction) / FOOT
    for name, axis in zip("pqr", "xyz"):
        found[f"{name}_ei_deg_s"] = ds["rate"].sel(axis=axis) / DEGREE
    return {name: values.values for name, values in found.items()}


def limit_of(signal):
    if signal.startswith("v"):
        return LIMITS["v"]
    if signal.endswith("_ei_deg_s"):
        return LIMITS["rate"]
    return LIMITS[signal.split("_")[0].removesuffix("Msl")]


@pytest.fixture(scope="module")
def flown():
    return {case: signals(fly_body(**setting)) for case, setting in CASES.items()}


def end_values():
    with open(DATA / "nasa_endstate_published_vs_selfcomputed.csv", newline="") as file:
        return [(int(row["case"]), row["signal"], float(row["published_SIM5"])) for row in csv.DictReader(file)]


@pytest.mark.parametrize(("case", "signal", "published"), end_values())
def test_end_state__as_published(flown, case, signal, published):
    assert flown[case][signal][-1] == pytest.approx(published, abs=limit_of(signal))


@pytest.mark.parametrize("case", [1, 2, 4, 5, 6, 8, 9])
def test_history__as_computed_independently(flown, case):
    """Every second, ten times closer than the published end values."""
    table = np.genfromtxt(DATA / f"nasa_case_{case:02d}_selfcomputed_1s.csv", delimiter=",", names=True)
    for signal, ours in flown[case].items():
        theirs, ours = table[signal], ours[::100]
        if signal in ("roll_deg", "yaw_deg"):
            ours = theirs + (ours - theirs + 180.0) % 360.0 - 180.0
        np.testing.assert_allclose(ours, theirs, rtol=0.0, atol=0.1 * limit_of(signal), err_msg=signal)


def test_damping__uses_the_rate_against_the_air(flown):
    """Case 3: the report's family of solutions; a rate of the brick decays towards the turning Earth's own."""
    case = flown[3]
    assert abs(case["p_ei_deg_s"][-1]) < 0.01 and abs(case["r_ei_deg_s"][-1]) < 0.01
    assert case["altitudeMsl_ft"][-1] == pytest.approx(flown[2]["altitudeMsl_ft"][-1], abs=1e-6)  # no force, no other fall


def test_wind__carries_the_sphere_downwind(flown):
    """Case 7 against 6: 20 ft/s from the west moves it east; read the wrong way round it would be -5.73 ft/s (reference note)."""
    more = flown[7]["vE_ft_s"][-1] - flown[6]["vE_ft_s"][-1]
    assert more == pytest.approx(5.73 / 2.0, abs=0.01)


def test_north_shot__is_turned_by_the_earth(flown):
    """Case 10: about -1 ft/s and -8e-5 deg of longitude by Coriolis, which without rotation would be none (reference note)."""
    assert flown[10]["vE_ft_s"][-1] == pytest.approx(-1.06, abs=0.02)
    assert flown[10]["longitude_deg"][-1] == pytest.approx(-7.85e-5, abs=0.05e-5)
