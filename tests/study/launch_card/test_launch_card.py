"""The card against the mission's own numbers, against ensembles flown and sorted apart from it, and its changes flown again."""

from __future__ import annotations

import math
import os
import re

import numpy as np
import pytest
from figure_checks import complaints
from matplotlib.patches import Polygon
from strangers import stranger

import sixdof
from sixdof.ensemble.run import disperse
from sixdof.plot.preflight.sheet import EDGE, PAGES
from sixdof.study.launch_card.card import launch_card, sounding_date
from sixdof.study.launch_card.expected import bearings
from sixdof.study.launch_card.page import card_page
from sixdof.study.launch_card.safety import distances
from sixdof.study.launch_card.settings import settings
from sixdof.study.launch_card.verdict import DECISIONS
from sixdof.study.sweep.ballast import ballasted
from sixdof.study.wind_limit.air import wind_mission
from sixdof.vehicle.describe import totals

FLIGHTS, SEED = 20, 3
HOW = {"flights": FLIGHTS, "seed": SEED, "directions": 0, "threads": 1, "progress": False}
INCIDENCE = "rail_departure_incidence < 12 deg in 80 % of flights"
WINDY = "4.4 m/s from 250 deg"  # 5.7 m/s at 10 m: too much for the sampler


def in_wind(mission, speed, blows_from, **changes):
    """Flights of a mission that says this wind, as an ensemble of its own: what the card draws of the wind is gone."""
    wind = {"air.wind.speed": speed, "air.wind.blows_from": blows_from, "disperse.wind.speed": None, "disperse.wind.blows_from": None}
    return disperse(wind_mission(mission, "grows", False).change(wind | changes), FLIGHTS, seed=SEED, tracks="none", progress=False, threads=1)


@pytest.fixture(scope="module")
def card(demo_mission):
    """A no-go: the incidence at departure is too large."""
    return launch_card(demo_mission, [INCIDENCE, "apogee_height > 300 m in 50 % of flights"], wind=WINDY, **HOW)


@pytest.fixture(scope="module")
def staged(stack_mission):
    return launch_card(stack_mission, "lean at burnout < 20 deg in 90 % of flights", **HOW)


def row(ds, name):
    """5, 50 and 95 % of one expected number."""
    return ds.expected.values[ds.quantity.values.tolist().index(name)]


# ---------------------------------------------------------------- numbers


def test_expected__are_the_quantiles_of_the_same_flights_dispersed(demo_mission, card):
    speed = 4.4 * 5.0**0.16
    again = in_wind(demo_mission, speed, math.radians(250.0))
    for name, values in {
        "rail exit speed": again.rail_departure_speed,
        "apogee above ground": again.apogee_height,
        "largest Mach number": again.mach_max,
        "time of apogee": again.apogee_time,
        "lands at": np.hypot(again.landing_east, again.landing_north),
    }.items():
        assert row(card, name) == pytest.approx(np.quantile(values, [0.05, 0.5, 0.95]), rel=1e-12), name
    assert card.ceiling_height.values == pytest.approx(np.quantile(again.apogee_height, [0.95, 0.99]), rel=1e-12)
    at = np.sort(again.rail_departure_incidence.values)[15]  # the 16th of 20: 80 %
    assert float(card.reached[0]) == pytest.approx(at, rel=1e-12)
    assert float(card.spare[0]) == pytest.approx(math.radians(12.0) - at, rel=1e-12)
    assert DECISIONS[int(card.decision)] == "no-go"


def test_expected__times_come_in_the_order_of_the_flight(staged):
    times = [float(value[1]) for name, value in zip(staged.quantity.values, staged.expected.values, strict=True) if name.startswith("time of")]
    assert len(times) >= 8 and times == sorted(times)


def test_weights__at_the_edge_of_their_tolerance_still_fly_as_expected(demo_mission, card):
    """Weighed 2 sd heavier or lighter, the middle flight stays within the 5 to 95 % of the card's apogee."""
    which = card.weighing.values.tolist().index("thistledown, loaded")
    dry = totals(demo_mission, [0])[1].mass
    off = float(card.weighed_mass_tolerance[which]) / dry
    assert off == pytest.approx(0.02, rel=1e-3)
    low, _, high = row(card, "apogee above ground")
    for factor in (1.0 - off, 1.0 + off):
        spread = {"disperse.vehicle.mass": {"kind": "fixed", "mean": factor}}
        middle = float(np.median(in_wind(demo_mission, 4.4 * 5.0**0.16, math.radians(250.0), **spread).apogee_height))
        assert low < middle < high


def test_weights__of_a_mission_that_disperses_neither_follow_from_what_they_move(demo_mission):
    """Flown again 10 mm aft: a margin that moves by so much a millimetre says which shift makes its sd (or 0.1 calibre)."""
    bare = demo_mission.change({"disperse.vehicle.mass": None, "disperse.vehicle.cg": None})
    ds = launch_card(bare, "apogee_height > 1 m in 50 % of flights", wind="3 m/s from 240 deg", **HOW)
    wind = 3.0 * 5.0**0.16, math.radians(240.0)
    before = in_wind(bare, *wind).rail_departure_margin
    after = in_wind(bare, *wind, **{"disperse.vehicle.cg": {"kind": "fixed", "mean": "10 mm"}}).rail_departure_margin
    shift = max(float(before.std()), 0.1) / abs(float((after - before).mean()) / 0.01)
    facts = totals(bare, [0])
    which = ds.weighing.values.tolist().index("thistledown, loaded")
    allowed = float(ds.balance_point_tolerance[which])
    off = float(ds.weighed_mass_tolerance[which]) * (facts[1].centre[0] - facts[0].centre[0]) / facts[0].mass  # a heavier airframe moves it too
    assert allowed == pytest.approx(math.hypot(shift * facts[1].mass / facts[0].mass, off), rel=0.01)
    assert str(ds.balance_tolerance_from.values[which]).startswith("moves the static margin at departure")


def test_sheet__of_a_vehicle_without_fins_to_move_has_no_loops(demo_mission):
    ds = launch_card(stranger("slender"), "apogee_height > 1 m in 50 % of flights", **HOW | {"flights": 3})
    shown = " ".join(text.get_text() for text in sixdof.plot.plot_launch_card(ds).texts)
    assert "loop" not in shown and "Flight computer" not in shown and "Altimeters" in shown


def test_field__of_a_file_is_a_criterion_of_the_card(demo_mission, demo_path):
    """The field's own judge, asked about the same flights."""
    field = demo_path.parent / "lake-orrin-field.geojson"
    ds = launch_card(demo_mission, field=field, wind="1 m/s from 240 deg", **HOW | {"flights": 6})
    assert str(ds.criterion.values[-1]).startswith("every piece lands in")
    again = disperse(
        wind_mission(demo_mission, "grows", False).change(
            {"air.wind.speed": 5.0**0.16, "air.wind.blows_from": "240 deg", "disperse.wind.speed": None, "disperse.wind.blows_from": None}
        ),
        6,
        seed=SEED,
        tracks="none",
        progress=False,
        threads=1,
    )
    assert float(ds.observed[-1]) == np.mean(sixdof.preflight.lands_in_field(field, "95 %").holds(again)[0])


def test_bearings__about_north():
    """Two places a little either side of north: 350 and 10 deg are 20 deg apart, not 340."""
    found = bearings(np.array([-1.0, 1.0]), np.array([5.671, 5.671]))
    assert abs(found[1] - found[0]) == pytest.approx(20.0, abs=0.01)


def test_settings__name_every_number_of_rail_rules_and_altimeters(stack_mission):
    for mission in (stack_mission, stranger("canard"), stranger("slender"), stranger("stack")):
        text = "\n".join(f"{one.name}: {one.value}" for one in settings(mission))
        numbers = [f"{mission.rail.length:.2f} m", f"{math.degrees(mission.rail.elevation):.1f} deg", f"{round(math.degrees(mission.rail.azimuth)):03d} deg"]
        for each in (*mission.rule, *mission.recovery):
            numbers += [f"{each.delay:g} s"] if each.delay else []
        for rule in mission.rule:
            numbers += [f"tilt < {math.degrees(rule.tilt_below):g} deg"] if rule.tilt_below is not None else []
            numbers += [f"given up after {rule.timeout:g} s"] if rule.timeout is not None else []
        for each in mission.recovery:
            numbers += [f"backup timer {each.backup_time:g} s"] if each.backup_time is not None else []
            numbers += [f"at {each.height:.0f} m, falling"] if each.height is not None else []
            numbers += [f"{each.motor_delay:g} s after burnout: {each.canopy}"] if each.motor_delay is not None else []
        for stage in mission.stage[:-1]:
            numbers.append(f"{stage.ignition.delay:g} s from the command")
        assert [number for number in numbers if number not in text] == []


def test_settings__of_a_passive_vehicle_have_no_computer():
    groups = {one.group for one in settings(stranger("slender"))}
    assert groups == {"Rail", "Motors", "Altimeters"}


def test_settings__say_the_magnetic_bearing_of_the_rail():
    """The canard's magnetometer knows of 6 deg of declination, east: magnetic is 6 deg less than true."""
    lean = next(one.value for one in settings(stranger("canard")) if one.name == "leans to")
    assert lean == "243 deg (WSW) true, 237 deg magnetic"


def test_settings__a_rail_that_stands_upright_leans_nowhere(demo_mission):
    names = [one.name for one in settings(demo_mission.change({"rail.elevation": "90 deg"}))]
    assert "turned to" in names and "leans to" not in names


def test_distances__of_the_installed_motors(demo_mission, stack_mission):
    """By the table: H alone 100 ft; H and I together stay below 1280 N s, and two motors are complex: 200 ft."""
    one, two = distances(demo_mission), distances(stack_mission)
    assert (one.motors, one.people, one.cleared) == pytest.approx((1, 100.0 * 0.3048, 50.0 * 0.3048))
    assert (two.motors, two.people) == pytest.approx((2, 200.0 * 0.3048))
    facts = [sixdof.parts.motor_facts(stack_mission.motor[name]).total_impulse for name in ("playa-h", "mesa-i")]
    assert two.impulse == pytest.approx(sum(facts), rel=1e-12)


# ---------------------------------------------------------------- go, no-go, changes


def test_decision__of_a_vehicle_with_nothing_wrong_is_go(demo_mission):
    criteria = ["rail_departure_incidence < 15 deg in 80 % of flights", "lean at burnout < 20 deg in 80 % of flights"]
    found = launch_card(demo_mission, criteria, wind="0.5 m/s from 250 deg", **HOW)
    assert DECISIONS[int(found.decision)] == "go" and found.sizes["change"] == 0
    assert card_page(found).splitlines()[4] == "GO in the wind measured now"


def test_decision__what_is_not_held_even_in_calm_air_is_a_no_go(demo_mission):
    """A field of 5 m is held in no wind: no criterion is left out of the answer for that, whether common practice stands beside it or one's own."""
    for own in (None, "lean at burnout < 60 deg in 80 % of flights"):
        found = launch_card(demo_mission, own, wind="0.1 m/s from 250 deg", field="5 m", **HOW | {"flights": 6})
        assert DECISIONS[int(found.decision)] == "no-go"
        assert "landing within 5 m of the rail" in str(found.criterion.values[-1]) and float(found.observed[-1]) < 0.5
    assert found.sizes["criterion"] == 2


def test_cautions__of_a_vehicle_that_is_not_stable_and_has_no_canopy(demo_mission):
    tail = next(f"stage.0.part.{k}.semispan" for k, part in enumerate(demo_mission.stage[0].part) if part.kind == "fins")
    bad = demo_mission.change({tail: "25 mm", "recovery": []})
    found = launch_card(bad, "apogee_height > 1 m in 50 % of flights", **HOW)
    page = " ".join(card_page(found).split())
    assert "NOT STABLE: the static margin at departure is -" in page and "In 100 % of flights a body comes down WITHOUT A CANOPY" in page


def test_change__that_makes_a_yes_holds_when_it_is_flown_again(demo_mission, card):
    """Less wind: at the wind named 19 of 20 flights hold, which shows 80 % with 90 % confidence (0.8^20 + 20 0.2 0.8^19 = 0.07), at a step more fewer do."""
    which = card.change.values.tolist().index("less wind")
    assert bool(card.change_holds[which])
    speed = 4.4 * 5.0**0.16 + float(card.change_amount[which])
    for wind, holds in ((speed, True), (speed + 0.2, False)):
        again = in_wind(demo_mission, wind, math.radians(250.0))
        assert (np.sum(again.rail_departure_incidence < math.radians(12.0)) >= 19) == holds


def test_change__of_the_rail_holds_when_it_is_flown_again(demo_mission, card):
    which = card.change.values.tolist().index("longer rail")
    more = float(card.change_amount[which])
    assert bool(card.change_holds[which]) and float(card.change_effort[which]) == pytest.approx(more / 3.0)
    for length, holds in ((3.0 + more, True), (3.0 + more - 0.1, False)):
        again = in_wind(demo_mission, 4.4 * 5.0**0.16, math.radians(250.0), **{"rail.length": length})
        assert (np.sum(again.rail_departure_incidence < math.radians(12.0)) >= 19) == holds


def test_changes__the_smallest_stands_first_and_those_that_do_not_help_last(card):
    efforts, holds = card.change_effort.values, card.change_holds.values
    assert list(holds) == sorted(holds, reverse=True)
    assert list(efforts[holds]) == sorted(efforts[holds])
    assert "smallest change to a yes" in card_page(card)


def test_changes__none_helps_and_the_card_says_so(demo_mission):
    found = launch_card(demo_mission, "apogee_height > 5 km in 50 % of flights", wind=WINDY, **HOW | {"flights": 6})
    assert not found.change_holds.any()
    assert "no single change within reach makes it a GO" in " ".join(card_page(found).split())


def test_ballast__moves_a_weighed_stage_as_if_weighed_with_it(demo_mission):
    """A stage of 1.9 kg at 700 mm with 100 g at two thirds of the nose's 280 mm."""
    weighed = demo_mission.change({"stage.0.measured": {"mass": "1.9 kg", "cg": "700 mm"}})
    heavier = ballasted(weighed, 0.1)
    assert heavier.stage[0].measured.mass == pytest.approx(2.0)
    assert heavier.stage[0].measured.cg == pytest.approx((1.9 * 0.7 + 0.1 * 0.28 * 2.0 / 3.0) / 2.0)
    assert totals(ballasted(demo_mission, 0.1), [0])[0].mass == pytest.approx(totals(demo_mission, [0])[0].mass + 0.1)


# ---------------------------------------------------------------- the sheet


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("which", ["card", "staged"])
def test_sheet__holds_everything_on_one_page_in_letters_to_read(which, page, request, tmp_path):
    ds = request.getfixturevalue(which)
    ax = sixdof.plot.plot_launch_card(ds, page=page)
    assert complaints(ax.figure) == []
    sizes = {round(text.get_fontsize(), 3) for text in ax.texts}
    assert min(sizes) >= 6.5
    renderer = ax.figure.canvas.get_renderer()
    edges = np.array([text.get_window_extent(renderer).x1 for text in ax.texts]) * 72.0 / ax.figure.dpi
    assert edges.max() < PAGES[page][0] - 0.5 * EDGE
    ax.figure.savefig(tmp_path / "card.pdf")
    assert len(re.findall(rb"/Type /Page\b", (tmp_path / "card.pdf").read_bytes())) == 1


def test_sheet__of_a_heavy_vehicle_that_never_leaves_the_rail(demo_mission):
    """Masses of five figures stand beside the names of their rows, and what nothing is known of has no heading."""
    heavy = demo_mission.change({"stage.0.part.air sampler.mass": "80 kg"})
    ds = launch_card(heavy, "apogee_height > 1 m in 50 % of flights", **HOW | {"flights": 2})
    figure = sixdof.plot.plot_launch_card(ds).figure
    assert complaints(figure) == [] and not any("Static margin" in text.get_text() for ax in figure.axes for text in ax.texts)


def test_sheet__says_what_the_page_says(card):
    shown = " ".join(text.get_text() for text in sixdof.plot.plot_launch_card(card).texts)
    for word in ("NO-GO", "seed 3", card.attrs["source"], "not a clearance to fly", "range safety officer", "common practice"):
        assert word in shown and word in f"{card_page(card)} range safety officer"


def test_sheet__of_no_card_and_no_page(card, demo_flight):
    with pytest.raises(ValueError, match="is not a sheet; write one of a4, letter"):
        sixdof.plot.plot_launch_card(card, page="a5")
    with pytest.raises(ValueError, match="plot_launch_card needs setting_value"):
        sixdof.plot.plot_launch_card(demo_flight)


def test_card__of_no_mission_and_strange_criteria(demo_mission):
    with pytest.raises(TypeError, match="launch_card"):
        launch_card("sampler.toml")
    with pytest.raises(ValueError, match='there is no event "burnuot"'):
        launch_card(demo_mission, "lean at burnuot < 3 deg", **HOW)
    with pytest.raises(ValueError, match="launch_card needs criteria"):
        launch_card(demo_mission, [], **HOW)
    with pytest.raises((TypeError, ValueError), match='flights = "many"'):
        launch_card(demo_mission, INCIDENCE, **HOW | {"flights": "many"})


def test_sounding_date__from_its_head_or_its_file(tmp_path):
    dated, bare = tmp_path / "dated.csv", tmp_path / "bare.csv"
    dated.write_text("# invented, of 2031-05-04T06:30\nheight (m),speed (m/s)\n")
    bare.write_text("height (m),speed (m/s)\n")
    os.utime(bare, (86400.0 * 365.0, 86400.0 * 365.0))
    assert sounding_date(dated) == "2031-05-04 06:30"
    assert sounding_date(bare) == "file of 1971-01-01 00:00 UTC"


def test_limits__found_before_are_those_of_the_card(demo_mission, card):
    few = {"flights": 4, "winds": 2, "tolerance": 1.0, "seed": SEED, "threads": 1, "progress": False}
    found = sixdof.preflight.wind_limit(demo_mission, INCIDENCE, directions=["200 deg", "250 deg"], **few)
    with_them = launch_card(demo_mission, limits=found, wind="1 m/s from 240 deg", **HOW)
    assert [str(one) for one in with_them.criterion.values] == [INCIDENCE]
    assert with_them.wind_limit.values.tolist() == found.limit.values.tolist()
    assert float(with_them.wind_limit_now) == float(found.limit.min())
    with pytest.raises(ValueError, match="limits were found for other criteria"):
        launch_card(demo_mission, "apogee_height > 1 m", limits=found, **HOW)
    with pytest.raises(ValueError, match="needs the result of sixdof.preflight.wind_limit"):
        launch_card(demo_mission, limits=card, **HOW)


def test_sheet__has_the_wind_limits_and_their_sketch(demo_mission):
    few = {"flights": 4, "winds": 2, "tolerance": 1.0, "seed": SEED, "threads": 1, "progress": False}
    found = sixdof.preflight.wind_limit(demo_mission, INCIDENCE, directions=4, **few)
    ds = launch_card(demo_mission, limits=found, wind="1 m/s from 240 deg", **HOW)
    figure = sixdof.plot.plot_launch_card(ds).figure
    assert complaints(figure) == [] and len(figure.axes) == 2
    (sketch,) = figure.axes[1:]
    (edge,) = [patch for patch in sketch.patches if isinstance(patch, Polygon)]
    north = edge.get_xy()[0]  # the first direction is north: its limit stands straight up
    assert north == pytest.approx((0.0, float(found.limit[0])), abs=1e-9)
