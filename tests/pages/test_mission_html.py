"""How a mission and a tuning show themselves in a notebook."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import numpy as np
import pytest

from sixdof.vehicle.describe import balance
from sixdof.vehicle.geometry import shape_of


class Tags(HTMLParser):
    """Checks that tags close in the order they open, and collects the text."""

    def __init__(self, page: str):
        super().__init__()
        self.open, self.text = [], []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        if tag not in ("polygon", "line"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag not in ("polygon", "line"):
            assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


@pytest.fixture(params=["demo_mission", "stack_mission"])
def mission(request):
    return request.getfixturevalue(request.param)


def test_mission__shows_title_numbers_and_motors(mission):
    read = Tags(mission._repr_html_())
    assert not read.open
    words = " ".join(read.text)
    state = balance(mission, range(len(mission.stage)))
    assert mission.title in words and f"{state.loaded.mass:.3f} kg" in words and f"{state.margin_loaded:.2f} calibres" in words
    assert all(f'"{name}"' in words for name in mission.motor) and all(stage.name in words for stage in mission.stage)


def test_mission__is_drawn_to_scale(mission):
    shape = shape_of(mission.stage)
    page = mission._repr_html_()
    polygons = [np.array([pair.split(",") for pair in points.split()], dtype=float) for points in re.findall(r'points="(.*?)"', page)]
    bodies = polygons[sum(len(fins.angles()) for fins in shape.fins) :][: len(shape.segments)]
    scale = np.ptp(np.concatenate(bodies)[:, 0]) / shape.length
    assert np.ptp(np.concatenate(bodies)[:, 1]) == pytest.approx(scale * shape.diameter, abs=0.11)  # coordinates have one decimal
    box = [float(x) for x in re.search(r'viewBox="(.*?)"', page)[1].split()]
    every = np.concatenate(polygons)
    assert (every.min(axis=0) >= box[:2]).all() and (every.max(axis=0) <= np.add(box[:2], box[2:])).all()
    at = float(re.search(r'x1="([\d.]+)"', page)[1]) / scale
    assert at == pytest.approx(balance(mission, range(len(mission.stage))).loaded.centre[0], abs=0.2 / scale)


def test_mission__is_told_in_a_line(mission):
    assert len(repr(mission).splitlines()) == 1 and mission.title in repr(mission) and mission.stage[0].name in str(mission)
