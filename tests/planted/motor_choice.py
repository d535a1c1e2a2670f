"""Errors in the choice of a motor: what an adapter weighs, thrust over weight, and what a measurement turns."""

from __future__ import annotations

from planted.entry import PlantedError

FIT = "tests/study/motor_choice/test_motor_fit.py::"
RATIO = "tests/study/motor_choice/test_thrust_to_weight.py::"
CHOICE = "tests/study/motor_choice/test_motor_choice.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "motor choice: an adapter without its lever",
        "study/motor_choice/fit.py",
        "(bare.mass * cg + mass * station) / total",
        "cg",
        "an adapter in a weighed stage does not move its centre of mass",
        FIT + "test_adapter__is_added_to_what_was_weighed_without_it",
    ),
    PlantedError(
        "motor choice: thrust not stretched as drawn",
        "study/motor_choice/thrust_to_weight.py",
        "_running(thrust, time / burn)",
        "_running(thrust, time)",
        "a motor that burns longer has the same thrust",
        RATIO + "test_ratios__by_hand_from_the_csv_and_what_was_drawn",
    ),
    PlantedError(
        "motor choice: settings read off flights that a timer cut short",
        "study/motor_choice/choose.py",
        "if any(one.state == EARLY for one in rows):",
        "if False:",
        "a backup that opens on the way up makes its own apogee, and its own right setting",
        CHOICE + "test_adjust__flies_with_the_settings_that_are_right",
    ),
    PlantedError(
        "motor choice: a measurement in the wrong direction",
        "study/motor_choice/measurement.py",
        "self.slopes[name] * (value - self.inputs[name].values)",
        "self.slopes[name] * (self.inputs[name].values - value)",
        "less drag measured makes the flights lower",
        CHOICE + "test_measurement__the_estimate_is_near_what_flights_give",
    ),
)
