"""The wind measured at the rail: its text, and the factor to the reference height by closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sixdof.study.launch_card.measured_wind import MeasuredWind, at_reference, measured_wind
from sixdof.study.wind_limit.air import with_sounding
from sixdof.world.wind import mean_wind

LEVELS = {
    "height": ["2 m", "50 m", "1 km"],
    "temperature": ["15 degC", "14 degC", "8 degC"],
    "speed": ["3 m/s", "6 m/s", "12 m/s"],
    "blows_from": ["240 deg", "260 deg", "280 deg"],
}
HIGH = {**LEVELS, "height": ["8 m", "50 m", "1 km"]}


def test_text__of_a_wind():
    assert measured_wind("5 m/s from 250 deg") == pytest.approx((5.0, math.radians(250.0), 2.0))
    assert measured_wind(" 12 mph  from 350 deg at 6 ft ") == pytest.approx((12.0 * 0.44704, math.radians(350.0), 6.0 * 0.3048))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("5 m/s", "is not a measured wind"),
        ("5 from 250 deg", "has no unit"),
        ("5 m/s from west", "not a quantity"),
        ("-5 m/s from 250 deg", "not negative"),
        ("5 m/s from 250 deg at 0 m", "above the ground"),
    ],
)
def test_text__that_is_no_wind(text, said):
    with pytest.raises(ValueError, match=said):
        measured_wind(text)


def test_text__that_is_none():
    with pytest.raises(TypeError, match="is not the text of a measured wind"):
        measured_wind(5.0)


def test_factor__of_the_power_law(demo_mission):
    """Speed goes with (z/z_r)^0.16: from 2 m to 10 m it is 5^0.16."""
    found = at_reference(demo_mission, MeasuredWind(5.0, 4.0, 2.0))
    assert found.factor == pytest.approx(5.0**0.16, rel=1e-14)
    assert (found.speed, found.blows_from, found.height) == pytest.approx((5.0 * 5.0**0.16, 4.0, 10.0))
    assert found.law == "power law, exponent 0.16"


def test_factor__of_the_log_law_and_of_a_uniform_wind(demo_mission):
    rough = demo_mission.change({"air.wind.profile": "log", "air.wind.exponent": None, "air.wind.roughness": "3 cm"})
    assert at_reference(rough, MeasuredWind(5.0, 4.0, 2.0)).factor == pytest.approx(math.log(10.0 / 0.03) / math.log(2.0 / 0.03), rel=1e-14)
    with pytest.raises(ValueError, match="below its roughness length"):
        at_reference(rough, MeasuredWind(5.0, 4.0, 0.02))
    even = demo_mission.change({"air.wind.profile": "uniform"})
    assert at_reference(even, MeasuredWind(5.0, 4.0, 2.0)).factor == 1.0


def test_direction__veers_above_the_reference_height(demo_mission):
    """Measured on a mast at 110 m under a veer of 12 deg a km, the wind comes from 1.2 deg less at 10 m."""
    veering = demo_mission.change({"air.wind.veer": "12 deg/km"})
    found = at_reference(veering, MeasuredWind(5.0, math.radians(250.0), 110.0))
    assert math.degrees(found.blows_from) == pytest.approx(248.8, abs=1e-9)


def test_levels__by_their_own_wind(demo_mission):
    """Components are linear from 2 m to 50 m, so at 10 m they are a sixth of the way."""
    east, north = (np.array([-3.0, -6.0]) * f(np.radians([240.0, 260.0])) for f in (np.sin, np.cos))
    e, n = (one[0] + (one[1] - one[0]) * 8.0 / 48.0 for one in (east, north))
    found = at_reference(with_sounding(demo_mission, LEVELS), MeasuredWind(4.0, math.radians(230.0), 2.0))
    assert found.factor == pytest.approx(math.hypot(e, n) / 3.0, rel=1e-12)
    turned = math.degrees(math.atan2(-e, -n)) % 360.0 - 240.0
    assert math.degrees(found.blows_from) == pytest.approx(230.0 + turned, abs=1e-9)
    assert found.law == "by its levels"


def test_levels__that_begin_above_the_hand(demo_mission):
    """Nothing was measured below 8 m: the power law of open ground up to there, then the levels."""
    mission = with_sounding(demo_mission, HIGH)
    ratio = np.hypot(*mean_wind(mission, 10.0)) / np.hypot(*mean_wind(mission, 8.0))
    found = at_reference(mission, MeasuredWind(4.0, 4.0, 2.0))
    assert found.factor == pytest.approx(4.0 ** (1.0 / 7.0) * ratio, rel=1e-12)
    assert found.law == "power law, exponent 1/7, up to 8 m, then by its levels"


def test_levels__that_are_calm_below(demo_mission):
    calm = {**LEVELS, "speed": ["0 m/s", "6 m/s", "12 m/s"]}
    with pytest.raises(ValueError, match="calm near the ground"):
        at_reference(with_sounding(demo_mission, calm), MeasuredWind(4.0, 4.0, 2.0))
