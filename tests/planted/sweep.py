"""Errors in the lean at events, and in what a sweep makes of a condition."""

from __future__ import annotations

from planted.entry import PlantedError

LEAN = "tests/validation/test_lean.py::"
SWEEP = "tests/study/sweep/test_sweep.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "lean: positive down the wind",
        "core/observe.py",
        "return Vec3(-(drawn.wind.cos * e + drawn.wind.sin * n), -(drawn.wind.cos * n - drawn.wind.sin * e), 0.0)",
        "return Vec3(drawn.wind.cos * e + drawn.wind.sin * n, drawn.wind.cos * n - drawn.wind.sin * e, 0.0)",
        "a vehicle that turns into the wind is said to lean away from it",
        LEAN + "test_liftoff__has_the_rails_own_lean",
    ),
    PlantedError(
        "lean: by the wind as written, not as drawn",
        "core/observe.py",
        "return Vec3(-(drawn.wind.cos * e + drawn.wind.sin * n), -(drawn.wind.cos * n - drawn.wind.sin * e), 0.0)",
        "return Vec3(-e, -n, 0.0)",
        "nothing in the nominal flight; 2 deg of lean where the wind is drawn 20 deg off",
        LEAN + "test_drawn_flights__lean_by_their_own_wind_at_every_event_of_the_climb",
    ),
    PlantedError(
        "sweep: a factor in place of what is drawn",
        "study/sweep/conditions.py",
        '{"factor": base * value,',
        '{"factor": np.full_like(base, value),',
        "the scatter of the thrust is gone from every point of a map over thrust",
        SWEEP + "test_factor_and_offset__act_on_what_is_drawn_and_on_one_stage_alone",
    ),
    PlantedError(
        "sweep: levels turned against the compass",
        "study/sweep/conditions.py",
        "put_values(mission, table, TURN, one.value - np.arctan2(-east, -north))",
        "put_values(mission, table, TURN, np.arctan2(-east, -north) - one.value)",
        "a sounding is turned to the other side of where the wind is asked from",
        SWEEP + "test_wind_of_levels__is_scaled_and_turned_as_a_whole",
    ),
)
