"""The palette: colours that stay apart for every pair of eyes, and lines that can be seen on white."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from colour_blind import EYES, contrast, distance, lab, linear

from sixdof.plot.aero.mach import SHADES
from sixdof.plot.style import CYCLE, DASHES, GREY, INK, shades

APART, APART_FROM_NEUTRAL = 25.0, 20.0  # CIELAB: some ten times what is just noticed side by side, as thin lines need
LEAST_CONTRAST = 2.9  # on white; 3 is what WCAG 2 asks of graphics, 2.25 and 2.3 are those of the sky blue and orange often seen


@pytest.mark.parametrize("eyes", EYES)
def test_cycle__every_pair_is_told_apart(eyes):
    pairs = {(a, b): distance(a, b, EYES[eyes]) for a, b in combinations(CYCLE, 2)}
    assert min(pairs.values()) > APART, min(pairs, key=pairs.get)


@pytest.mark.parametrize("eyes", EYES)
def test_cycle__is_told_from_grey_and_ink(eyes):
    pairs = {(a, b): distance(a, b, EYES[eyes]) for a in CYCLE for b in (GREY, INK)}
    assert min(pairs.values()) > APART_FROM_NEUTRAL, min(pairs, key=pairs.get)


def test_cycle__is_not_faint_on_white():
    assert min(contrast(colour, "white") for colour in CYCLE) > LEAST_CONTRAST


@pytest.mark.parametrize("eyes", EYES)
def test_drag_shades__neighbours_are_told_apart(eyes):
    assert min(distance(a, b, EYES[eyes]) for a, b in zip(SHADES, SHADES[1:])) > 12.0  # areas that touch need less than lines


def test_shades__darken_evenly_and_dashes_differ():
    light = [lab(colour)[0] for colour in shades(6)]
    assert (np.diff(light) < -8.0).all() and len(set(map(str, DASHES))) == len(DASHES) >= len(CYCLE)


def test_eyes__leave_greys_alone_and_lose_what_they_lack():
    """The simulation itself: greys stay grey, red and green of one lightness fall together without red or green cones."""
    for matrix in EYES.values():
        assert matrix @ np.ones(3) == pytest.approx(np.ones(3), abs=2e-6)
    red, green = "#b3512f", "#6b7a1f"
    for eyes in ("protanopia", "deuteranopia"):
        assert distance(red, green, EYES[eyes]) < 0.6 * distance(red, green)


def test_contrast__black_on_white():
    assert contrast("black", "white") == pytest.approx(21.0) and linear("white") == pytest.approx(np.ones(3))
