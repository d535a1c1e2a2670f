"""`fly_body`: what it refuses, what ends a flight, and what its Dataset holds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sixdof import FlightError
from sixdof.aero import fly_body
from sixdof.flight.passive import EARTHS

BALL = {"mass": 2.0, "inertia": (1.0, 1.0, 1.0), "height": 100.0, "duration": 1.0}

REFUSED = {
    "mass below zero": ({"mass": -1.0}, "above 0"),
    "mass of nothing": ({"mass": math.inf}, "above 0"),
    "mass as text": ({"mass": "two"}, "must be numbers"),
    "moments of no body": ({"inertia": (1.0, 1.0, 3.0)}, "exceeds the sum"),
    "moments below zero": ({"inertia": (1.0, 1.0, -1.0)}, "above 0"),
    "two moments": ({"inertia": (1.0, 1.0)}, "three principal moments"),
    "skew tensor": ({"inertia": [[1.0, 0.1, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]}, "symmetric"),
    "ragged tensor": ({"inertia": [[1.0], [1.0, 2.0]]}, "must be numbers"),
    "no number": ({"height": math.nan}, "height = nan must be a finite number"),
    "text for a number": ({"drag": "low"}, "drag = 'low' must be a finite number"),
    "two velocities": ({"velocity": (1.0, 2.0)}, "velocity = .* must be 3 finite numbers"),
    "one rate": ({"rates": 1.0}, "rates = 1.0 must be 3 finite numbers"),
    "infinite rate": ({"rates": (0.0, math.inf, 0.0)}, "rates"),
    "three lengths": ({"lengths": (1.0, 1.0, 1.0)}, "2 finite numbers"),
    "underground": ({"height": -1.0}, "from 0"),
    "in space": ({"height": 50e3}, "air tables end"),
    "latitude in degrees": ({"latitude": 45.0}, "radians"),
    "area below zero": ({"area": -1.0}, "area = -1 must not be negative"),
    "drag below zero": ({"drag": -0.1}, "drag"),
    "density below zero": ({"density": -0.1}, "density"),
    "another Earth": ({"earth": "round"}, "one of 'wgs84'"),
    "gravity of a round Earth": ({"gravity": 9.8}, "flat"),
    "no duration": ({"duration": 0.0}, "at most the duration"),
    "step beyond the duration": ({"step": 2.0}, "at most the duration"),
    "too many steps": ({"step": 1e-9}, "longer step"),
    "wind as numbers": ({"wind": (1.0, 0.0)}, "function of height"),
    "wind of one component": ({"wind": lambda z: (z,)}, "give \\(east, north\\)"),
    "wind of no number": ({"wind": lambda z: (z * math.nan, z)}, "not finite"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_bad_argument__is_one_sentence(name):
    changes, says = REFUSED[name]
    with pytest.raises(ValueError, match=says) as caught:
        fly_body(**(BALL | changes))
    text = str(caught.value)
    assert text.startswith("fly_body: ") and "\n" not in text and len(text) < 220


def test_divergence__raises_with_what_was_flown():
    unstable = {"damping": (1e9, 0.0, 0.0), "rates": (1.0, 0.0, 0.0), "velocity": (100.0, 0.0, 0.0), "duration": 5.0}
    with pytest.raises(FlightError, match="grew without bound") as caught:
        fly_body(**(BALL | unstable))
    assert caught.value.dataset.sizes["time"] > 0


def test_end__landing_duration_and_top_of_the_air():
    still = BALL | {"earth": "flat at rest", "gravity": 9.8, "density": 0.0}
    landed = fly_body(**(still | {"duration": 10.0}))
    assert landed.attrs["end"] == "landing"
    assert float(landed.time[-1]) == pytest.approx(math.sqrt(200.0 / 9.8), abs=1e-10)
    assert float(landed.height[-1]) == pytest.approx(0.0, abs=1e-9)
    in_time = fly_body(**still)
    assert in_time.attrs["end"] == "duration" and float(in_time.time[-1]) == 1.0
    with pytest.warns(UserWarning, match="left the top of the air tables"):
        away = fly_body(**(still | {"height": 39_900.0, "velocity": (0.0, 0.0, -500.0)}))
    assert away.attrs["end"] == "top of the air" and float(away.time[-1]) < 0.25


def test_end__a_landing_in_the_last_half_step_is_not_flown():
    """It would land 5 ms after the end asked for, inside the step that follows it."""
    fall = {"earth": "flat at rest", "gravity": 9.8, "density": 0.0, "duration": math.sqrt(200.0 / 9.8) - 0.005}
    ds = fly_body(**(BALL | fall))
    assert ds.attrs["end"] == "duration" and float(ds.time[-1]) == pytest.approx(fall["duration"], abs=1e-12)
    assert float(ds.height[-1]) > 0.0


@pytest.mark.parametrize("duration, step, steps", [(1.0, 0.3, 4), (1.0, 0.1, 10), (0.7, 0.7, 1), (30.0, 0.01, 3000)])
def test_steps__a_whole_number_of_them_fits(duration, step, steps):
    ds = fly_body(**(BALL | {"height": 9000.0, "duration": duration, "step": step}))
    np.testing.assert_allclose(ds.time, np.linspace(0.0, duration, steps + 1), atol=1e-12)


@pytest.mark.parametrize("earth", EARTHS)
def test_start__is_what_was_asked_for(earth):
    asked = {"velocity": (30.0, -20.0, 10.0), "attitude": (0.3, -0.6, 2.0), "rates": (0.1, 0.2, -0.3), "latitude": 0.7, "longitude": -2.0}
    start = fly_body(**(BALL | asked | {"earth": earth})).isel(time=0)
    angles = [float(start[name]) for name in ("roll", "pitch", "yaw")]
    np.testing.assert_allclose(angles, asked["attitude"], atol=1e-12)
    np.testing.assert_allclose(start.velocity, asked["velocity"], atol=1e-12)
    np.testing.assert_allclose(start.rate, asked["rates"], atol=0.0)
    assert float(start.latitude) == pytest.approx(0.7, abs=1e-14) and float(start.longitude) == pytest.approx(-2.0, abs=1e-14)
    assert float(start.height) == pytest.approx(100.0, abs=1e-8)
    assert float(start.east) == float(start.north) == 0.0


def test_tensor__in_turned_axes_is_the_same_motion():
    """Body axes turned by c: same inertia in space, same attitude of it, so the same momentum and the same turn of the body."""
    principal, rates = np.array([1.0, 2.0, 2.5]), np.array([1.0, 0.4, -0.7])
    c = Rotation.from_rotvec([0.3, -0.5, 0.2])
    free = BALL | {"earth": "flat at rest", "gravity": 0.0, "density": 0.0, "duration": 10.0, "step": 0.005}
    one = fly_body(**(free | {"inertia": principal, "rates": rates}))
    turned = c.as_matrix() @ np.diag(principal) @ c.as_matrix().T
    yaw, pitch, roll = c.inv().as_euler("ZYX")
    two = fly_body(**(free | {"inertia": turned, "rates": c.apply(rates), "attitude": (roll, pitch, yaw)}))
    np.testing.assert_allclose(c.inv().apply(two.rate), one.rate, atol=1e-9)
    ways = [Rotation.from_euler("ZYX", np.stack([ds["yaw"], ds["pitch"], ds["roll"]], axis=1)) for ds in (one, two)]
    assert (ways[0].inv() * ways[1] * c).magnitude().max() < 1e-9


def test_wind__moves_the_air_and_blows_from_nowhere_else():
    ds = fly_body(**(BALL | {"wind": lambda z: (8.0, 0.0), "drag": 1.0, "area": 50.0, "density": 1.0, "duration": 5.0, "height": 200.0}))
    assert float(ds.velocity.sel(direction="east")[-1]) == pytest.approx(8.0, abs=0.2)  # carried along, to the lag of a light body
    assert abs(float(ds.velocity.sel(direction="north")[-1])) < 1e-3


def test_flat_and_round__agree_over_a_short_way():
    """A dropped body: the flat Earth's normal gravity and the round one's field differ by the J4 term, 5e-6 of gravity at 45 deg."""
    drop = BALL | {"latitude": 0.25 * math.pi, "density": 0.0, "height": 1000.0, "duration": 10.0}
    flat, round_ = fly_body(**drop, earth="flat"), fly_body(**drop)
    assert float(flat.height[-1] - round_.height[-1]) == pytest.approx(0.5 * 4.79e-5 * 100.0, rel=0.05)
    assert float(flat.east[-1]) == pytest.approx(float(round_.east[-1]), rel=1e-4)
