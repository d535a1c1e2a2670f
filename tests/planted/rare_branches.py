"""Errors that only show on rarer branches: real sensors, odd fins, the south, drawn flights, second stages."""

from __future__ import annotations

from planted.entry import PlantedError

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "noise behind the burn is thrust", "vehicle/motor.py",
        "burning = np.flatnonzero(force >= BURN_SHARE * force.max())[-1]", "burning = len(force) - 1",
        "a recording's tail, clipped at zero, counts as burning: burnout comes a minute late or never",
        "tests/vehicle/test_motor.py::test_break_points__a_recording_that_goes_on_after_the_burn_ends_with_it",
    ),
    PlantedError(
        "a sustainer's burn is coasting", "study/control_metrics.py",
        "burning |= (time >= lit) & ~(time > out)", "burning |= (time >= lit) & (time > out)",
        "what the upper stage's motor shakes is counted after its burnout instead of before",
        "tests/study/test_control_metrics.py::test_metrics__the_burn_of_an_upper_stage_is_boost",
    ),
    PlantedError(
        "barometer loop: half of Jury's term", "mission/checks.py",
        "most = (4.0 - 2.0 * estimator.baro_position) / longest", "most = (4.0 - estimator.baro_position) / longest",
        "gains of the barometer are let through that swing the estimate up",
        "tests/mission/test_mission_flight_tables.py::test_barometer_loop__is_refused_where_its_matrix_grows",
    ),
)  # fmt: skip
