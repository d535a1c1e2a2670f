"""Stages, pieces, canopies, rules and branches on the page, and the cautions about them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from results_by_hand import flight_by_hand, staged_ensemble, staged_flight, staged_mission

from sixdof.core import layout
from sixdof.mission.load import build_mission
from sixdof.mission.page import PAGE
from sixdof.results.status import Descent, Status
from sixdof.study.reading.doings import doings
from sixdof.study.reading.result import apart, body_of, branches, came_down, event_values, fact, happened, mission_of, own_events, pieces
from sixdof.study.report.cautions import cautions
from sixdof.study.report.hanging import airframe_share
from sixdof.study.report.staging import branch_section, fired_section, landing_section, recovery_section, stage_section
from sixdof.study.report.summary import summarise


@pytest.fixture
def flight(demo_mission):
    return staged_flight(demo_mission)


@pytest.fixture
def ensemble(demo_mission):
    return staged_ensemble(demo_mission)


def change(ds, name, value, **where):
    """Change one fact in place."""
    ds[name].loc[where] = value


def flat(lines) -> str:
    return " ".join(" ".join(lines).split())


# ---------------------------------------------------------------- reading


def test_event_values__of_a_body_by_number_and_name(flight, ensemble):
    assert event_values(flight, "apogee").tolist() == [18.0]
    assert event_values(flight, "apogee", body=1).tolist() == event_values(flight, "apogee", body="booster").tolist() == [8.0]
    assert event_values(flight, "landing", "east", body="booster").tolist() == [150.0]
    assert event_values(ensemble, "landing", body="booster").tolist() == [50.0] * 20
    assert np.isnan(event_values(flight, "no such event")).all()
    with pytest.raises(ValueError, match="no body 'boster'.*thistledown, booster, thistledown: loose by main"):
        event_values(flight, "apogee", body="boster")


def test_body_of__drops_the_dim(flight):
    assert "body" not in body_of(flight, 1).dims and float(body_of(flight, 1)["body_landing_time"]) == 50.0
    assert body_of(flight)["event_time"].dims == ("event",)


def test_own_events__leave_out_the_common_past(flight):
    assert [name for name, _ in happened(flight, "booster")][:4] == ["liftoff", "rail_departure", "burnout", "separation booster"]
    assert [name for name, _ in own_events(flight, 1)] == ["apogee", "deployment booster canopy", "landing"]
    assert own_events(flight, 0) == happened(flight)


def test_apart__and_pieces(flight, ensemble):
    assert [bool(apart(flight, k)[0]) for k in range(3)] == [True, True, False]
    assert pieces(flight) == [0, 1] and came_down(flight, 1).tolist() == [True]
    change(ensemble, "separation_time", np.nan, flight=slice(0, 4))
    change(ensemble, "body_status", Status.LANDED, body="thistledown: loose by main", flight=7)
    assert apart(ensemble, 1).sum() == 15 and apart(ensemble, 2).sum() == 1 and pieces(ensemble) == [0, 1, 2]
    ensemble["status"].values[:] = Status.DIVERGED
    assert pieces(ensemble) == []


def test_fact__of_failed_flights_is_nan(ensemble):
    ensemble["status"].values[3] = Status.NO_LIFTOFF
    values = fact(ensemble, "opening_load", 1)
    assert np.flatnonzero(np.isnan(values)).tolist() == [3] and values[0] == 90.0


def test_branches__most_frequent_first(ensemble):
    ensemble["branch"] = ("flight", ["a"] * 3 + ["nominal"] * 12 + ["b + a"] * 5)
    found = branches(ensemble)
    assert list(found) == ["nominal", "b + a", "a"] and [int(v.sum()) for v in found.values()] == [12, 5, 3]
    assert found["a"].tolist() == [True] * 3 + [False] * 17


# ---------------------------------------------------------------- the page


def test_page__of_one_stage_stays_short(demo_mission):
    """Of a vehicle in one piece without harnesses: one row of the loads, one line for each canopy with several triggers."""
    ds = flight_by_hand(demo_mission)
    for section in (stage_section, landing_section, branch_section):
        assert section(ds) == []
    assert len(recovery_section(ds)) == 2 and len(fired_section(ds)) == 1
    page = summarise(ds)
    for title in ("Stages and separation", "Where every piece lands", "Recovery", "Rules that fired", "Branches"):
        assert title not in page.splitlines()


def test_page__has_every_section_of_two_stages(flight, ensemble):
    for ds in (flight, ensemble):
        page = summarise(ds)
        for title in ("Stages and separation", "Where every piece lands", "Recovery", "Rules that fired"):
            assert title in page.splitlines()
        assert "nan" not in page and max(len(line) for line in page.splitlines()) <= PAGE


def test_stage_section__of_a_flight(flight):
    lines = flat(stage_section(flight))
    assert "booster: separates by command" in lines and "touch" not in lines
    for words in (
        "separation s 2.10",
        "separation speed m/s 2.50",
        "clearance afterwards m 0.030",
        "would separate it from s 2.05",
        "thistledown: ignited",
        "time s 3.00",
        "tilt at ignition deg 5.7",
    ):
        assert words in lines  # 0.1 rad = 5.73 deg
    change(flight, "event_time", np.nan, event="ignition thistledown")
    change(flight, "recontact", 1, joint="booster")
    lines = flat(stage_section(flight))
    assert "thistledown: never ignited" in lines and "the pieces touch again" in lines


def test_stage_section__of_an_ensemble(ensemble):
    change(ensemble, "separation_cause", layout.BY_DRAG, flight=slice(0, 4))
    change(ensemble, "recontact", 1, flight=2)
    change(ensemble, "event_time", np.nan, event="ignition thistledown", flight=9)
    lines = flat(stage_section(ensemble))
    assert "booster: separates by command in 15, by drag in 5 of 20 flights" in lines
    assert "touch again in 1 of 20 flights (5.0 %)" in lines and "thistledown: ignited in 19 of 20 flights (95.0 %)" in lines


def test_landing_section__of_a_flight(flight):
    lines = flat(landing_section(flight))
    assert "thistledown comes down 500 m from the rail, bearing 37 deg true, under a canopy, at 6.0 m/s with 36 J" in lines  # 3-4-5
    assert "booster comes down 100 m from the rail, bearing 143 deg true" in lines and "loose" not in lines
    assert "42.0 s after its apogee, 50.0 s after ignition" in lines
    change(flight, "body_landing_latitude", -1.5, body="booster")
    assert "50.0 s after ignition; 1.50000 S, 116.99932 W" in flat(landing_section(flight))  # 60 m east at 38 deg
    change(flight, "body_landing_time", np.nan, body="booster")
    assert "booster does not come down" in flat(landing_section(flight))
    change(flight, "separation_time", np.nan)
    assert "booster stays joined to the stage ahead of it" in flat(landing_section(flight))


def test_landing_section__incidence_of_a_fall(flight):
    change(flight, "descent", Descent.BROADSIDE, body="booster")
    change(flight, "descent_incidence", math.radians(113.4), body="booster")
    assert "143 deg true, broadside at 113 deg of incidence, at 9.0 m/s with 49 J" in flat(landing_section(flight))


def test_page__falls_of_every_body_are_judged(flight, ensemble):
    assert "fall without a canopy: never for more than a second" in flat(summarise(flight).splitlines())
    change(flight, "time_falling_incidence", 20.0, body="booster")
    change(flight, "time_falling_mach", 2.5, body="thistledown")
    page = flat(summarise(flight).splitlines())
    assert (
        "fall without a canopy beyond 15 deg incidence (booster for up to 20 s): forces are good to some 30 %" in page
        and "Mach above 0.8 in such a fall: for 2.50 s" in page
    )
    change(ensemble, "time_falling_crisis", 3.0, body="booster", flight=slice(0, 4))
    assert "in such a fall: in 5 of 20 flights (25 %), for up to 3.00 s" in flat(summarise(ensemble).splitlines())
    change(ensemble, "separation_time", np.nan, flight=slice(0, 4))  # they stayed in the stack, whose own fall counts
    assert "cross flow above Reynolds 1e5" not in flat(summarise(ensemble).splitlines())


def test_landing_section__of_an_ensemble_counts_ways_and_leaves_out_what_stayed_joined(ensemble):
    change(ensemble, "descent", Descent.TUMBLING, body="booster", flight=slice(0, 2))
    change(ensemble, "separation_time", np.nan, flight=slice(10, 19))
    change(ensemble, "body_landing_energy", 1e6, body="booster", flight=slice(10, 19))  # of the whole stack: not the booster's
    lines = flat(landing_section(ensemble))
    assert "booster comes down under a canopy in 7, tumbling in 3 of 10 flights" in lines
    assert "energy at the ground J 49 49 49" in lines
    east, north = (ensemble[f"body_landing_{way}"].sel(body="booster").values[:10] for way in ("east", "north"))
    bearing = math.degrees(math.atan2(east.mean(), north.mean()))
    assert f"mean place {math.hypot(east.mean(), north.mean()):.0f} m from the rail, bearing {bearing:.0f} deg true" in lines


def test_recovery_section__loads_against_strengths(flight, ensemble):
    """Strengths of the mission by hand: 200 N of the booster's canopy, 900 N of the main's harness."""
    lines = flat(recovery_section(flight))
    assert "booster canopy airspeed at deployment m/s 8.0 airspeed at line stretch m/s 9.0 opening load N 50 of its strength % 25" in lines
    assert "main airspeed at deployment m/s 15.0 airspeed at line stretch m/s 15.5 opening load N 90 airframe's part in the drag % 8" in lines
    assert "snatch of the ejection N 140 of the harness's strength % 16" in lines
    change(ensemble, "opening_load", 250.0, canopy="booster canopy", flight=slice(0, 1))
    change(ensemble, "opening_load", np.nan, canopy="booster canopy", flight=5)
    assert "exceeded in 2 of 19 flights (11 %)" in flat(recovery_section(ensemble))


def test_recovery_section__strength_of_a_harness_as_drawn(demo_mission):
    ds = staged_ensemble(demo_mission, disperse={"harness.strength": {"kind": "fixed", "mean": 0.1}})
    assert "of the harness's strength % 156 156 156 exceeded in 20 of 20 flights" in flat(recovery_section(ds))  # 140 N of 90 N


def test_doings__group_what_does_the_same(flight):
    found = doings(mission_of(flight, "test"))
    names = {what: [str(flight["rule"].values[k]) for k in rules] for what, rules in found.items()}
    assert names["deploy drogue"] == ["deploy drogue: apogee", "deploy drogue: backup"]
    assert names["separate booster"] == ["drop booster"] and names["ignite thistledown"] == ["second fire"]
    assert not any("fins" in what for what in names)


def test_fired_section__of_a_flight(flight):
    lines = flat(fired_section(flight))
    assert "deploy drogue: opened by 'apogee' at 18.50 s; 'backup' fired at 30.00 s (already open)" in lines
    assert "separate booster: separated by 'drop booster' at 2.05 s" in lines
    change(flight, "event_time", np.nan, event="ignition thistledown")
    change(flight, "rule_fired", np.nan, rule="deploy drogue: backup")
    change(flight, "rule_fired", np.nan, rule="drop booster")
    change(flight, "rule_given_up", 4.0, rule="drop booster")
    lines = flat(fired_section(flight))
    assert "'second fire' fired at 2.70 s without effect" in lines
    assert "'backup' never fired" in lines and "'drop booster' gave up waiting at 4.00 s" in lines


def test_fired_section__of_an_ensemble(ensemble):
    change(ensemble, "rule_acted", 0, rule="deploy drogue: apogee", flight=slice(0, 4))
    change(ensemble, "rule_acted", 1, rule="deploy drogue: backup", flight=slice(0, 4))
    change(ensemble, "event_time", np.nan, event="deployment drogue", flight=slice(3, 5))  # no canopy, though rules acted
    lines = flat(fired_section(ensemble))
    assert "deploy drogue: opened by 'apogee' in 14; 'backup' in 3; not at all in 3 of 20 flights" in lines
    assert "ignite thistledown: ignited by 'second fire' in 20 of 20 flights" in lines


def test_branch_section__conditional_on_the_branch(ensemble):
    assert branch_section(ensemble) == []  # all nominal
    ensemble["branch"] = ("flight", ["nominal"] * 15 + ["no_ignition: thistledown"] * 5)
    ensemble["apogee_height"].values[:] = [1000.0] * 15 + [200.0] * 5
    ensemble["landing_east"].values[:] = [300.0] * 15 + [30.0] * 5
    ensemble["landing_north"].values[:] = [400.0] * 15 + [40.0] * 5
    ensemble["status"].values[19] = Status.DIVERGED  # has a branch, but no apogee worth a quantile
    ensemble["apogee_height"].values[19] = 1e9
    lines = branch_section(ensemble)
    assert lines[3].split() == ["nominal", "15", "75.0", "%", "1000", "1000", "1000", "500", "500", "500"]
    assert lines[4].split() == ["no_ignition:", "thistledown", "5", "25.0", "%", "200", "200", "200", "50", "50", "50"]


def test_branch_section__rare_ones_together(ensemble):
    ensemble["branch"] = ("flight", [f"branch {k}" for k in range(20)])
    lines = branch_section(ensemble)
    assert len(lines) == 3 + 12 + 1 and "8 rarer branches in 8 of 20 flights (40 %)" in lines[-1]


# ---------------------------------------------------------------- cautions


def test_cautions__none_about_a_flight_that_goes_well(flight, ensemble):
    assert cautions(flight) == [] and cautions(ensemble) == []


@pytest.mark.parametrize(
    ("name", "value", "where", "words"),
    [
        ("recontact", 1, {"joint": "booster"}, "the pieces touch again after booster has separated"),
        ("separation_cause", layout.BY_DRAG, {"joint": "booster"}, "drag separates booster before its separation is commanded"),
        ("event_tilt", 0.36, {"event": "ignition thistledown"}, "thistledown is ignited while it leans more than 20 deg, 20.6 deg"),
        ("event_time", 2.0, {"event": "ignition thistledown"}, "thistledown is ignited while booster is still attached"),
        ("body_landing_time", np.nan, {"body": "booster"}, "booster does not come down within the flight"),
        ("descent", Descent.NOSE_FIRST, {"body": "booster"}, "more than 20 J (a project threshold), 48.6 J"),
        ("descent", Descent.TUMBLING, {"body": "thistledown"}, "thistledown comes down without a canopy"),
        ("deployment_airspeed", 31.0, {"canopy": "main"}, "main is deployed at more than 30 m/s (a project threshold), 31.0 m/s"),
        ("opening_load", 220.0, {"canopy": "booster canopy"}, "opening load of booster canopy is above its strength, 110.0 % of it"),
        ("snatch_load", 990.0, {"canopy": "main"}, "snatch of main's ejection is above its harness's strength, 110.0 % of it"),
        ("failure_happened", 1, {"failure": "harness_breaks: main"}, "the harness of main breaks under its load"),
        ("event_time", 16.0, {"event": "deployment drogue"}, "drogue is deployed in the climb, 2.0 s before apogee"),
        ("event_time", 7.0, {"body": "booster", "event": "deployment booster canopy"}, "booster canopy is deployed in the climb, 1.0 s"),
        ("rule_fired", np.nan, {"rule": "deploy drogue: backup"}, "the rule 'deploy drogue: backup' never fires"),
    ],
)
def test_cautions__one_for_each_check(flight, ensemble, name, value, where, words):
    change(flight, name, value, **where)
    found = cautions(flight)
    assert len(found) == 1 and words in found[0]
    change(ensemble, name, value, **where, flight=slice(0, 1))
    found = cautions(ensemble)
    # what stands after a comma is the worst of the flights; it is said there to be so
    assert len(found) == 1 and found[0].startswith("in 2 of 20 flights (10 %) ") and words.split(",")[0] in found[0]


def test_cautions__a_rule_that_gave_up(flight):
    change(flight, "rule_fired", np.nan, rule="second fire")
    change(flight, "rule_given_up", 4.0, rule="second fire")
    assert cautions(flight) == ["the rule 'second fire' gives up waiting for its conditions"]


def test_cautions__light_pieces_and_pieces_that_stay_joined_are_let_be(flight):
    change(flight, "descent", Descent.TUMBLING, body="booster")
    change(flight, "body_landing_energy", 19.0, body="booster")
    assert cautions(flight) == []
    change(flight, "body_landing_energy", 500.0, body="booster")
    change(flight, "separation_time", np.nan)
    change(flight, "event_time", np.nan, event="ignition thistledown")
    assert cautions(flight) == []  # that energy is the whole vehicle's


def test_cautions__a_joint_made_to_slip_is_let_be(demo_mission):
    """Drag that parts a joint which no rule parts is how that vehicle works."""
    tables = staged_mission(demo_mission).model_dump()
    tables["stage"][1]["joint"] = {"retention_force": 0.0}
    ds = staged_flight(demo_mission)
    change(ds, "separation_cause", layout.BY_DRAG)
    assert len(cautions(ds)) == 1
    tables["rule"] = [rule for rule in tables["rule"] if rule["action"] != "separate"]
    assert cautions(ds.assign_attrs(mission=build_mission(**tables).to_toml())) == []


def test_cautions__a_drawn_failure_of_a_harness_is_no_weakness(demo_mission):
    drawn = {"kind": "harness_breaks", "of": "main", "probability": 0.1}
    ds = staged_flight(demo_mission, failure=[drawn])
    change(ds, "failure_happened", 1, failure="harness_breaks: main")
    assert cautions(ds) == []


def test_cautions__a_ballistic_return_is_said_once(demo_mission):
    ds = flight_by_hand(demo_mission)
    ds["rail_departure_speed"].values[()], ds["static_margin_min"].values[()] = 20.0, 2.0
    ds["saturation_share"].values[()] = ds["rail_departure_incidence"].values[()] = 0.0
    ds["opening_airspeed"].values[()] = np.nan
    change(ds, "descent", Descent.NOSE_FIRST)
    change(ds, "body_landing_energy", 4000.0)
    assert [text[:16] for text in cautions(ds)] == ["no canopy opened"]


def test_cautions__without_a_mission_say_what_they_can(flight):
    bare = flight.drop_attrs(deep=False)
    change(bare, "rule_fired", np.nan, rule="fins on")
    change(bare, "recontact", 1)
    assert [text[:16] for text in cautions(bare)] == ["the pieces touch", "the rule 'fins o"]
    assert "Rules that fired" not in summarise(bare) and "Recovery" in summarise(bare)


def test_recovery_section__says_how_much_of_the_drag_is_the_airframes(flight, demo_mission):
    """Side area of the bodies by hand against CD pi D^2/4; and with a drawn coefficient of the airframe, 0.5 of it."""
    booster = staged_mission(demo_mission).stage[1]
    side = sum(part.diameter * part.length for part in booster.part if part.kind == "tube")
    side += sum(0.5 * (part.fore_diameter + part.aft_diameter) * part.length for part in booster.part if part.kind == "transition")
    canopy = next(part for part in booster.part if part.kind == "parachute")
    lines = canopy.drag_coefficient * math.pi * canopy.diameter**2 / 4.0
    for ds, factor in ((flight, 1.0), (staged_ensemble(demo_mission, disperse={"vehicle.hanging_drag": {"kind": "fixed", "mean": 0.5}}), 0.5)):
        share = airframe_share(ds, mission_of(ds, "test"), 2)
        np.testing.assert_allclose(share, factor * side / (factor * side + lines), rtol=1e-6)
    assert f"airframe's part in the drag % {100.0 * side / (side + lines):.0f}" in flat(recovery_section(flight))
    assert "CD of a loose piece on its side 1.00" in flat(recovery_section(flight))
