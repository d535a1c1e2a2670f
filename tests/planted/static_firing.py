"""Errors in the study of a static firing: weight, drift, filters, calibration, ends of a burn, the next motor."""

from __future__ import annotations

from planted.entry import PlantedError

LOGS = "tests/study/static_firing/test_firing_logs.py::"
NUMBERS = "tests/study/static_firing/test_firing_numbers.py::"
MISSIONS = "tests/study/static_firing/test_firing_missions.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "firing: the motor's weight the other way round",
        "study/static_firing/impulse.py",
        "force = bare + lost * burnt",
        "force = bare - lost * burnt",
        "the weight of the propellant burnt is taken off the thrust of a motor that presses on its cell",
        NUMBERS + "test_impulse__loses_the_weight_of_what_burnt",
    ),
    PlantedError(
        "firing: the propellant's weight taken for drift",
        "study/static_firing/impulse.py",
        "level[1] + lost - level[0]",
        "level[1] - level[0]",
        "the cell seems to drift by what the motor lost",
        NUMBERS + "test_impulse__loses_the_weight_of_what_burnt",
    ),
    PlantedError(
        "firing: a notch of two periods",
        "study/static_firing/signal.py",
        "half = 0.5 / (notch * step)",
        "half = 1.0 / (notch * step)",
        "half of the frequency taken out is taken out too",
        NUMBERS + "test_filter__gains_are_those_said",
    ),
    PlantedError(
        "firing: a calibration weighted by errors, not their squares",
        "study/static_firing/calibration.py",
        "weight = 1.0 / error**2",
        "weight = 1.0 / error",
        "points that are known well count too little",
        LOGS + "test_calibration__slope_and_error_are_those_of_weighted_least_squares",
    ),
    PlantedError(
        "firing: action time by 5 %",
        "study/static_firing/burn.py",
        "ACTION_SHARE = 0.1",
        "ACTION_SHARE = 0.05",
        "action time is that of NFPA 1125",
        NUMBERS + "test_burn__of_a_trapezium_by_each_definition",
    ),
    PlantedError(
        "firing: the other bisector",
        "study/static_firing/burn.py",
        "back + down)",
        "back - down)",
        "the bisector of the supplementary angle",
        NUMBERS + "test_burn__tangent_bisector_of_a_hyperbola_is_its_vertex",
    ),
    PlantedError(
        "firing: the mean's spread for the next motor's",
        "study/static_firing/spread.py",
        "math.sqrt(1.0 + 1.0 / n) / mean",
        "math.sqrt(1.0 / n) / mean",
        "the next motor scatters less than the firings did",
        MISSIONS + "test_scatter__of_the_next_motor_holds_as_often_as_it_says",
    ),
    PlantedError(
        "firing: an outlier by a normal distribution",
        "study/static_firing/spread.py",
        "t = student.ppf(1.0 - OUTLYING / (2.0 * n), n - 2)",
        "t = student.ppf(1.0 - OUTLYING / (2.0 * n), MANY)",
        "few firings have outliers they cannot tell",
        MISSIONS + "test_outliers__at_grubbs_critical_values",
    ),
    PlantedError(
        "firing: curves aligned without their impulse",
        "study/static_firing/spread.py",
        "start + k * time, one.time",
        "start + time, one.time",
        "curves of longer burns are stretched in height and not in time",
        MISSIONS + "test_mean_curve__by_either_alignment",
    ),
)
