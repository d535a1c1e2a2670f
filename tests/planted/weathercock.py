"""Errors in the theory of the turn into the wind, and in how flights of it are counted."""

from __future__ import annotations

from planted.entry import PlantedError

FORM = "tests/validation/test_weathercock.py::"
STUDY = "tests/study/weathercock/test_turn_into_the_wind.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "final turn with the Fresnel integrals exchanged",
        "study/weathercock/lateral.py",
        "((0.5 - s) * np.cos(phase) - (0.5 - c) * np.sin(phase))",
        "((0.5 - c) * np.cos(phase) - (0.5 - s) * np.sin(phase))",
        "the closed form ends elsewhere than it goes: sine for cosine",
        FORM + "test_final_turn__is_where_the_closed_form_ends",
    ),
    PlantedError(
        "thrust across without what carries the weight",
        "study/weathercock/lateral.py",
        "pull = (a + gravity) * theta",
        "pull = a * theta",
        "a leaning vehicle is pushed aside by its acceleration alone, not by its thrust: no gravity turn",
        FORM + "test_linear_turn__gravity_tips_a_leaning_path_by_g_over_v",
    ),
    PlantedError(
        "stiffness by the margin in calibres",
        "study/weathercock/departure.py",
        "slope, margin * length, inertia",
        "slope, margin, inertia",
        "calibres where metres are meant: the swing is four times too short",
        FORM + "test_kernel__turns_as_the_linear_equations_say",
    ),
    PlantedError(
        "turn counted from the vertical",
        "study/weathercock/flights.py",
        'return angles(ds, name, events) - angles(ds, "lean", ["liftoff"])',
        "return angles(ds, name, events)",
        "the rail's own lean counts as a turn into the wind",
        STUDY + "test_turn__is_that_of_whole_flights",
    ),
)
