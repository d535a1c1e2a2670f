"""Errors in what is made of a flight log."""

from __future__ import annotations

from planted.entry import PlantedError

HERE = "tests/postflight/logs/"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "log: a lever arm added again",
        "postflight/logs/readings.py",
        "    return force - np.cross(change, arm) - np.cross(w, np.cross(w, arm))",
        "    return force + np.cross(change, arm) + np.cross(w, np.cross(w, arm))",
        "what turning adds at an accelerometer beside the roll axis is added once more in place of taken off",
        HERE + "test_log_axes.py::test_accelerometer__beside_the_roll_axis_is_moved_onto_it",
    ),
    PlantedError(
        "log: noise by the difference of two readings",
        "postflight/logs/rest.py",
        "    density = np.sqrt(0.5 * np.mean(steps[usual] ** 2, axis=0) / rate)",
        "    density = np.sqrt(np.mean(steps[usual] ** 2, axis=0) / rate)",
        "the scatter of differences is taken for that of readings: errors of biases are 1.4 times too large",
        HERE + "test_log_rest.py::test_bias__lies_within_its_standard_error_as_often_as_it_should",
    ),
    PlantedError(
        "log: the Earth turns the other way",
        "postflight/logs/rest.py",
        "    turning = EARTH_RATE * np.array([0.0, math.cos(latitude), math.sin(latitude)])",
        "    turning = EARTH_RATE * np.array([0.0, math.cos(latitude), -math.sin(latitude)])",
        "a gyro along an upright body is told the Earth's turning with the southern hemisphere's sign",
        HERE + "test_log_rest.py::test_earth_rate__is_taken_off_with_a_mission_and_whether_it_counts_is_said",
    ),
    PlantedError(
        "log: north and east changed",
        "postflight/logs/readings.py",
        "NED = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, -1.0]])",
        "NED = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]])",
        "attitudes in north, east and down are a quarter turn off in heading",
        HERE + "test_log_axes.py::test_attitude__by_heading_elevation_and_roll_or_in_north_east_down",
    ),
    PlantedError(
        "log: a clock's wrap a row too long",
        "postflight/logs/checks/packets.py",
        "            shift[k + 1 :] += whole",
        "            shift[k + 1 :] += whole + usual",
        "behind a wrap all times are one row too late",
        HERE + "test_log_packets.py::test_clock__that_wraps_goes_on",
    ),
    PlantedError(
        "log: heights of a standard day",
        "postflight/logs/places.py",
        "        return at_site(altitude, base, given.temperature, ground)",
        "        return at_site(altitude, base, None, ground)",
        "the temperature at the ground is asked for and not used: on a warm day heights come out some per cent too small",
        HERE + "test_log_axes.py::test_heights__of_a_warm_day_stretch_with_the_temperature",
    ),
)
