"""Errors in what becomes of readings from the workshop."""

from __future__ import annotations

from planted.entry import PlantedError

HERE = "tests/study/as_built/"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "strings by their distance from each other",
        "study/as_built/swings.py",
        "return mass * gravity * arms * period**2 / (FOUR_PI_2 * length)",
        "return mass * gravity * 4.0 * arms * period**2 / (FOUR_PI_2 * length)",
        "a bifilar swing makes four times the inertia: the spacing of the strings in place of their distance from the centre of mass",
        HERE + "test_swings.py::test_bifilar__of_a_uniform_rod",
    ),
    PlantedError(
        "a pendulum's inertia about its pivot",
        "study/as_built/swings.py",
        "return mass * gravity * arm * period**2 / FOUR_PI_2 - mass * arm**2",
        "return mass * gravity * arm * period**2 / FOUR_PI_2",
        "the inertia about the pivot is taken for that about the centre of mass",
        HERE + "test_swings.py::test_compound__of_a_rod_on_its_end",
    ),
    PlantedError(
        "strings that soften a swing",
        "study/as_built/swings.py",
        "/ (gravity * period**2) - 3.0 / 16.0))",
        "/ (gravity * period**2) + 3.0 / 16.0))",
        "what leaning strings do to a large swing has the wrong sign",
        HERE + "test_swings.py::test_strings__of_a_large_swing_by_energy",
    ),
    PlantedError(
        "a motor taken off as if at the balance point",
        "study/as_built/bench.py",
        "inertia - mass * (cg - middle) ** 2",
        "inertia",
        "what was aboard is taken off, and the inertia stays about the common centre of mass",
        HERE + "test_as_built.py::test_dummy_motor__is_taken_off",
    ),
    PlantedError(
        "a motor taken off the mass alone",
        "study/as_built/bench.py",
        "moment - at[one.mass] * at[one.station]",
        "moment",
        "what was aboard is taken off the mass and stays in the moment: the balance point is far too far aft",
        HERE + "test_as_built.py::test_dummy_motor__is_taken_off",
    ),
    PlantedError(
        "the heavy side on the other side",
        "study/as_built/bench.py",
        "-off * np.sin(at",
        "off * np.sin(at",
        "a centre of mass off the axis is mirrored: angles count clockwise seen from behind",
        HERE + "test_as_built.py::test_rolling__puts_the_heavy_side_where_it_hangs",
    ),
    PlantedError(
        "inertia drawn on top of its mass",
        "study/as_built/with_measured.py",
        "found.append(math.log(inertia / whole))",
        "found.append(math.log(inertia))",
        "the inertia's spread holds the mass's once more, which its own factor brings already",
        HERE + "test_with_measured.py::test_draws__of_a_stage_vary_as_the_bench_errs",
    ),
    PlantedError(
        "a display's step as its error",
        "study/as_built/propagation.py",
        "step**2 / 12.0))",
        "step**2 / 3.0))",
        "half of the display's step is taken for a whole one on either side",
        HERE + "test_propagation.py::test_mean_of__readings_and_display",
    ),
)
