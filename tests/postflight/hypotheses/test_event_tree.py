"""Hypotheses: the branches of a mission's failures with the probabilities that follow from theirs, and those that a user names."""

from __future__ import annotations

import pytest

from sixdof.postflight.hypotheses.branches import hypotheses_of


@pytest.fixture(scope="module")
def tree(stack_mission):
    return hypotheses_of(stack_mission, pairs=2)


def test_tree__has_the_probabilities_of_independent_failures(tree):
    """2, 1, 1, 1, 1 and 0.5 %: nominal the product of what does not happen; a failure alone its odds times that; of a pair both."""
    none = 0.98 * 0.99**4 * 0.995
    by_name = {one.name: one.prior for one in tree}
    assert by_name["nominal"] == pytest.approx(none)
    assert by_name["no_deployment: main"] == pytest.approx(none / 99.0) and by_name["harness_breaks: drogue"] == pytest.approx(none * 0.005 / 0.995)
    assert len(tree) == 9 and by_name["no_ignition: whinchat + no_separation: drayhorse"] == pytest.approx(none * 2.0 / 98.0 / 99.0)


def test_tree__makes_its_failures_certain_and_no_others(tree):
    for one in tree:
        certain = {failure.name for failure in one.mission.failure if failure.probability == 1.0}
        assert certain == (set() if one.name == "nominal" else set(one.name.split(" + ")))
        assert all(failure.probability in (0.0, 1.0) for failure in one.mission.failure)


def test_given__failures_changes_missions_with_priors(stack_mission, tmp_path):
    (tmp_path / "h.toml").write_text('["torn"]\nfailures = ["canopy_lost: main"]\nprior = "30 %"\n["windy"]\nchange = { "air.wind.speed" = "9 m/s" }\n')
    torn, windy = hypotheses_of(stack_mission, tmp_path / "h.toml")
    assert torn.prior == pytest.approx(0.3) and torn.mission.failure[-1].name == "canopy_lost: main" and torn.mission.failure[-1].probability == 1.0
    assert windy.prior == 1.0 and windy.mission.air.wind.speed == 9.0 and windy.what == "air.wind.speed = 9 m/s"
    assert [one.name for one in hypotheses_of(stack_mission, {"as it is": stack_mission})] == ["as it is"]
    alone, both = hypotheses_of(stack_mission, ["nominal", ["no_deployment: main", "late_apogee: whinchat"]])
    assert both.prior == pytest.approx(alone.prior / 99.0**2)


@pytest.mark.parametrize(
    "given, says",
    [
        (3, "hypotheses must be a list of failures, or a dictionary"),
        ({}, "there are no hypotheses to weigh"),
        (["no_deployment: mian"], 'the mission gives no probability of "no_deployment: mian"; did you mean'),
        (["nominal", "nominal"], 'the hypothesis "nominal" comes twice'),
        ([3], "a hypothesis is the name of a failure"),
        ({"a": 3}, 'the hypothesis "a" must be a mission or a table'),
        ({"a": {"failure": "x"}}, 'the hypothesis "a": unknown key "failure"; did you mean "failures"?'),
        ({"a": {"failures": "main lost"}}, 'there is no failure "main lost"'),
        ({"a": {"prior": "-3 %"}}, 'the prior of "a": "-3 %" must be 0 or more'),
        ({"a": {"prior": "3 m"}}, 'the prior of "a": "3 m" has the wrong unit'),
        ({"a": {"prior": 0}}, "all priors are 0"),
    ],
)
def test_given__wrongly_is_one_sentence(stack_mission, given, says):
    with pytest.raises((TypeError, ValueError)) as caught:
        hypotheses_of(stack_mission, given)
    assert says in str(caught.value) and "\n" not in str(caught.value)
