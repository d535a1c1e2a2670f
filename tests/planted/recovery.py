"""Errors between ejection and full canopy, and in what comes loose."""

from __future__ import annotations

from planted.entry import PlantedError

OPENING = "tests/validation/test_opening.py::"
SWING = "tests/validation/test_swing.py::"
RECOVERY = "tests/validation/test_recovery.py::"
SEPARATION = "tests/validation/test_separation.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "canopy acts from its release",
        "core/flight/canopy.py",
        "return deployed[c] + canopy[c, CanopyColumn.WAIT] if deployed[c] >= 0.0 else inf",
        "return deployed[c] if deployed[c] >= 0.0 else inf",
        "the body hangs, and is braked broadside, before the lines are stretched",
        OPENING + "test_release__the_body_flies_on_until_line_stretch",
    ),
    PlantedError(
        "airframe broadside at once",
        "core/flight/canopy.py",
        "return total, rig.before + (rig.hanging - rig.before) * share",
        "return total, rig.hanging",
        "the airframe's drag jumps at line stretch, before the canopy has turned it",
        OPENING + "test_drag_area__goes_from_the_flown_to_the_hanging_one_without_a_jump",
    ),
    PlantedError(
        "flown drag area over twice q",
        "core/flight/canopy.py",
        "(load.air_speed * load.pressure), 0.0)",
        "(2.0 * load.air_speed * load.pressure), 0.0)",
        "the body loses half of its own drag at line stretch",
        OPENING + "test_drag_area__goes_from_the_flown_to_the_hanging_one_without_a_jump",
    ),
    PlantedError(
        "opening factor left out",
        "core/flight/canopy.py",
        "return factor * pressure",
        "return pressure",
        "the load of an opening without Knacke's Cx",
        OPENING + "test_ballistic_parameter__of_the_reference",
    ),
    PlantedError(
        "swing about half its lever",
        "core/flight/canopy.py",
        "lever = arm(body.cg, fore_x)",
        "lever = scale(arm(body.cg, fore_x), 0.5)",
        "the body hangs by a point half-way to its centre of mass",
        SWING + "test_small_swing__is_the_damped_oscillation_of_a_physical_pendulum",
    ),
    PlantedError(
        "swing damped twice over",
        "core/flight/canopy.py",
        "damping = 2.0 * SWING_DAMPING",
        "damping = 4.0 * SWING_DAMPING",
        "the rate's coefficient for 2 D w0 taken twice",
        SWING + "test_small_swing__is_the_damped_oscillation_of_a_physical_pendulum",
    ),
    PlantedError(
        "swing stepped too far",
        "core/flight/canopy.py",
        "SHARE_OF_SWING = 0.25",
        "SHARE_OF_SWING = 1.0",
        "steps of a radian of the swing, of which RK4 makes a percent",
        SWING + "test_small_swing__in_the_steps_of_a_real_flight_computer",
    ),
    PlantedError(
        "hanging attitude turns with the inertial rate",
        "core/flight/canopy.py",
        "return State(s.v, a, quaternion_rate(s.q, rate)",
        "return State(s.v, a, quaternion_rate(s.q, s.w)",
        "the Earth's turning left in the attitude under a canopy",
        SWING + "test_attitude__turns_at_the_rate_the_gyros_read",
    ),
    PlantedError(
        "airframe's drag pulls at the nose",
        "core/flight/canopy.py",
        "to_body(m, scale(u, -thickness * lines))",
        "to_body(m, scale(u, -thickness * (lines + airframe)))",
        "what the air does to the airframe itself pulls at the canopies' point",
        SWING + "test_small_swing__is_the_damped_oscillation_of_a_physical_pendulum",
    ),
    PlantedError(
        "burns noticed after apogee",
        "core/computer/rules.py",
        "elif notice[Noticed.APOGEE] < 0.0 and force > detection.ignition_specific_force:",
        "elif force > detection.ignition_specific_force:",
        "the pull of an opening canopy counts as a motor's ignition",
        "tests/core/computer/test_rules.py::test_ignition__none_is_noticed_after_apogee",
    ),
    PlantedError(
        "harness's stiffness taken with its drawn strength",
        "core/whole/harness.py",
        "own[HarnessColumn.RATE] * draws.harness[i, h, HarnessDraw.STIFFNESS]",
        "own[HarnessColumn.RATE] * draws.harness[i, h, HarnessDraw.STRENGTH]",
        "a weaker harness gives way more easily, so that it never parts",
        RECOVERY + "test_harness__weaker_in_the_mission_or_by_its_draw_snatches_alike_and_parts",
    ),
    PlantedError(
        "harness's drawn strength left out",
        "core/whole/prepare.py",
        "staging.harness[h, HarnessColumn.STRENGTH] * draws.harness[i, h, HarnessDraw.STRENGTH]",
        "staging.harness[h, HarnessColumn.STRENGTH]",
        "every harness is as strong as the mission says",
        RECOVERY + "test_harness__weaker_in_the_mission_or_by_its_draw_snatches_alike_and_parts",
    ),
    PlantedError(
        "hanging drag's draw left out",
        "core/whole/stack.py",
        "hanging += staging.stage[k, StagingColumn.HANGING_AREA] * draws.stage[i, k, StageDraw.HANGING_DRAG]",
        "hanging += staging.stage[k, StagingColumn.HANGING_AREA]",
        "the airframe under a canopy has the mission's drag in every flight",
        RECOVERY + "test_hanging_drag__is_the_coefficient_times_the_side_area",
    ),
    PlantedError(
        "loose piece with the drag of the hanging stage",
        "core/whole/harness.py",
        "area = (hanging if kept > 0.5 else tumbling) *",
        "area = hanging *",
        "a piece that tumbles away falls as if it hung",
        RECOVERY + "test_loose_drag__of_the_piece_that_a_parted_harness_lets_go",
    ),
    PlantedError(
        "gap to the aft body's nose alone",
        "core/whole/gap.py",
        "clearance = max(min(gap, tail), ",
        "clearance = max(gap, ",
        "a booster that has turned over strikes with its base unseen",
        SEPARATION + "test_gap__an_aft_body_that_turns_over_strikes_with_its_base",
    ),
    PlantedError(
        "fall time from burnout",
        "core/whole/facts.py",
        "row[EventColumn.TIME] - events[Event.APOGEE, EventColumn.TIME]",
        "row[EventColumn.TIME] - events[Event.BURNOUT, EventColumn.TIME]",
        "the climb after burnout counted as fall",
        SEPARATION + "test_fall_time__is_from_each_bodys_own_apogee_to_its_landing",
    ),
)
