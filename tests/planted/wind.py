"""Errors in how much wind is allowed: which flights decide, which failure counts, what the wind does to the turbulence."""

from __future__ import annotations

from planted.entry import PlantedError

ROOT = "tests/study/wind_limit/test_first_failure.py::"
STUDY = "tests/study/wind_limit/test_wind_limit_study.py::"
PAGES = "tests/study/wind_limit/test_wind_pages.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "wind limit: both ends of the interval miss with the whole risk",
        "study/wind_limit/ranks.py",
        "miss = 0.5 * (1.0 - confidence)",
        "miss = 1.0 - confidence",
        "an interval of 90 % holds the limit in 80 % of ensembles",
        ROOT + "test_flights_to_hold__outer_levels_err_by_the_binomial_tail",
    ),
    PlantedError(
        "wind limit: criteria with > judged by the other tail",
        "study/wind_limit/ranks.py",
        "return -1.0 if one.relation.startswith",
        "return 1.0 if one.relation.startswith",
        "of a speed that is to be large the best flights decide, not the worst",
        STUDY + "test_judged__the_flight_that_decides_and_one_without_a_value",
    ),
    PlantedError(
        "wind limit: the last failure in place of the first",
        "study/wind_limit/first_failure.py",
        "k = int(fails.argmax())",
        "k = int(np.flatnonzero(fails)[-1])",
        "a wind in which the criteria fail is told as allowed, because more wind holds again",
        ROOT + "test_search__of_what_fails_and_holds_again_the_first_failure_counts",
    ),
    PlantedError(
        "wind limit: turbulence of the file's wind in every wind",
        "study/wind_limit/air.py",
        'changes["air.turbulence.wind_at_20_ft"] = None',
        'changes["air.turbulence.wind_at_20_ft"] = now.wind_at_20_ft',
        "8 m/s are as gusty as the 3 m/s that the file was written for",
        STUDY + "test_wind_mission__turbulence_follows_the_wind_whatever_the_file_says",
    ),
    PlantedError(
        "wind limit: the larger of two neighbouring directions",
        "study/wind_limit/allowed.py",
        "which = min(_neighbours",
        "which = max(_neighbours",
        "a wind between two directions is allowed what the kinder one allows",
        PAGES + "test_wind_allowed__the_lower_of_two_neighbours",
    ),
)
