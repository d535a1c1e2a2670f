"""Errors in stability as flown: downwash, centre of pressure, surviving control."""

from __future__ import annotations

from planted.entry import PlantedError

FLOWN = "tests/validation/test_stability_as_flown.py::"
MIXER = "tests/core/computer/test_mixer.py::"
SURVIVES = "tests/study/aero/test_surviving_control.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "downwash left out of the margin",
        "vehicle/stability.py",
        "found = np.array([_matrices(aero, mach, factor)",
        "found = np.array([_matrices(aero._replace(wake_pair=aero.wake_pair[:0]), mach, factor)",
        "slope and centre of pressure are sums of the parts, as if no fin stood behind another",
        FLOWN + "test_margin__is_moment_over_force_in_the_tunnel",
    ),
    PlantedError(
        "margin of the most stable plane",
        "core/forces/stability.py",
        "x = mean - half",
        "x = mean + half",
        "a vehicle with two fins is judged in the plane where they work best",
        FLOWN + "test_margin__is_that_of_independent_forces",
    ),
    PlantedError(
        "crossed moments of the planes with the wrong sign",
        "vehicle/stability.py",
        "0.5 * (z[:, 3] - y[:, 2])",
        "0.5 * (z[:, 3] + y[:, 2])",
        "fins between body y and z: the moment that incidence in one makes in the other is lost",
        FLOWN + "test_margin__is_that_of_independent_forces",
    ),
    PlantedError(
        "downwash once by the drawn normal force",
        "core/forces/stability.py",
        "_slopes_at(drawn.aero, mach, drawn.normal)",
        "_slopes_at(drawn.aero, mach, 1.0)",
        "a factor on the normal force leaves the vortices as they were",
        FLOWN + "test_margin__drawn_normal_force_and_centre_of_pressure",
    ),
    PlantedError(
        "margin without the drawn centre of pressure",
        "core/forces/stability.py",
        "(planes.x + drawn.cp_shift - cg.x)",
        "(planes.x - cg.x)",
        "drawn shifts of the centre of pressure act on the flight and not on its margin",
        FLOWN + "test_margin__drawn_normal_force_and_centre_of_pressure",
    ),
    PlantedError(
        "fin sets in the order of the file",
        "vehicle/aero/table.py",
        "for number in front_to_back(shape) for row",
        "for number in rows for row",
        "fins ahead that stand last in the file shed at the next evaluation: the fins behind feel the one before",
        FLOWN + "test_order_of_the_file__makes_no_difference",
    ),
    PlantedError(
        "mixer by half the length",
        "autopilot/mixer.py",
        "float(cg - (row[FinColumn.DW]",
        "float(0.5 * shape.length - (row[FinColumn.DW]",
        "control fins between the middle of the body and the centre of mass turn it the wrong way",
        MIXER + "test_mixer__control_fins_anywhere_make_the_moment_that_is_asked_for",
    ),
    PlantedError(
        "survival about the nose tip",
        "study/aero/authority.py",
        "cg = mass_at(mass_table(mission, used), unburnt)[1][0]",
        "cg = 0.0",
        "what survives of a moment is asked about the wrong point: fins near the centre of mass look untouched",
        SURVIVES + "test_check__prints_each_channel_and_says_reversed",
    ),
    PlantedError(
        "hand calculation with the carry-over",
        "study/aero/margins.py",
        "plain = panels * (1.0 + x), panels * (1.0 + x) * fin[:, FinColumn.X]",
        "plain = panels * (1.0 + x) ** 2, panels * (1.0 + x) ** 2 * fin[:, FinColumn.X]",
        "the page says that carry-over changes nothing",
        FLOWN + "test_by_hand__what_carry_over_gives",
    ),
)
