"""`what_happened` on flights: what was made to fail is found, the result keeps its contract, a killed study goes on, wrong questions are one sentence."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from evidence_by_hand import pieces_of
from strangers import FILES, stranger

import sixdof
from sixdof.postflight.hypotheses.findings import unexplained

FEW = {"flights": 60, "rounds": 4, "pairs": 0, "progress": False}


@pytest.fixture(scope="module")
def slender():
    return stranger("slender")


@pytest.fixture(scope="module")
def lost(slender):
    """A flight whose main did not come out, and what is told of it."""
    flight = sixdof.fly(slender.change({"failure.0.probability": 1.0}))
    assert flight["branch"].item() == "no_deployment: canopy"
    return pieces_of(flight)


@pytest.fixture(scope="module")
def found(slender, lost):
    return sixdof.postflight.what_happened(slender, lost, seed=3, **FEW)


def test_failure__is_found(found):
    assert list(found["candidate"].values) == ["nominal", "no_deployment: canopy", "late_apogee: needlegrass", "none of these"]
    best = int(np.argmax(found["probability"].values))
    assert str(found["candidate"].values[best]) == "no_deployment: canopy" and float(found["probability"].max()) > 0.6  # 0.75 of many flights
    assert unexplained(found) == [] and "MOST LIKELY: no_deployment: canopy" in sixdof.report(found)


def test_result__is_an_ensemble_with_weights(found, slender):
    """The contract: all that `disperse` gives, weight and hypothesis; priors by the event tree and the share of "none of these"."""
    assert {"flight", "body", "candidate", "evidence", "given"} <= set(found.dims) and not [dim for dim, size in found.sizes.items() if size == 0]
    assert float(found["weight"].sum()) == pytest.approx(1.0) and float(found["prior_weight"].sum()) == pytest.approx(1.0)
    assert float(found["probability"].sum()) == pytest.approx(1.0)
    for k, name in enumerate(found["candidate"].values[:-1]):
        own = found["hypothesis"].values == name
        share = float(found["probability"][k]) / float(found["probability"][:-1].sum())
        assert float(found["weight"].values[own].sum()) == pytest.approx(share) and own.sum() == int(found["flown"][k])
    np.testing.assert_allclose(found["prior"].values, [0.98 * 0.81 / 0.99, 0.98 * 0.09 / 0.99, 0.98 * 0.09 / 0.99, 0.02])  # both at once are not weighed
    assert np.unique(found["flight"].values).size == found.sizes["flight"]
    assert set(sixdof.disperse(slender, 2, progress=False, tracks="none").data_vars) <= set(found.data_vars)
    assert all("long_name" in found[name].attrs for name in ("weight", "tail", "log_alone", "tail_by_one", "effective_flights"))


def test_probability__follows_from_the_flights_of_the_result(found):
    """Second statement: Bayes' rule over the stored likelihoods of the flights, those of one round alike."""
    for k, name in enumerate(found["candidate"].values[:-1]):
        own = (found["hypothesis"] == name).values
        prior = found["prior_weight"].values[own]
        likelihood = np.exp(found["evidence_log_likelihood"].values[own].sum(axis=1))
        mean = float(prior @ likelihood / prior.sum())
        rough = 1.0 if int(found["rounds_flown"][k]) > 1 else 1e-9  # normalised weights against the mean over density: equal in expectation alone
        assert np.log(mean) == pytest.approx(float(found["log_evidence"][k]), abs=rough)


@pytest.mark.slow
def test_same_seed__same_bits_and_kept_flights(slender, lost, found, tmp_path):
    with sixdof.preflight.keeping(tmp_path / "flown") as folder:
        again = sixdof.postflight.what_happened(slender, lost, seed=3, threads=1, **FEW)
        stores = sorted(folder.glob("*.zarr"))
        assert len(stores) == int(found["rounds_flown"].sum())
    xr.testing.assert_identical(again.drop_attrs(), found.drop_attrs())


@pytest.mark.slow
def test_contradiction__is_said_loudly(slender, lost):
    """Two fixes of the same time, a kilometre apart: one is wrong, and the page begins with that."""
    fix = next(piece for piece in lost if piece["kind"] == "fix")
    other = fix | {"east": fix["east"] + 1000.0, "name": "the other fix"}
    said = sixdof.postflight.what_happened(slender, [fix, other], seed=1, **FEW)
    page = " ".join(sixdof.report(said).split())
    assert "NO HYPOTHESIS EXPLAINS ALL OF THE EVIDENCE" in page and '"the other fix" is most likely wrong' in page
    assert float(said["tail_by_others"].sel(evidence="the other fix")) < 0.2  # of a dozen effective flights none: no less can be said


@pytest.mark.slow
def test_evidence_that_nothing_explains__leaves_none_of_these(slender, lost):
    """Three numbers of another rocket: apogee, time of flight and speed half of what any flight has."""
    wrong = [
        {"kind": "logged", "quantity": name, "value": value, "error": 1} for name, value in (("apogee_height", 200), ("apogee_time", 5), ("airspeed_max", 60))
    ]
    said = sixdof.postflight.what_happened(slender, wrong, seed=1, **(FEW | {"rounds": 1}))
    assert float(said["probability"].sel(candidate="none of these")) > 0.99
    assert '"none of these" is left with' in sixdof.report(said)


@pytest.mark.slow
@pytest.mark.parametrize("name", FILES)
def test_vehicle__nobody_tuned(name):
    """With a sighting of any stage and a sound, which need the tracks of all bodies."""
    mission = stranger(name)
    flight = sixdof.fly(mission)
    pieces = [*pieces_of(flight), {"kind": "sighting", "time": 6, "bearing": 0, "bearing_error": 2}, {"kind": "heard", "time": 60}]
    pieces.append({"kind": "not_seen", "start": 20, "end": 30, "bearing": 3.0, "half_width": 0.4, "body": mission.stage[-1].name})
    said = sixdof.postflight.what_happened(mission, pieces, flights=20, rounds=2, pairs=1, progress=False)
    assert "nan" not in sixdof.report(said) and np.isfinite(said["weight"]).all()


@pytest.mark.parametrize(
    "given, says",
    [
        ({"flights": 1}, "flights = 1 must be a whole number, 2 or more"),
        ({"rounds": 0}, "rounds = 0 must be a whole number, 1 or more"),
        ({"enough": 0}, "enough = 0 must be a number of effective flights above 0"),
        ({"other": "100 %"}, 'other = "100 %" must be a share from 0 up to, not including, 1'),
        ({"seed": -1}, "seed"),
        ({"hypotheses": ["a"]}, "the mission gives no probability of"),
    ],
)
def test_question__asked_wrongly(slender, lost, given, says):
    with pytest.raises((TypeError, ValueError)) as caught:
        sixdof.postflight.what_happened(slender, lost, **given)
    assert says in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.slow
def test_real_flights__are_found_as_often_as_probabilities_say(slender):
    """Forty flights drawn from the event tree, told of by an apogee, a landed report and a fix: the score of what was against what was said."""
    rng, score, variance = np.random.default_rng(2), 0.0, 0.0
    names = ["nominal", "no_deployment: canopy", "late_apogee: needlegrass"]
    for case in range(40):
        truth = int(rng.choice(3, p=[0.81 / 0.99, 0.09 / 0.99, 0.09 / 0.99]))
        changes = {f"failure.{k}.probability": float(k == truth - 1) for k in range(2)}
        flight = sixdof.fly(slender.change(changes), flight=case, seed=99)
        apogee, fix = (piece for piece in pieces_of(flight, time=25.0)[1::-1])
        fix["east"] += 40.0 * rng.standard_normal()
        fix["north"] += 40.0 * rng.standard_normal()
        fix["height"] += 25.0 * rng.standard_normal()
        apogee["value"] += 30.0 * rng.standard_normal()
        down = float(flight["body_landing_time"][0]) + 10.0 * rng.standard_normal()
        pieces = [fix, apogee, {"kind": "landed", "time": 60, "landed": bool((down < 60) != (rng.random() < 0.05)), "time_error": 10}]
        said = sixdof.postflight.what_happened(slender, pieces, names, flights=60, rounds=5, other=0, seed=case, progress=False)
        p = said["probability"].values
        score += float((np.arange(3) == truth)[1:].sum() - p[1:].sum())
        variance += float(p[0] * (1.0 - p[0]))
    assert abs(score) < 3.0 * np.sqrt(variance) + 1.0
