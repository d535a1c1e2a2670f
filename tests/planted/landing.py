"""Errors in where it lands: places on maps, the descent to the ground, rare failures."""

from __future__ import annotations

from planted.entry import PlantedError

VALIDATED = "tests/validation/test_landing.py::"
FILES = "tests/study/landing/test_landing_files.py::"
STRATA = "tests/study/landing/test_strata.py::"
PLACES = "tests/study/landing/test_landing_places.py::"
GROUND = "tests/study/landing/test_terrain.py::"

ERRORS: tuple[PlantedError, ...] = (
    PlantedError(
        "holes as outlines",
        "study/landing/geojson.py",
        "return ring if anticlockwise != hole else ring[::-1]",
        "return ring if anticlockwise else ring[::-1]",
        "rings round holes run anticlockwise, against RFC 7946: a reader fills the hole",
        FILES + "test_geojson__is_what_the_standard_asks_for",
    ),
    PlantedError(
        "edges of a field straight on the ground",
        "study/landing/field.py",
        "fine = shapely.segmentize(shape, EDGE / 111e3)",
        "fine = shape",
        "corners alone are turned into metres: a long edge along a parallel lies metres beside where RFC 7946 has it",
        "tests/study/landing/test_field_geojson.py::test_field__edges_are_straight_in_longitude_and_latitude",
    ),
    PlantedError(
        "ground heights from the ellipsoid",
        "study/landing/terrain.py",
        "return terrain._replace(height=height - rail, rail_height=rail)",
        "return terrain._replace(height=height - site.altitude, rail_height=rail)",
        "the grid is held against the mission's altitude: where both have another reference everything lands on a step",
        VALIDATED + "test_slope__is_met_where_the_closed_form_says",
    ),
    PlantedError(
        "ground by the flat landing place",
        "study/landing/terrain.py",
        "ground_height(terrain, site, at[:, 0] + along[:, 0] * time, at[:, 1] + along[:, 1] * time)",
        "ground_height(terrain, site, at[:, 0], at[:, 1])",
        "the height under the flat landing place is taken, not that where the line of descent meets the ground",
        GROUND + "test_slope__is_met_where_the_closed_form_says",
    ),
    PlantedError(
        "flights with a failure made certain count like the others",
        "study/landing/strata.py",
        "estimate = float(np.sum(weights[flown] * each[flown]) / weights[flown].sum())",
        "estimate = float(np.sum(hits[flown]) / np.sum(flights[flown]))",
        "what was flown more often is taken for more probable",
        PLACES + "test_strata__are_weighted",
    ),
    PlantedError(
        "the lower end by the upper spread",
        "study/landing/strata.py",
        "low = [(w, x, n - x + 1)",
        "low = [(w, x + 1, n - x + 1)",
        "the lower end of a share is too high: it misses the truth too often",
        STRATA + "test_interval__holds_the_truth_as_often_as_it_says",
    ),
)
