"""Errors that only show on rarer branches: real sensors, odd fins, the south, drawn flights, second stages."""

from __future__ import annotations

from planted.entry import PlantedError

BUILD = "tests/autopilot/test_autopilot_build.py::"

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
    PlantedError(
        "fix's velocity not carried over its latency", "core/estimator.py",
        "v = add(v, scale(sub(add(fix_v, scale(a, latency)), v), estimator.gnss_velocity))",
        "v = add(v, scale(sub(fix_v, v), estimator.gnss_velocity))",
        "the velocity of a while ago is taken for that of now",
        "tests/core/test_estimator.py::test_fix__of_a_steady_acceleration_leaves_the_estimate_at_the_truth",
    ),
    PlantedError(
        "fix's place carried at the speed of now", "core/estimator.py",
        "place = add(_vec(state, E_FIX), scale(sub(v, scale(a, 0.5 * latency)), latency))",
        "place = add(_vec(state, E_FIX), scale(v, latency))",
        "the speed gained since the fix counts for the whole of its latency",
        "tests/core/test_estimator.py::test_fix__of_a_steady_acceleration_leaves_the_estimate_at_the_truth",
    ),
    PlantedError(
        "drawn servo speed left out of the loops", "study/sampled_plant.py",
        'frequency = servo.frequency * float(models["servo_factor"])', "frequency = servo.frequency",
        "margins of a drawn flight are those of servos as fast as written",
        "tests/study/test_margins.py::test_margins__a_drawn_servo_speed_is_that_of_faster_or_slower_servos",
    ),
    PlantedError(
        "load slope of the loaded vehicle", "autopilot/build.py",
        "now.slope * shape.area / now.burnt.mass", "now.slope * shape.area / now.loaded.mass",
        "guidance after burnout divides the force by the mass at ignition",
        BUILD + "test_load_slope__is_that_of_the_burnt_vehicle",
    ),
    PlantedError(
        "computer's Earth rate of the north", "autopilot/build.py", "latitude = mission.site.latitude", "latitude = abs(mission.site.latitude)",
        "a flight computer in the south takes the Earth's turn off its gyros with the vertical part's sign wrong",
        BUILD + "test_earth_rate__is_the_axis_in_the_launch_points_axes_and_the_worlds",
    ),
    PlantedError(
        "receiver's latency cut to whole ticks", "autopilot/build.py",
        "latency = round(receiver.latency / period)", "latency = int(receiver.latency / period)",
        "0.29 s at 100 Hz becomes 28 ticks",
        BUILD + "test_receiver__latency_of_n_periods_is_n_ticks",
    ),
    PlantedError(
        "receiver's noise of velocity is that of position", "core/sensors.py",
        "b = _normal3(chance, GNSS + np.uint64(3), tick)", "b = _normal3(chance, GNSS, tick)",
        "a fix that is off to the east is too fast to the east",
        "tests/core/test_sensors.py::test_receiver__six_errors_have_nothing_to_do_with_each_other",
    ),
    PlantedError(
        "cascade's limit before the goal's rate", "core/control.py",
        "asked = clip(p * error + goal_rate, -gains[K_RATE_LIMIT], gains[K_RATE_LIMIT])",
        "asked = clip(p * error, -gains[K_RATE_LIMIT], gains[K_RATE_LIMIT]) + goal_rate",
        "the body is asked to turn faster than the limit where the goal itself turns",
        "tests/validation/test_control_loop.py::test_cascade__the_goals_own_rate_counts_in_the_limit",
    ),
    PlantedError(
        "coefficient taken for Spearman's", "ensemble/sampling.py",
        "rho = group.coefficient", "rho = 2.0 * math.sin(math.pi * group.coefficient / 6.0)",
        "a pair's coefficient taken as its rank correlation, 0.018 more at 0.6",
        "tests/ensemble/test_sampling.py::test_correlated__coefficient_is_that_of_the_normal_scores_number_by_number",
    ),
    PlantedError(
        "incidence in yaw, sign", "core/observe.py",
        "row[L_INCIDENCE_YAW] = atan2(load.velocity.y, load.velocity.x)", "row[L_INCIDENCE_YAW] = atan2(-load.velocity.y, load.velocity.x)",
        "positive where the air comes from port",
        "tests/core/test_observe.py::test_incidence__is_positive_on_the_side_that_the_wind_comes_from",
    ),
    PlantedError(
        "round Earth: error against the plane", "core/computer.py",
        "sub(sensed_place(sensed), Vec3(s.r.x, s.r.y, height))", "sub(sensed_place(sensed), s.r)",
        "heights above the ground judged by those above the plane at the rail",
        "tests/core/test_observe.py::test_position_error__of_ideal_sensors_is_none_over_a_round_earth",
    ),
    PlantedError(
        "round Earth: receiver tells the plane's height", "core/computer.py",
        "remember(work.history, k, Vec3(s.r.x, s.r.y, height), s.v)", "remember(work.history, k, s.r, s.v)",
        "barometer and receiver mean different heights away from the rail",
        "tests/core/test_observe.py::test_receiver__tells_the_height_above_the_ground_of_a_round_earth",
    ),
)  # fmt: skip
