"""Which motors go into a mount: every reason told, adapters weighed, limits summed, by geometry written out here."""

from __future__ import annotations

import math

import pytest

import sixdof
from sixdof.study.motor_choice.fit import ADAPTER, estimated_adapter_mass, fit_of, fit_of_file, limits_of
from sixdof.vehicle.mass import mass_at, mass_table

CURVE = "time (s), thrust (N)\n0, 0\n0.02, 600\n1.0, 550\n1.2, 0\n"


def motor_file(folder, name, length="200 mm", diameter="54 mm", propellant="270 g"):
    path = folder / f"{name}.csv"
    path.write_text(f"# propellant_mass = {propellant}\n# case_mass = 290 g\n# length = {length}\n# diameter = {diameter}\n{CURVE}")
    return path


def fit(mission, path, weighed=None, **limits):
    return fit_of_file(mission, path, len(mission.stage) - 1, weighed, limits_of(limits))


def test_fit__the_demo_motor_fits_with_the_rooms_of_its_drawing(stack_mission):
    """Mount 320 to 620 mm, motor 200 mm: fore end at 420 mm; the canopy ends at 230 + 55 mm. Body of 98 mm, wall of 1.2, mount of 54.4 + 2 mm."""
    found = fit_of(stack_mission, "mesa-i", 1, None, {})
    assert found.reasons == () and found.adapter == "" and found.mission == stack_mission
    assert found.room_ahead == pytest.approx(0.420 - 0.285, abs=1e-9)
    assert found.fin_clearance == pytest.approx(0.049 - 0.0012 - 0.0272 - 0.001, abs=1e-9)


def test_fit__too_wide_says_what_the_body_would_hold(stack_mission, tmp_path):
    (said,) = fit(stack_mission, motor_file(tmp_path, "wide", diameter="75 mm")).reasons
    assert said.startswith("its diameter, 75 mm, is more than the mount's 54.4 mm; the body holds a mount of up to 93.6 mm")


def test_fit__too_long_says_how_much_and_what_is_ahead(stack_mission, tmp_path):
    """The mount holds 300 mm, 35 mm are free ahead of it: 330 mm would go into a longer mount, 340 mm into none."""
    (longer,) = fit(stack_mission, motor_file(tmp_path, "long", length="330 mm")).reasons
    assert "is 30 mm more than the mount holds" in longer and 'to the parachute "booster main"' in longer and "a mount 30 mm longer would hold it" in longer
    (none,) = fit(stack_mission, motor_file(tmp_path, "longest", length="340 mm")).reasons
    assert "35 mm are free ahead" in none and none.endswith("no longer mount holds it")


def test_fit__all_reasons_are_told_at_once(stack_mission, tmp_path):
    found = fit(stack_mission, motor_file(tmp_path, "monster", "800 mm", "98 mm", "700 g"), propellant_mass="500 g")
    assert len(found.reasons) == 3 and found.mission is None
    assert "and no mount of this body holds it" in found.reasons[0]
    assert found.reasons[2] == "the propellant mass of all motors of the vehicle, 0.841 kg, is over the limit of 0.5 kg"  # 700 g and the sustainer's 141 g


def test_fit__all_motors_of_the_vehicle_together(stack_mission):
    """The sustainer's playa-h and the booster's mesa-i, of the mission file: 141 + 270 g."""
    found = fit_of(stack_mission, "mesa-i", 1, None, {})
    assert found.vehicle_propellant == pytest.approx(0.411) and found.vehicle_impulse == pytest.approx(266.47 + 520.3)  # trapezoids of their CSVs


def test_fit__of_a_cluster_counts_every_tube(stack_mission, tmp_path):
    """Three tubes of 29 mm about the booster's axis, each with a motor of 24 mm: three adapters, three times the propellant."""
    ring = {"count": 3, "ring_radius": "22 mm", "inner_diameter": "29.4 mm"}
    tiny = {"propellant_mass": "60 g", "case_mass": "40 g", "length": "120 mm", "diameter": "29 mm", "thrust_curve": {"time": [0, 1.2], "thrust": [150, 100]}}
    changes = {f"stage.drayhorse.part.mount.{key}": value for key, value in ring.items()}
    cluster = stack_mission.change({"motor.tiny": tiny, "stage.drayhorse.part.mount.motor": "tiny", **changes})
    found = fit(cluster, motor_file(tmp_path, "thin", "250 mm", "24 mm", "180 g"), 0.01)
    assert found.reasons == () and found.adapter.startswith("3 adapters from 24 mm to 29.4 mm") and "10 g each" in found.adapter
    assert found.adapter_mass == pytest.approx(0.03) and found.vehicle_propellant == pytest.approx(0.141 + 3 * 0.18)
    assert found.fin_clearance == pytest.approx(0.049 - 0.0012 - 0.022 - 0.0147 - 0.001, abs=1e-9)


def test_fit__a_limit_holds_up_to_itself(stack_mission, tmp_path):
    path = motor_file(tmp_path, "same")
    assert fit(stack_mission, path, propellant_mass=0.270 + 0.141).reasons == ()
    assert fit(stack_mission, path, propellant_mass=0.270 + 0.140).reasons != ()


def test_fit__something_packed_where_the_motor_goes(stack_mission, tmp_path):
    crowded = stack_mission.change({"stage.drayhorse.part.booster main.station": "400 mm"})
    assert fit(crowded, motor_file(tmp_path, "short")).reasons == ('the parachute "booster main" sits at 345 mm to 455 mm, where the motor goes',)


def test_fit__a_file_that_says_too_little_is_a_row_of_its_own(stack_mission, tmp_path):
    (tmp_path / "bare.csv").write_text(CURVE)
    found = fit(stack_mission, tmp_path / "bare.csv")
    assert found.motor is None and "says nothing of propellant_mass" in found.reasons[0]


@pytest.mark.parametrize(("diameter", "needs"), [("54 mm", False), ("52.9 mm", False), ("52.8 mm", True), ("38 mm", True)])
def test_adapter__is_needed_where_the_gap_is_wider_than_a_label(stack_mission, tmp_path, diameter, needs):
    assert bool(fit(stack_mission, motor_file(tmp_path, "motor", diameter=diameter)).adapter) is needs


def test_adapter__weighs_a_sleeve_and_its_rings():
    """38 to 54.4 mm over 205 mm: a ring of paper-phenolic 1 mm thick and 39 mm across, and two rings of plywood from 40 to 54.4 mm."""
    sleeve = math.pi * 0.039 * 0.001 * 0.205 * 950.0
    rings = 2 * math.pi / 4.0 * (0.0544**2 - 0.040**2) * 0.006 * 680.0
    assert estimated_adapter_mass(0.0544, 0.038, 0.205) == pytest.approx(sleeve + rings, rel=1e-12)
    longer = estimated_adapter_mass(0.0544, 0.038, 0.250) - estimated_adapter_mass(0.0544, 0.038, 0.249)
    assert longer == pytest.approx(0.5 * rings + sleeve / 205.0, rel=1e-12)  # a third ring, and a millimetre of sleeve


def test_adapter__flies(stack_mission, tmp_path):
    """The stack with it is heavier by just its mass, and its centre moves by the lever rule."""
    path = motor_file(tmp_path, "thin", diameter="38 mm")
    with_it, without = (fit(stack_mission, path, weighed).mission for weighed in (0.058, 0.0))
    (heavy, far, _), (light, near, _) = (mass_at(mass_table(m, [0, 1]), 1.0) for m in (with_it, without))
    assert heavy - light == pytest.approx(0.058, abs=1e-12)
    station = 1.3 + 0.620 - 0.5 * 0.200  # the sustainer is 1.3 m long, the mount's aft end at 620 mm of the booster
    assert far[0] == pytest.approx((light * near[0] + 0.058 * station) / heavy, abs=1e-9)
    assert [part.name for part in with_it.stage[1].part][-1] == ADAPTER


def test_adapter__is_added_to_what_was_weighed_without_it(stack_mission, tmp_path):
    """A weighed stage replaces the sum of its parts: an adapter that were only a part would fly as nothing."""
    weighed = stack_mission.change({"stage.drayhorse.measured": {"mass": "900 g", "cg": "330 mm", "inertia_pitch": 0.03, "inertia_yaw": 0.03}})
    found = fit(weighed, motor_file(tmp_path, "thin", diameter="38 mm"), 0.06).mission.stage[1].measured
    assert found.mass == pytest.approx(0.96) and found.cg == pytest.approx((0.9 * 0.33 + 0.06 * 0.52) / 0.96)
    steiner = 0.9 * 0.06 / 0.96 * (0.52 - 0.33) ** 2  # both about the common centre
    own = 0.06 * (0.2**2 / 12.0 + 0.0544**2 / 16.0)
    assert found.inertia_pitch == pytest.approx(0.03 + steiner + own, rel=1e-12)


def test_fit__of_a_body_as_wide_as_its_motor():
    mission = sixdof.load_mission("tests/vehicles/slender.toml")
    found = fit_of(mission, "wick-i", 0, None, {})
    assert found.reasons == () and found.fin_clearance == pytest.approx(0.0, abs=1e-9)  # 20.3 - 1.0 - 19.1 - 0.2 mm
