"""Errors in how large a canopy must be, and in when it may come out."""

from __future__ import annotations

from planted.entry import PlantedError

SIZE = "tests/study/recovery/test_canopy_size.py::"
WHEN = "tests/study/recovery/test_deployment.py::"
ZIPPER = "tests/study/recovery/test_zipper.py::"
ERRORS = (
    PlantedError(
        "snatch of a flight's first body, where the one before left its canopies out",
        "core/whole/flights.py",
        "    fill(work.deployed, -1.0)  # what",
        "    # what",
        "the snatch of a single stage's harness is noted of no flight",
        ZIPPER + "test_snatch__of_a_single_stage_is_noted",
    ),
    PlantedError(
        "zipper: tubes open the other way",
        "study/recovery/zipper.py",
        "bend = math.pi - incidence if lip.aft else incidence",
        "bend = incidence if lip.aft else math.pi - incidence",
        "a tube that opens ahead is pulled straight by the air from ahead",
        ZIPPER + "test_zipper_index__by_hand_for_one_flight",
    ),
    PlantedError(
        "pieces of a harness without unlit propellant",
        "study/recovery/zipper.py",
        "whole = whole + sum((lump.mass * unlit[k] for k, lump in grains), np.zeros(first.size))",
        "whole = whole + 0.0 * unlit[0]",
        "a stage that did not ignite weighs no more for it",
        ZIPPER + "test_piece_masses__are_those_of_the_kernels_snatch",
    ),
    PlantedError(
        "deployments about the time since liftoff",
        "study/recovery/deployment_flights.py",
        "delays = self.apogee + offsets[:, None] - self.armed",
        "delays = self.apogee + offsets[:, None]",
        "the timer runs from what it noticed as liftoff, not from ignition",
        WHEN + "test_deployment__at_a_flights_own_time_is_that_flight",
    ),
    PlantedError(
        "canopy's drag area with its diameter",
        "study/recovery/sizing/canopy_size.py",
        "float((d / part.diameter) ** 2)",
        "float(d / part.diameter)",
        "the drag area grows with the diameter, not its square",
        SIZE + "test_diameter__flown_by_the_mission_file_is_that_of_the_study",
    ),
)
