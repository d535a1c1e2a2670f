"""Aerodynamics against Mach for people: sums, sources, configurations, the text report."""

from __future__ import annotations

import numpy as np
import pytest
from two_stages import on_booster

from sixdof.study.aero.report import SECTIONS, aero_report
from sixdof.study.aero.sources import DRAG, UNKNOWN
from sixdof.study.aero.tables import drag_against_mach, stability_against_mach
from sixdof.vehicle.aero.table import aero_table, drag_breakdown
from sixdof.vehicle.describe import balance

SUM = 1e-12


@pytest.fixture(scope="module")
def stack(demo_mission):
    return on_booster(demo_mission)


@pytest.mark.parametrize("stages", [None, [0]])
def test_drag__components_add_up(stack, stages):
    ds = drag_against_mach(stack, stages)
    np.testing.assert_allclose(ds["drag"].sum("component"), ds["build_up"], rtol=SUM)
    np.testing.assert_array_equal(ds["axial"], ds["build_up"])
    assert (ds["axial_burning"] <= ds["axial"]).all() and (ds["drag"] >= 0.0).all()
    assert ds.attrs["configuration"] == ("thistledown" if stages else "thistledown + booster")


def test_drag__is_the_build_up_in_the_sites_air(demo_mission):
    ds = drag_against_mach(demo_mission, mach=[0.5])
    thin = drag_breakdown(demo_mission, [0], [0.5])  # sea level: denser, so friction is a little less
    assert float(ds["axial"][0]) == pytest.approx(thin["total"][0], rel=0.02) and float(ds["axial"][0]) != thin["total"][0]


def test_drag__every_component_has_a_source(stack):
    ds = drag_against_mach(stack, mach=[0.5, 2.0])
    assert UNKNOWN not in ds["source"].values and set(ds["component"].values) <= set(DRAG)


def test_drag__measured_curve_is_flown(demo_mission):
    mission = demo_mission.change({"stage.0.measured.drag_curve": {"mach": [0, 2], "coefficient": [0.4, 0.6]}})
    ds = drag_against_mach(mission, mach=[1.0])
    assert float(ds["axial"][0]) == pytest.approx(0.5) and float(ds["build_up"][0]) != pytest.approx(0.5)


def test_stability__margins_are_those_of_the_description(stack):
    for stages in ([0], [0, 1]):
        ds, state = stability_against_mach(stack, stages, [0.3]), balance(stack, stages, 0.3)
        assert float(ds["slope"][0]) == pytest.approx(state.slope, rel=1e-9)
        assert ds["margin"].values[:, 0] == pytest.approx([state.margin_loaded, state.margin_burnt], rel=1e-9)


def test_stability__big_booster_fins_make_it_overstable(stack, demo_mission):
    both, alone = stability_against_mach(stack, mach=[0.3]), stability_against_mach(demo_mission, mach=[0.3])
    assert float(both["margin"].sel(state="loaded")[0]) > 2.0 * float(alone["margin"].sel(state="loaded")[0])
    assert list(both["fin_set"].values) == ["tail", "booster fins"]


def test_stability__signs_and_sources(stack):
    ds = stability_against_mach(stack)
    assert (ds["pitch_damping"] < 0).all() and (ds["roll_damping"] < 0).all() and (ds["roll_forcing"] > 0).all()
    assert (ds["slope"] > ds["body_slope"]).all()
    for name in ds.data_vars:
        assert ds[name].attrs["units"] and ds[name].attrs["long_name"]
        assert name == "centre_of_mass" or (ds[name].attrs["source"] and ds[name].attrs["accuracy"])


def test_stability__continuous_in_mach(stack):
    ds = stability_against_mach(stack)
    assert np.abs(np.diff(ds["slope"])).max() < 0.03 * float(ds["slope"].max())
    assert np.abs(np.diff(ds["centre_of_pressure"])).max() < 0.05 * ds.attrs["reference_length"]


@pytest.mark.parametrize(
    "change, message",
    [({"stages": [2]}, "it has 2, numbered from 0"), ({"stages": []}, "not stages"), ({"mach": [-1.0]}, "0 or more"), ({"mach": [float("nan")]}, "finite")],
)
def test_input__one_sentence(stack, change, message):
    for function in (drag_against_mach, stability_against_mach):
        with pytest.raises(ValueError, match=message):
            function(stack, **change)


def test_report__every_configuration_with_sources(stack):
    text = aero_report(stack)
    for words in ("thistledown + booster: axial force", "thistledown: normal force", "[1] ", "NACA Report 1307", "Left out"):
        assert words in text
    # drag, stability, authority, trim, hinges of both; the others are over incidence or are sentences
    assert len(SECTIONS) == 8 and text.count("\nMach ") == 10
    assert max(map(len, text.splitlines())) <= 130  # a table over twelve Mach numbers; sentences keep to the page


def test_report__says_plainly_what_the_fins_can_do(stack, demo_mission):
    text = aero_report(stack)
    for words in (
        "moment coefficient per degree of demand",
        "trimmed by a steady pitch demand",
        "roll coupling at Mach 0.3",
        "largest hinge moment on any fin",
        "no servo.stall_torque",
        "share of a commanded moment that survives",
        "Pitch: ",
        "REVERSED: the vehicle answers the wrong way round",
        "stops being trustworthy",
        "Stall of tail",
    ):
        assert words in text, words
    assert text.count("share of a commanded moment that survives") == 1  # of the stack, not of what is left
    assert "survives the fins behind" not in aero_report(demo_mission)


@pytest.mark.parametrize("torque, words", [(20.0, "it holds, with"), (0.05, "THE SERVO DOES NOT HOLD: its stall torque, 0.05 N m")])
def test_report__servo_against_the_hinge_moment(demo_mission, torque, words):
    assert words in aero_report(demo_mission.change({"servo.stall_torque": torque}))


def test_report__a_vehicle_without_control_fins_has_no_control_sections(demo_mission):
    text = aero_report(demo_mission.change({"stage.0.part.tail.control": False}))
    assert "hinge" not in text and "per degree of demand" not in text and "stops being trustworthy" in text


def test_tables__quick(stack):
    from time import perf_counter

    aero_table(stack, [0, 1])
    start = perf_counter()
    aero_table(stack, [0, 1])
    assert perf_counter() - start < 0.2
