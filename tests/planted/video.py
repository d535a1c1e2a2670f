"""Errors in what is read off a video: projection, plumb lines, errors of readings, what can be told of an incidence, swings."""

from __future__ import annotations

from planted.entry import PlantedError

PROJECTION = "tests/postflight/video/test_video_projection.py::"
READINGS = "tests/postflight/video/test_video_readings.py::"
INCIDENCE = "tests/postflight/video/test_video_incidence.py::"
SWING = "tests/postflight/video/test_video_swing.py::"
LANDMARKS = "tests/postflight/video/test_video_landmarks.py::"
FLIGHTS = "tests/postflight/video/test_video_flights.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "video: a camera rolled the other way round",
        "postflight/video/view.py",
        "return np.array([level * math.cos(roll) + below * math.sin(roll), -level * math.sin(roll) + below * math.cos(roll), forward])",
        "return np.array([level * math.cos(roll) - below * math.sin(roll), level * math.sin(roll) + below * math.cos(roll), forward])",
        "roll is counted anticlockwise",
        PROJECTION + "test_rolled_camera__turns_the_picture_the_other_way",
    ),
    PlantedError(
        "video: the slope of a sight without that of its length",
        "postflight/video/view.py",
        "of_flat = (np.eye(3)[:, :2] - unit * np.swapaxes(unit[..., :2, :], -1, -2)) / long",
        "of_flat = (np.eye(3)[:, :2] - 0.0 * unit * np.swapaxes(unit[..., :2, :], -1, -2)) / long",
        "the error of a pixel off the middle is taken for larger than it is",
        PROJECTION + "test_slopes_of_sights__are_differences_of_sights",
    ),
    PlantedError(
        "video: an apparent angle by the cosine of the sight's",
        "postflight/video/incidence.py",
        "ratio = np.sin(true) / np.sin(to_path)",
        "ratio = np.sin(true) / np.cos(to_path)",
        "a picture enlarges what is seen square to the path, not along it",
        INCIDENCE + "test_nearly_under_the_camera__six_tenths_of_a_degree_look_like_ten",
    ),
    PlantedError(
        "video: half of a lean's error",
        "postflight/video/readings.py",
        '"apparent_lean": _variance(spread, [end + share * steep for end, share in zip(ends, shares, strict=True)]),',
        '"apparent_lean": _variance(spread, [0.5 * end + share * steep for end, share in zip(ends, shares, strict=True)]),',
        "the error of a lean is taken for half as large",
        READINGS + "test_errors_of_reading__are_the_scatter_of_many_at_once",
    ),
    PlantedError(
        "video: a rolling shutter put in twice",
        "postflight/video/readings.py",
        "out[seen, k] = own - np.gradient(own, time[seen], axis=0) * late[:, None]",
        "out[seen, k] = own + np.gradient(own, time[seen], axis=0) * late[:, None]",
        "the crookedness of a rolling shutter is doubled and not taken out",
        READINGS + "test_rolling_shutter__is_taken_out",
    ),
    PlantedError(
        "video: a place's error left out of the pointing",
        "postflight/video/landmarks.py",
        "prior = np.concatenate([np.full(3, np.inf), place_error, [focal_error]])",
        "prior = np.concatenate([np.full(3, np.inf), 0.0 * place_error, [focal_error]])",
        "a camera of uncertain place points as surely as one of certain place",
        LANDMARKS + "test_place_error__shows_in_the_pointing_by_similar_triangles",
    ),
    PlantedError(
        "video: bounds of each frame for itself",
        "postflight/video/incidence.py",
        "return float(norm.isf(0.025 / max(frames, 1)))",
        "return float(norm.isf(0.025))",
        "of fifty frames two or three claim an incidence that is not there",
        INCIDENCE + "test_bounds__hold_for_all_frames_together",
    ),
    PlantedError(
        "video: damping by the damped frequency",
        "postflight/video/damped.py",
        "zeta = decay / radius",
        "zeta = decay / omega",
        "the damping ratio is over the damped frequency, not over the natural one",
        SWING + "test_swing__without_noise_comes_back",
    ),
    PlantedError(
        "video: the nose at the tail's end",
        "postflight/video/flown.py",
        'nose = centre + axis * found["cg"].values[:, None]',
        'nose = centre + axis * (length - found["cg"].values)[:, None]',
        "the station of the centre of mass is counted from the tail",
        FLIGHTS + "test_nose_and_tail__lie_on_the_axis_a_body_s_length_apart",
    ),
)
