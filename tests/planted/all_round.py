"""Errors in forces from 0 to 180 deg of incidence, and in how a fall is judged."""

from __future__ import annotations

from planted.entry import PlantedError

ROUND = "tests/validation/test_all_round.py::"
FALLS = "tests/validation/test_falls.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "body base first as nose first",
        "core/forces/aerodynamics.py",
        "    behind = u.x < 0.0\n",
        "    behind = u.x < -1e9\n",
        "in flow from behind the body's potential force still acts near the nose",
        "tests/validation/test_jorgensen.py::test_sample__normal_force_and_moment",
    ),
    PlantedError(
        "kink at 90 degrees",
        "core/forces/aerodynamics.py",
        "aligned *= aligned * (3.0 - 2.0 * aligned)",
        "aligned = 1.0",
        "sin 2a' of flow from ahead and from behind meet at broadside with opposite slopes",
        ROUND + "test_broadside__value_and_slope_are_continuous",
    ),
    PlantedError(
        "fins backwards at their leading edge",
        "core/forces/aerodynamics.py",
        "x += flow.back * (behind - x)",
        "pass",
        "a panel in flow from behind has its load a quarter chord from the edge that trails",
        ROUND + "test_fins__backwards_are_their_mirror_image_forwards",
    ),
    PlantedError(
        "nose takes the base's force off",
        "vehicle/aero/body.py",
        "max(before**2 - segment.r0**2, 0.0) + max(segment.r0**2 - segment.r1**2, 0.0)",
        "before**2 - segment.r1**2",
        "base first the flow follows the nose to its tip, and no force is left",
        ROUND + "test_backward__couple_about_the_tip_is_that_of_slabs_of_air",
    ),
    PlantedError(
        "second moment base first without 2",
        "vehicle/aero/body.py",
        "np.sum(section), 2.0 * np.sum(section * x)",
        "np.sum(section), np.sum(section * x)",
        "int S x dx for 2 int S x dx: a body base first that turns gets energy out of still air",
        ROUND + "test_backward__moments_of_any_shape_damp",
    ),
    PlantedError(
        "cross-flow drag above Mach 1 too high",
        "vehicle/aero/cross_flow.py",
        "1.62, 1.43, 1.29, 1.24,",
        "1.70, 1.50, 1.37, 1.28,",
        "5 to 7 % more than Stanton measured at Mach 1.4 to 2",
        "tests/validation/test_blunt_bodies.py::test_stanton__endless_cylinder_across",
    ),
    PlantedError(
        "drag crisis on the length",
        "core/observe.py",
        "load.reynolds * load.cross_speed * drawn.aero.length",
        "load.reynolds * load.cross_speed * drawn.rail.base_x",
        "the Reynolds number of a fall's cross flow is taken on the body's length",
        FALLS + "test_fall__without_fins",
    ),
    PlantedError(
        "fall judged by its last moment",
        "core/observe.py",
        "tally[i + PIECE] = select(over, tally[i], tally[i + PIECE])",
        "tally[i + PIECE] = select(over, 0.0, tally[i + PIECE])",
        "how a body comes down is taken from what has just begun of a piece of its fall",
        FALLS + "test_fall__without_fins",
    ),
)
