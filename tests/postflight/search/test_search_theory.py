"""Search theory against closed forms: `search_theory_checks.csv` (B. O. Koopman, 1946 and 1957; L. D. Stone, 1975, Theory of Optimal Search)."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from sixdof.postflight.search.allocation import optimal_allocation
from sixdof.postflight.search.detection import LAWS
from sixdof.postflight.search.position import way
from sixdof.world.geodesy import place_on_earth

ROWS = list(csv.DictReader(Path(__file__).with_name("search_theory_checks.csv").read_text(encoding="utf-8").splitlines()))
CELL = 0.02  # standard deviations: the sum over cells is off the integral by its square over 24 and less


def values(kind: str) -> list[tuple[float, str]]:
    return [(float(row["input"].partition("=")[2]), row["value"]) for row in ROWS if row["check"].startswith(kind)]


def test_csv__is_read_whole():
    kinds = ("circular normal", "POD inverse cube", "POD random", "two equal cells", "posterior of cell 1")
    assert sum(sum(row["check"].startswith(kind) for kind in kinds) for row in ROWS) == len(ROWS) == 21


@pytest.fixture(scope="module")
def normal():
    x = (np.arange(-300, 300) + 0.5) * CELL
    return np.exp(-0.5 * (x[:, None] ** 2 + x**2)) / (2.0 * math.pi) * CELL**2


@pytest.mark.parametrize(("u", "found"), values("circular normal"))
def test_allocation__of_a_circular_normal(normal, u, found):
    best = optimal_allocation(normal, math.pi * u**2 / CELL**2)
    assert best.found == pytest.approx(float(found), abs=2e-4)
    assert best.found == pytest.approx(1.0 - (1.0 + u) * math.exp(-u), abs=2e-4)
    x = (np.arange(-300, 300) + 0.5) * CELL
    reached = np.hypot(x[:, None], x)[best.coverage.reshape(normal.shape) > 0.0].max()
    assert reached == pytest.approx(math.sqrt(2.0 * u), abs=2.0 * CELL)


@pytest.mark.parametrize("law", ["random", "inverse cube"])
@pytest.mark.parametrize("row", [0, 1, 2, 3, 4])
def test_detection__by_law(law, row):
    coverage, wanted = values(f"POD {law}")[row]
    assert float(LAWS[law].probability(np.array(coverage))) == pytest.approx(float(wanted), abs=1e-9)


@pytest.mark.parametrize(("effort", "wanted"), values("two equal cells"))
def test_allocation__of_two_cells(effort, wanted):
    first, found = (float(one) for one in wanted.split(";"))
    best = optimal_allocation(np.array([0.7, 0.3]), effort)
    assert best.coverage[0] == pytest.approx(first, abs=1e-8) and best.found == pytest.approx(found, abs=1e-8)
    assert best.coverage.sum() == pytest.approx(effort, abs=1e-9)


@pytest.mark.parametrize("effort", [0.85, 2.0, 7.0])
def test_allocation__leaves_equal_cells(effort):
    (_, wanted) = next((0.0, row["value"]) for row in ROWS if row["check"].startswith("posterior"))
    p = np.array([0.7, 0.3])
    left = p * np.exp(-optimal_allocation(p, effort).coverage)
    assert left[0] / left.sum() == pytest.approx(float(wanted), abs=1e-9)


@pytest.mark.parametrize("law", LAWS)
def test_allocation__no_random_plan_finds_more(law):
    draw = np.random.default_rng(3)
    p = draw.dirichlet(np.full(30, 0.5))
    best = optimal_allocation(p, 12.0, LAWS[law]).found
    plans = draw.dirichlet(np.full(30, 0.3), 500) * 12.0
    assert (p * LAWS[law].probability(plans)).sum(axis=1).max() <= best + 1e-12


def test_way__is_the_geodesic_on_the_ground(demo_mission):
    """Against PROJ's geodesics on the ellipsoid, longer by the altitude over the Earth's radius (1250 m: 2.0e-4)."""
    from pyproj import Geod

    site, earth, draw = demo_mission.site, Geod(ellps="WGS84"), np.random.default_rng(1)
    for _ in range(20):
        start, end = (tuple(draw.uniform(-5e3, 5e3, 2)) for _ in range(2))
        (lat, lon), (lat2, lon2) = ((float(one) for one in place_on_earth(site, *map(np.array, place), 0.0)) for place in (start, end))
        bearing, _, distance = earth.inv(lon, lat, lon2, lat2)
        found = way(site, start, end)
        assert found.distance == pytest.approx(distance * (1.0 + site.altitude / 6.37e6), rel=3e-6)
        assert abs((found.bearing - bearing + 180.0) % 360.0 - 180.0) < 1e-4
