"""What breaks first: one pass over the flights, checks in order, its page, criteria by its measures, the verb."""

from __future__ import annotations

import numpy as np
import pytest
from strangers import FILES, stranger

import sixdof
from sixdof.cli.line import main
from sixdof.study.variants.criteria import criterion
from sixdof.study.variants.judging import judge_criteria


@pytest.fixture(scope="module")
def found(stack_mission):
    return sixdof.workshop.structure(stack_mission, 2, seed=1)


def test_structure__is_what_the_studies_find_alone(stack_mission, found):
    bending = sixdof.workshop.bending(stack_mission, 2, seed=1, failing=0, progress=False)
    guides = sixdof.workshop.guide_loads(stack_mission, 2, seed=1)
    assert found["moment_max"].values[:2] == pytest.approx(bending["moment_max"].values, rel=1e-12)
    assert found["guide_load"].values[:2] == pytest.approx(guides["guide_load"].values, rel=1e-12)


def test_structure__orders_by_what_is_nearest_to_breaking(found):
    shares = found["check_95"].values
    assert (np.diff(shares) <= 0.0).all() and str(found["worst_first"].values) == str(found["check"].values[0])
    drawn = found["check_share"].values[:, found["forced"].values == 0]
    assert shares == pytest.approx(np.fmax.reduce(drawn, axis=1))  # of so few flights 95 % are all
    assert (found["check_worst"].values >= shares - 1e-12).all()


def test_page__says_what_holds_and_what_the_mission_does_not_say(found):
    page = str(sixdof.report(found))
    first = str(found["worst_first"].values)
    assert page.splitlines()[3].startswith(f"  Nothing breaks in 95 % of the drawn flights. The nearest is {first}: it ") or "less than the factor 1.5" in page
    assert "slip fit of drogue" in page and "What the mission does not say" not in page and "nan" not in page and " inf" not in page


def test_checks__of_flutter_and_skin_are_those_studies_own(stack_mission, found):
    fins = sixdof.workshop.flutter(stack_mission, 2, seed=1, failing=0, progress=False)
    skin = sixdof.workshop.skin_temperature(stack_mission, 2, seed=1, failing=0, progress=False)
    shares = found["check_share"].sel(check="flutter of tail").values
    assert shares[:2] == pytest.approx(1.0 / fins["flutter_reserve"].sel(fins="tail").values) and np.isnan(shares[2:]).all()
    tip = skin.sel(wall="nose tip")
    rise = (tip["skin_temperature"].values - 293.15) / (float(tip["service_temperature"]) - 293.15)
    assert found["check_share"].sel(check="skin of nose tip").values[:2] == pytest.approx(rise)


def test_page__says_what_breaks(stack_mission):
    """A joint and a guide far too weak: both break, by name, and the verdict says so before any number."""
    weak = stack_mission.change({"stage.1.joint.bending_strength": "0.2 N*m", "stage.0.part.fore guide.strength": "3 N"})
    ds = sixdof.workshop.structure(weak, 2, failing=0, progress=False)
    answer = str(sixdof.report(ds)).splitlines()[3:7]
    told = [next(line for line in answer if f"{name} is loaded beyond strength in more than 5 %" in line) for name in ("Joint of drayhorse", "Fore guide")]
    assert len(told) == 2
    assert float(ds["check_95"].max()) > 1.0


@pytest.mark.parametrize("name", [name if name == "slender" else pytest.param(name, marks=pytest.mark.slow) for name in FILES])
def test_structure__of_vehicles_nobody_tuned(name):
    ds = sixdof.workshop.structure(stranger(name), 1, failing=0, progress=False)
    page = str(sixdof.report(ds))
    assert "nan" not in page and ("Nothing breaks" in page) == (name == "canard")  # printed noses and thin boards near Mach 1
    assert ("The mission has no [[harness]]" in page) == (name != "stack")


def test_measures__drive_criteria(stack_mission):
    mission = stack_mission.change({"stage.1.joint.bending_strength": "2 N*m"})
    criteria = [
        "bending_share of drayhorse < 0.9 in 50 % of flights",
        "bending_moment_max < 20 N*m",
        "guide_load_max < 0.001 N",
        "deployment_acceleration_max < 90 m/s^2",
    ]
    flights = sixdof.disperse(mission, 2, seed=1, progress=False)
    quiet = {"failing": 0, "progress": False}
    ds = sixdof.workshop.bending(flights, **quiet).merge(sixdof.workshop.deployment_loads(flights, **quiet), compat="override")
    verdicts = judge_criteria(sixdof.compare({"as it is": mission}, 2, seed=1, progress=False), criteria)
    share = ds["joint_moment"].sel(joint="joint of drayhorse").values / 2.0
    assert bool(verdicts["verdict"].notnull().all())
    assert criterion(criteria[0]).holds(flights)[0].tolist() == (share < 0.9).tolist()
    assert not criterion(criteria[2]).holds(flights)[0].any()  # some load there always is
    most = ds["deployment_acceleration"].values
    assert criterion(criteria[3]).holds(flights)[0].tolist() == (most < 90.0).tolist()
    with pytest.raises(ValueError, match="bending_share: no joint between stages says what it carries"):
        criterion(criteria[0]).holds(sixdof.disperse(stack_mission.change({"stage.1.joint.bending_strength": None}), 1, progress=False))


def test_verb__prints_the_page_and_draws(stack_path, tmp_path, capsys):
    assert main(["structure", str(stack_path), "--flights", "1", "--failing", "0", "--figures", str(tmp_path)]) == 0
    assert "What breaks first: 1 drawn flight, seed 0" in capsys.readouterr().out
    assert (tmp_path / "structure.png").exists()


def test_page__of_a_vehicle_that_tumbles_says_so_first(demo_mission):
    heavy_tail = demo_mission.add("stage.0.part", {"kind": "mass", "name": "lead", "mass": "1.8 kg", "station": "1.18 m"})
    ds = sixdof.workshop.structure(heavy_tail, 1, failing=0, progress=False)
    assert float(ds["departure_margin"][0]) == float(sixdof.fly(heavy_tail, flight=0).rail_departure_margin) < 0.0
    assert sixdof.report(ds).splitlines()[3].startswith("  NOT STABLE: the static margin at rail departure is -")
