"""The files of the lost flight: what their generator makes, and no word of the truth among them."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from postflight.demo import make_lost_flight as made
from support import lost_pictures as seen
from support.lost_flights import mission_of

NUMBER = re.compile(r"-?\d+\.?\d*(?:e-?\d+)?")
FILES = ("log.csv", "columns.toml", "evidence.toml", "walked.geojson", "camera.toml", "frames.csv")


@pytest.fixture(scope="module")
def again(tmp_path_factory):
    """The files and the truth, made anew."""
    folder = tmp_path_factory.mktemp("lost")
    made.main(folder, folder)
    return folder


@pytest.mark.parametrize("name", FILES)
def test_files__are_what_the_generator_makes(again, name):
    """Words are the same, numbers to the last digit or so that is written: another machine rounds a flight's last bits elsewhere."""
    written, anew = ((folder / name).read_text() for folder in (made.FOLDER, again))
    assert NUMBER.sub("#", written) == NUMBER.sub("#", anew)
    numbers = [np.array([float(one) for one in NUMBER.findall(text)]) for text in (written, anew)]
    np.testing.assert_allclose(numbers[0], numbers[1], rtol=2e-6, atol=0.11)


def test_truth__is_what_was_flown(again):
    kept, anew = (tomllib.loads((folder / "truth.toml").read_text()) for folder in (made.HERE, again))
    assert kept["landing"].keys() == anew["landing"].keys()
    for name, place in kept["landing"].items():
        assert place == pytest.approx(anew["landing"][name], abs=0.15)
    assert kept["draws"] == {name: pytest.approx(values, rel=1e-5) for name, values in anew["draws"].items()}


def test_files__say_that_they_are_invented_and_keep_the_truth_apart():
    for path in sorted(made.FOLDER.iterdir()):
        text = path.read_text()
        assert "Invented, all of it" in text, path
        assert "harness" not in text and "truth" not in text.lower(), path
    assert not list(Path(made.FOLDER).glob("*truth*"))


def test_landmarks__lie_in_the_picture():
    """Where the generator's own camera sees them, within the errors of reading."""
    for pixel in seen.landmark_pixels(mission_of(), np.random.default_rng(0)).values():
        assert (pixel > 0.0).all() and (pixel < np.array(seen.PICTURE)).all()
