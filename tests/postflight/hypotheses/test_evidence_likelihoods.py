"""What each kind of evidence makes of a flight whose places and times are known, against densities written down by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from sixdof.postflight.hypotheses.evidence import read_evidence
from sixdof.postflight.hypotheses.flown import Landing
from sixdof.postflight.hypotheses.judges import Broad
from sixdof.postflight.hypotheses.question import Question, names_of, question_of

BROAD = Broad(1000.0, 800.0, 120.0)


class Falling:
    """Two flights of two bodies that go straight: from (0, 0, 600) at 3, -4, -6 m/s, and twice as fast; down after 100 s and 50 s."""

    count, lost, stayed = 2, np.zeros(2, dtype=bool), np.zeros(2, dtype=bool)
    speed = np.array([1.0, 2.0])
    velocity = np.array([3.0, -4.0, -6.0])

    def moving(self, body, time):
        velocity = self.speed[:, None] * self.velocity
        return np.array([0.0, 0.0, 600.0]) + time * velocity, velocity

    def at(self, body, times):
        return np.stack([self.moving(body, t)[0] for t in np.atleast_1d(times)], axis=1)

    def landing(self, body):
        time = 100.0 / self.speed
        return Landing(time, 3.0 * self.speed * time, -4.0 * self.speed * time, 7.0 * self.speed + 10.0 * body)

    def stretched(self, body, canopy):
        return np.array([20.0, np.nan])


def asked(mission, piece) -> tuple[Question, np.ndarray]:
    question = question_of(read_evidence([piece]), mission, BROAD)
    return question, question.numbers(Falling())


def likelihood(mission, piece) -> np.ndarray:
    question, numbers = asked(mission, piece)
    return np.exp(question.log_likelihood(numbers))


def test_fix__has_errors_of_place_and_of_time(stack_mission):
    """Covariance: the place's own and v v' times the square of the time's error; and 3 % anywhere within reach and ceiling."""
    piece = {"kind": "fix", "time": 10, "time_error": 2, "east": 25, "north": -45, "height": 530, "horizontal_error": 8, "height_error": 20, "gross": 0.03}
    broad = norm.pdf(25, 0, 1000) * norm.pdf(-45, 0, 1000) / 800.0
    for k, speed in enumerate((1.0, 2.0)):
        v = speed * Falling.velocity
        core = multivariate_normal.pdf([25, -45, 530], [10 * v[0], 10 * v[1], 600 + 10 * v[2]], np.diag([64, 64, 400]) + 4 * np.outer(v, v))
        assert likelihood(stack_mission, piece)[k] == pytest.approx(0.97 * core + 0.03 * broad, rel=1e-9)
    question, numbers = asked(stack_mission, piece)
    wrong = 0.03 * broad / likelihood(stack_mission, piece)
    np.testing.assert_allclose(question.wrong(numbers)[:, 0], wrong, rtol=1e-9)
    assert question.residuals(numbers).shape == (2, 3) and (question.tails(numbers) > 0.0).all()


def test_packet__knows_height_and_climb_rate(stack_mission):
    piece = {"kind": "packet", "time": 10, "time_error": 0.5, "height": 541, "height_error": 4, "climb_rate": -7, "climb_rate_error": 1, "gross": 0.0}
    expected = [norm.pdf(541, 600 - 60 * s, np.hypot(4, 0.5 * 6 * s)) * norm.pdf(-7, -6 * s, 1) for s in (1.0, 2.0)]
    np.testing.assert_allclose(likelihood(stack_mission, piece), expected, rtol=1e-9)


def test_sighting__is_an_angle_from_the_observer(stack_mission):
    """From 100 m west of the rail, at an error of time of 0: bearing by the tangent, elevation over the eye's height; wider by its cosine."""
    piece = {"kind": "sighting", "body": "whinchat", "time": 20, "time_error": 0, "from_east": -100, "from_north": 0, "bearing": "115 deg", "gross": 0.1}
    east, north, up = 60.0, -80.0, 480.0
    bearing = np.arctan2(east + 100.0, north)
    expected = 0.9 * norm.pdf(np.radians(115.0), bearing, 0.0873) + 0.1 / (2.0 * np.pi)
    assert likelihood(stack_mission, piece)[0] == pytest.approx(expected, rel=1e-9)
    elevation = np.arctan2(up - 1.7, np.hypot(east + 100.0, north))
    high = 0.9 * norm.pdf(np.radians(115.0), bearing, 0.0873 / np.cos(1.2)) * norm.pdf(1.2, elevation, 0.0873) + 0.1 * np.cos(1.2) / (2.0 * np.pi)
    assert likelihood(stack_mission, piece | {"elevation": 1.2})[0] == pytest.approx(high, rel=1e-9)


def test_heard__comes_later_by_the_way_of_the_sound(stack_mission):
    """The booster lands at 17 and 24 m/s, after 100 and 50 s, 500 m off: louder than 12 m/s for certain within 15 %."""
    piece = {"kind": "heard", "body": "drayhorse", "time": 51, "gross": 0.15}
    arrives, speed = 50.0 + 500.0 / 340.0, 24.0
    expected = 0.85 * norm.pdf(51, arrives, 1.0) * norm.cdf((speed - 12.0) / 1.8) + 0.15 / 120.0
    assert likelihood(stack_mission, piece)[1] == pytest.approx(expected, rel=1e-9)
    assert likelihood(stack_mission, piece | {"body": "whinchat", "louder_than": 100})[1] == pytest.approx(0.15 / 120.0, rel=1e-5)


def test_silence__speaks_against_a_body_in_the_air_or_whole_on_the_ground(stack_mission):
    """From 60 s on: the first flight is aloft for 40 s more, the second has landed at 14 m/s."""
    piece = {"kind": "silence", "start": 60, "end": 90, "heard": 0.9, "heard_on_ground": 0.5, "dead": 0.1}
    survives = norm.cdf((15.0 - 14.0) / (0.15 * 15.0))
    np.testing.assert_allclose(likelihood(stack_mission, piece), [0.1 + 0.9 * 0.1, 0.1 + 0.9 * (1.0 - 0.5 * survives)], rtol=1e-9)
    half = piece | {"start": 95, "end": 130, "heard_after": 10, "heard_on_ground": 0.0}  # five seconds of ten
    assert likelihood(stack_mission, half)[0] == pytest.approx(0.1 + 0.9 * np.sqrt(0.1), rel=1e-9)


@pytest.mark.parametrize("landed", [True, False])
def test_landed__is_wrong_in_its_share(stack_mission, landed):
    down = norm.cdf((80.0 - np.array([100.0, 50.0])) / 3.0)
    expected = 0.95 * down + 0.05 * (1.0 - down) if landed else 0.95 * (1.0 - down) + 0.05 * down
    piece = {"kind": "landed", "time": 80, "landed": landed}
    np.testing.assert_allclose(likelihood(stack_mission, piece), expected, rtol=1e-9)
    question, numbers = asked(stack_mission, piece)
    truth = down if landed else 1.0 - down
    np.testing.assert_allclose(question.wrong(numbers)[:, 0], 1.0 - 0.95 * truth / expected, rtol=1e-6, atol=1e-12)


def test_canopy__seen_or_not(stack_mission):
    piece = {"kind": "canopy", "canopy": "main", "seen": True, "wrong": 0.1}
    assert likelihood(stack_mission, piece) == pytest.approx([0.9, 0.1])
    assert likelihood(stack_mission, piece | {"seen": False}) == pytest.approx([0.1, 0.9])
    out = norm.cdf((19.0 - 20.0) / 2.0)
    assert likelihood(stack_mission, piece | {"time": 19})[0] == pytest.approx(0.9 * out + 0.1 * (1.0 - out))


def test_recovered_and_searched__are_about_the_landing_place(stack_mission):
    """Both flights come down at (300, -400)."""
    found = {"kind": "recovered", "east": 310, "north": -390, "error": 10, "gross": 0.0}
    assert likelihood(stack_mission, found)[0] == pytest.approx(norm.pdf(10, 0, 10) ** 2, rel=1e-9)
    disc = {"kind": "searched", "east": 300, "north": -430, "radius": 50, "detection": 0.8, "edge": 10}
    assert likelihood(stack_mission, disc)[0] == pytest.approx(1.0 - 0.8 * norm.cdf(2.0), rel=1e-9)
    square = {"kind": "searched", "corners": [[200, -500], [315, -500], [315, -300], [200, -300]], "detection": 0.8, "edge": 10}
    assert likelihood(stack_mission, square)[0] == pytest.approx(1.0 - 0.8 * norm.cdf(1.5), rel=1e-9)


def test_not_seen__counts_the_share_of_the_time_in_view(stack_mission):
    """Looked at the south-east from 0 to 100 s: always there; from 60 to 140 s: it is in the air at the first five of nine looks (not at landing)."""
    piece = {"kind": "not_seen", "start": 1, "end": 90, "bearing": "143.13 deg", "half_width": "5 deg", "reach": "5 km", "detection": 0.7, "eye_height": 0}
    assert likelihood(stack_mission, piece)[0] == pytest.approx(0.3)
    assert likelihood(stack_mission, piece | {"start": 60, "end": 140})[0] == pytest.approx(1.0 - 0.7 * 4.0 / 9.0)
    assert likelihood(stack_mission, piece | {"bearing": "300 deg"})[0] == pytest.approx(1.0)


def test_place__by_latitude_is_that_by_metres(stack_mission):
    """A minute of latitude is 1849.5 m at 38 deg (WGS-84), of longitude 1464.5 m; the site lies 1250 m above the ellipsoid."""
    piece = {"kind": "recovered", "latitude": f"{38.0 + 0.1 / 60.0} deg", "longitude": f"{-117.0 - 0.1 / 60.0} deg"}
    judge = asked(stack_mission, piece)[0].judges[0]
    meridian = 6378137.0 * (1.0 - 0.00669437999) / (1.0 - 0.00669437999 * np.sin(np.radians(38.0)) ** 2) ** 1.5 + 1250.0
    prime = 6378137.0 / np.sqrt(1.0 - 0.00669437999 * np.sin(np.radians(38.0)) ** 2) + 1250.0
    minute = np.radians(0.1 / 60.0)
    assert (judge.east, judge.north) == (pytest.approx(-minute * prime * np.cos(np.radians(38.0)), abs=0.02), pytest.approx(minute * meridian, abs=0.02))


@pytest.mark.parametrize(
    "piece, says",
    [
        ({"kind": "fix", "time": 3, "east": 1, "north": 1, "body": "whinchatt"}, 'key body: there is no body "whinchatt"; did you mean "whinchat"?'),
        ({"kind": "canopy", "canopy": "mian"}, 'key canopy: there is no parachute "mian"; did you mean "main"?'),
        ({"kind": "logged", "quantity": "apogee", "value": 3, "error": 1}, 'key quantity: there is no outcome "apogee"'),
        ({"kind": "logged", "quantity": "apogee_height", "value": "3 s", "error": 1}, 'key value: "3 s" has the wrong unit'),
        ({"kind": "logged", "quantity": "apogee_height", "value": "3 m", "error": 0}, "key error: 0 must be more than 0"),
        ({"kind": "recovered", "latitude": "38 deg", "longitude": "117 deg"}, "km from the rail; check both coordinates, their signs"),
    ],
)
def test_piece__that_does_not_fit_the_mission(stack_mission, piece, says):
    with pytest.raises(ValueError) as caught:
        asked(stack_mission, piece)
    assert says in str(caught.value) and "evidence[0]" in str(caught.value) and "\n" not in str(caught.value)


def test_names__are_of_kind_and_time():
    fix = {"kind": "fix", "time": 84, "east": 1, "north": 1}
    read = read_evidence(
        [fix, fix, fix | {"name": "mine"}, {"kind": "landed", "time": 9, "landed": False}, {"kind": "canopy", "canopy": "main", "seen": False}]
    )
    assert names_of(read.evidence) == ["fix at 84 s", "fix at 84 s (2)", "mine", "not landed at 9 s", "main not out"]
