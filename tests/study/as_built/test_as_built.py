"""Round trips: what is measured of a stage as the mission has it is the stage; with errors, intervals hold as often as they say."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from strangers import stranger
from workbench import GRAVITY, body, loads, readings, small_period, strings_stiffness

import sixdof
from sixdof.mission.errors import MissionError
from sixdof.study.as_built.as_built import as_built, parts_of
from sixdof.study.as_built.bench import measured_stage
from sixdof.study.as_built.readings import readings_of
from sixdof.study.as_built.with_measured import with_measured
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe

READINGS = Path(__file__).parents[3] / "configs/whinchat-readings.toml"
STAGES = [("demo", 0), ("whole", 0), ("whole", 1), ("canard", 0), ("slender", 0), ("stack", 0), ("stack", 1), ("stack", 2)]
MEASURED = ("mass", "cg", "inertia_roll", "inertia_pitch", "inertia_yaw")


@pytest.fixture(scope="module")
def missions(demo_mission, stack_mission):
    return {"demo": demo_mission, "whole": stack_mission, **{name: stranger(name) for name in ("canard", "slender", "stack")}}


def value(built, quantity):
    return float(built["value"].values[list(built["quantity"].values).index(quantity)])


@pytest.mark.parametrize("motors", ["out", "cases", "loaded"])
@pytest.mark.parametrize(("name", "number"), STAGES)
def test_round_trip__of_every_stage(missions, name, number, motors):
    """Synthetic readings of the stage, motor in or out, give its own mass, centre and inertia back, and the same flight of the mission that holds them."""
    mission = missions[name]
    built = as_built(mission, readings(mission, number, motors=motors))
    mass, centre, inertia = body(mission, number)
    wanted = dict(zip(MEASURED, (mass, centre, *inertia)))
    found = with_measured(mission, built).stage[number].measured
    for key in MEASURED:
        # loads and periods are rounded to 1e-16 and a motor may be heavier than what it is taken off from; the stage's own centre off the axis is left out
        assert getattr(found, key) == pytest.approx(wanted[key], rel=2e-7), key
    assert np.abs(built["difference"].values[:2]).max() < 1e-9


@pytest.mark.parametrize("swings", [("bifilar yaw", "bifilar roll"), ("trifilar pitch", "trifilar yaw", "compound pitch")])
def test_round_trip__of_every_kind_of_swing(missions, swings):
    mission = missions["whole"]
    built = as_built(mission, readings(mission, 0, motors="cases", swings=swings))
    inertia = dict(zip(MEASURED[2:], body(mission, 0)[2]))
    for quantity in {f"inertia_{words.split()[1]}" for words in swings}:
        assert value(built, quantity) == pytest.approx(inertia[quantity], rel=2e-7)


def test_round_trip__through_a_mission_that_was_measured_before(missions):
    """A stage that was measured once is measured again, heavier and further aft: the tables hold the new numbers."""
    mission = missions["demo"]
    heavier = mission.change({"stage.0.measured": {"mass": "2.4 kg", "cg": "0.75 m", "inertia_pitch": 0.3, "inertia_yaw": 0.3, "inertia_roll": 0.002}})
    found = with_measured(mission, as_built(mission, readings(heavier, 0))).stage[0].measured
    assert [getattr(found, key) for key in MEASURED] == pytest.approx([2.4, 0.75, 0.002, 0.3, 0.3], rel=1e-7)


def test_dummy_motor__is_taken_off(missions):
    """A rod of 310 g where the motor goes, in all measurements: without it the stage is what it was."""
    mission = missions["whole"]
    mass, centre, inertia = body(mission, 0)
    rod, at, long = 0.31, 1.19, 0.2
    whole = mass + rod
    middle = (mass * centre + rod * at) / whole
    pitch = inertia[1] + mass * (centre - middle) ** 2 + rod * (long**2 / 12.0 + 0.019**2 / 4.0 + (at - middle) ** 2)
    shown, arms = loads(whole, middle, 0.3, 1.1), (middle - 0.35, 1.05 - middle)
    time = 10.0 * small_period(strings_stiffness(whole, arms, 1.5), pitch)
    tables = {
        "aboard": [{"name": "rod", "mass": rod, "middle": at, "length": long, "diameter": "38 mm"}],
        "scales": {
            "fore_support": 0.3,
            "aft_support": 1.1,
            "support_error": 0.0,
            "fore": [shown[0] + 0.05],
            "fore_tare": 0.05,
            "aft": [shown[1]],
            "resolution": 0.0,
            "aboard": ["rod"],
        },
        "swing": [{"kind": "bifilar", "about": "pitch", "fore_string": 0.35, "aft_string": 1.05, "length": 1.5, "length_error": 0.0, "swings": 10}],
    }
    tables["swing"][0] |= {"times": [time], "time_error": 1e-9, "aboard": ["rod"]}
    built = as_built(mission, {"gravity": GRAVITY, "stage": [{"name": "whinchat", **tables}]})
    assert [value(built, quantity) for quantity in ("mass", "cg", "inertia_pitch")] == pytest.approx([mass, centre, inertia[1]], rel=1e-9)


def test_rolling__puts_the_heavy_side_where_it_hangs(missions):
    """8 g at 38 mm on a stage of 1.87 kg: 0.16 mm. Heavy at 90 deg, clockwise from +z seen from behind: towards -y."""
    tables = readings(missions["whole"], 0, swings=())
    tables["stage"][0]["rolling"] = {"heavy_side": "90 deg", "heavy_side_error": "5 deg", "trim_mass": "8 g", "trim_mass_error": "1 g", "trim_radius": "38 mm"}
    built = as_built(missions["whole"], tables)
    off = 0.008 * 0.038 / body(missions["whole"], 0)[0]
    assert value(built, "cg_y") == pytest.approx(-off, rel=1e-9)
    assert value(built, "cg_z") == pytest.approx(0.0, abs=1e-12)
    assert built["error"].values[2:4] == pytest.approx([off / 8.0, off * math.radians(5.0)], rel=1e-5)


def test_fins__mean_and_error_of_an_odd_set(missions):
    """Five fins of the middle stage: the mean of means, and 0.1 deg over the root of the readings of each, and the gauge's zero."""
    panels = [["0.1 deg", "0.3 deg"], ["0.1 deg"], ["0.0 deg"], ["0.2 deg"], ["-0.1 deg"]]
    tables = {"stage": [{"name": "bulrush", "fins": [{"panels": panels, "error": "0.1 deg", "datum_error": "0.05 deg"}]}]}
    built = as_built(missions["stack"], tables)
    assert math.degrees(float(built["value"][0])) == pytest.approx(np.mean([0.2, 0.1, 0.0, 0.2, -0.1]))
    assert math.degrees(float(built["error"][0])) == pytest.approx(math.hypot(math.sqrt(0.1**2 / 2.0 + 4.0 * 0.1**2) / 5.0, 0.05), rel=1e-6)
    assert np.degrees(built["panel_angle"].values) == pytest.approx([0.2, 0.1, 0.0, 0.2, -0.1], abs=1e-12)
    flown = with_measured(missions["stack"], built)
    (fins,) = [part for part in flown.stage[1].part if part.kind == "fins"]
    assert fins.cant == pytest.approx(float(built["value"][0])) and flown.disperse["aero.fin_cant"].of["bulrush"].sd == pytest.approx(float(built["error"][0]))
    assert flown.disperse["aero.fin_cant"].sd == missions["stack"].disperse["aero.fin_cant"].sd  # of the others: as it was


# ---------------------------------------------------------------- with errors


def test_coverage__over_many_builds(missions):
    """400 workshops that err as they say: 95 % of their intervals of 1.96 sd hold the truth, give or take three standard deviations of such a count."""
    mission, builds, rng = missions["whole"], 400, np.random.default_rng(3)
    mass, centre, inertia = body(mission, 0)
    truth, held = np.array([mass, centre, inertia[1]]), []
    step, near, watch, mark = 0.002, 0.0015, 0.12, 0.001
    for _ in range(builds):
        slip = rng.normal(0.0, near, 2)
        shown = loads(mass, centre, 0.4 + slip[0], 1.1 + slip[1])
        scale = [[float(np.round((one + rng.normal(0.0, 0.001)) / step) * step) for _ in range(3)] for one in shown]
        fore, aft, length = 0.4 + rng.normal(0.0, mark), 1.05 + rng.normal(0.0, mark), 1.5 + rng.normal(0.0, 0.003)
        period = small_period(strings_stiffness(mass, (centre - fore, aft - centre), length), inertia[1])
        swing = {"kind": "bifilar", "about": "pitch", "fore_string": 0.4, "aft_string": 1.05, "string_error": mark, "length": 1.5, "length_error": 0.003}
        swing |= {"swings": 10, "times": [10.0 * period + rng.normal(0.0, watch) for _ in range(3)], "time_error": watch}
        scales = {"fore_support": 0.4, "aft_support": 1.1, "support_error": near, "fore": scale[0], "aft": scale[1], "resolution": step, "error": 0.001}
        made = readings_of({"gravity": GRAVITY, "gravity_error": 0.0, "stage": [{"name": "whinchat", "scales": scales, "swing": [swing]}]})
        found = measured_stage(mission, made, made.stage[0], draws=2)[1]
        held.append(np.abs(found.value - truth) < 1.96 * found.sd)
    # of the mass a part is the display's rounding, which three readings partly average out and the sd does not: it may hold a little more often
    assert np.mean(held, axis=0) == pytest.approx([0.96, 0.95, 0.95], abs=3.0 * math.sqrt(0.05 * 0.95 / builds))


def test_first_order__and_draws_agree_on_the_demos_readings(missions):
    built = as_built(missions["whole"], READINGS)
    assert built["drawn_error"].values == pytest.approx(built["error"].values, rel=0.04)  # an sd of 20000 draws is known to 0.5 %; the heavy side bends most
    assert built["budget"].sum("reading").values == pytest.approx(np.ones(built.sizes["row"]), rel=1e-9)
    assert str(built["reading"].values[built["budget"].sel(row="mass of whinchat").values.argmax()]) == "calibration of the scale"


def test_page__says_where_the_mass_sits_that_the_parts_lack(missions):
    """Instruments of 400 g written as 90 g: 310 g at 430 mm, and the glue of the demo's readings, 41 g at 1.02 m, in one place between the two."""
    mission = missions["whole"].change({"stage.whinchat.part.instruments.mass": "90 g"})
    page = " ".join(str(sixdof.report(as_built(mission, READINGS))).split())
    assert "Mass of whinchat: 351.1 g more than the parts" in page
    assert f"as if it sat at {(310.0 * 430.0 + 41.1 * 1063.0) / 351.1:.0f} mm (give or take 4; there: avionics bay, instruments)" in page


def test_page__says_that_the_mass_explains_the_inertia(missions):
    """The servos written away, 189 g far aft: what is lacking in mass is lacking in pitch, and no other reason is looked for."""
    mission = missions["whole"]
    light = mission.change({"stage.whinchat.part.servos.mass": "1 g"})
    tables = readings(mission, 0, swings=("bifilar pitch",))
    page = " ".join(str(sixdof.report(as_built(light, tables))).split())
    assert "as if it sat at 1200 mm (give or take 0; there: airframe, tail, mount, servos)" in page and "the mass above, where it sits, makes it so" in page


def test_one_scale__errs_alike_at_both_ends(missions):
    """A scale that shows too much by the same share everywhere moves no centre of mass; two scales that err apart do."""
    tables = readings(missions["whole"], 0, swings=())
    scales = tables["stage"][0]["scales"]
    scales["calibration"] = "0.2 %"
    apart, together = (
        as_built(missions["whole"], {**tables, "stage": [{"name": "whinchat", "scales": {**scales, "one_scale": one}}]}) for one in (False, True)
    )
    mass = body(missions["whole"], 0)[0]
    assert float(together["error"][0]) == pytest.approx(0.002 * mass, rel=1e-6) and float(together["error"][1]) < 1e-12
    assert float(apart["error"][0]) == pytest.approx(0.002 * math.hypot(scales["fore"][0], scales["aft"][0]), rel=1e-6)
    assert float(apart["error"][1]) > 1e-4


def test_parts__are_those_of_the_stage_as_written(missions):
    stage = missions["stack"].stage[2]
    lump = airframe(shape_of([stage]), 0, stage)
    heavier = stage.model_copy(update={"measured": sixdof.parts.Measured(mass=9.0)})
    assert parts_of(heavier)["mass"] == pytest.approx(lump.mass) and parts_of(heavier)["inertia_yaw"] == pytest.approx(lump.inertia[2, 2])


# ---------------------------------------------------------------- what does not fit


def refused(mission, tables):
    with pytest.raises(MissionError) as caught:
        as_built(mission, tables)
    (fault,) = caught.value.faults
    return str(fault)


def test_refused__what_does_not_fit_the_mission(missions):
    mission = missions["whole"]
    tables = readings(mission, 0, swings=("bifilar pitch",))
    (stage,) = tables["stage"]
    assert 'no stage "winchat"; stages: whinchat, drayhorse' in refused(mission, {**tables, "stage": [{**stage, "name": "winchat"}]})
    beside = {**stage["swing"][0], "fore_string": 0.9, "aft_string": 1.2}
    said = refused(mission, {**tables, "stage": [{**stage, "swing": [beside]}]})
    assert "moment of inertia comes out as -" in said and "between the strings" in said
    fins = {"panels": [["0.1 deg"]] * 3, "error": "0.1 deg"}
    assert "readings of 3 panels, and tail has 4" in refused(mission, {"stage": [{"name": "whinchat", "fins": [fins]}]})
    assert 'no set "tale"; sets of fins: tail' in refused(mission, {"stage": [{"name": "whinchat", "fins": [{**fins, "name": "tale"}]}]})
    heavy = {**stage, "aboard": [{"name": "anvil", "mass": "9 kg", "middle": 0.5}], "scales": {**stage["scales"], "aboard": ["anvil"]}, "swing": []}
    assert "weighs more than the scales show" in refused(mission, {**tables, "stage": [heavy]})
    with pytest.raises(TypeError, match="as_built: mission must be a sixdof.Mission"):
        as_built("two-stage.toml", tables)


def test_remarks__on_scatter_that_was_not_stated(missions):
    tables = readings(missions["whole"], 0, swings=())
    scales = tables["stage"][0]["scales"]
    scales |= {"fore": [scales["fore"][0] + x for x in (-0.02, 0.0, 0.02)], "error": 0.001}
    built = as_built(missions["whole"], tables)
    assert "readings of the fore scale scatter by 20 g, more than the 1 g stated" in built.attrs["remarks"]
    assert float(built["error"][0]) == pytest.approx(math.hypot(0.02 / math.sqrt(3.0), 0.001), rel=1e-6)
