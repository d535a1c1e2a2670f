"""The shipped lost flight, whose truth is kept beside its generator: what the calls say of it holds the truth."""

from __future__ import annotations

import tomllib

import pytest
from postflight.demo import make_lost_flight as made
from support.lost_calibration import ASKED, rank_in
from support.lost_evidence import FRONT
from support.lost_flights import mission_of

from sixdof import postflight

pytestmark = pytest.mark.slow
TRUE = "harness broke"
HYPOTHESES = {
    "as planned": {"prior": 0.4},
    TRUE: {"failures": ["harness_breaks: drogue"], "prior": 0.2},
    "harness broke, drogue gone": {"failures": ["harness_breaks: drogue", "canopy_lost: drogue"], "prior": 0.2},
    "main stayed in": {"failures": ["no_deployment: main"], "prior": 0.2},
}


@pytest.fixture(scope="module")
def truth():
    return tomllib.loads((made.HERE / "truth.toml").read_text())


@pytest.fixture(scope="module")
def mission():
    """As a user has it who looked at the thermometer."""
    return mission_of().change({"air.temperature": "22.3 degC"})


@pytest.fixture(scope="module")
def happened(mission):
    return postflight.what_happened(mission, made.FOLDER / "evidence.toml", HYPOTHESES, flights=100, rounds=4, seed=3, progress=False)


def test_happened__the_true_hypothesis_is_the_likeliest_or_within_three_errors_of_it(happened):
    p, error = (dict(zip(happened.candidate.values, happened[name].values, strict=True)) for name in ("probability", "probability_error"))
    best = max(p, key=p.get)
    assert p[TRUE] >= p[best] - 3.0 * (error[TRUE] ** 2 + error[best] ** 2) ** 0.5
    assert p["harness broke, drogue gone"] < 0.05, "the tracker was heard where no ballistic fall brings it"


def test_area__of_ninety_percent_holds_the_bay(happened, truth):
    """Before and after the ground that was walked."""
    area = postflight.search_map(happened, FRONT)
    lies = truth["landing"][FRONT]
    for one in (area, postflight.with_walked(area, made.FOLDER / "walked.geojson")):
        assert rank_in(one, lies["east"], lies["north"]) < 0.9


def test_estimate__of_the_boost_holds_what_was_flown(mission, truth):
    """Within three standard deviations, from the seconds before the fins go live."""
    log = postflight.read_log(made.FOLDER / "log.csv", made.FOLDER / "columns.toml", mission, remove_bias=True)
    found = postflight.estimate(mission, log, list(ASKED), between=("0 s", "1.45 s"), progress=False)
    stages = {"whinchat": 0, "drayhorse": 1}
    for name, value, sd in zip(found.parameter.values, found.estimate.values, found.sd.values, strict=True):
        quantity, _, stage = str(name).partition(" of ")
        assert abs(value - truth["draws"][quantity][stages.get(stage, 0)]) < 3.0 * sd, (name, value, sd)
