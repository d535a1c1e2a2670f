"""Rows of logs made alike, and the points of a track."""

from __future__ import annotations

import numpy as np
import pytest

from sixdof.core.layout import LOG_COLUMNS, SENSED
from sixdof.core.whole.track import keep_track, widen
from sixdof.ensemble.block_runner import TRACK_CROWDING, places

COLUMNS = np.array([2, 0])


def track(rows, place):
    log = np.arange(3.0 * rows).reshape(rows, 3)
    out = np.full((len(place), 2), -1.0)
    keep_track(log, COLUMNS, place, out)
    return log[:, COLUMNS], out


def test_track__of_a_long_log_lies_closer_at_its_start():
    for rows, together in ((1000, False), (100, True)):  # in a shorter log some of the first points fall together
        log, out = track(rows, places(64))
        expected = np.unique(np.round(np.linspace(0.0, 1.0, 64) ** TRACK_CROWDING * (rows - 1)).astype(int))
        np.testing.assert_array_equal(out[: len(expected)], log[expected])
        assert np.isnan(out[len(expected) :]).all() and (len(expected) < 64) == together
        assert out[len(expected) - 1, 1] == log[-1, 1] and np.diff(expected)[0] < np.diff(expected)[-1]


@pytest.mark.parametrize("place", [places(5), np.zeros(5)])
def test_track__of_a_short_log_is_all_of_it(place):
    log, out = track(3, place)
    np.testing.assert_array_equal(out[:3], log)
    assert np.isnan(out[3:]).all()


@pytest.mark.parametrize("rows, step", [(10, 1), (11, 2), (20, 2), (21, 3)])
def test_track__at_a_rate_takes_every_nth_row(rows, step):
    log, out = track(rows, np.zeros(10))
    kept = log[::step]
    np.testing.assert_array_equal(out[: len(kept)], kept)
    assert np.isnan(out[len(kept) :]).all()


@pytest.mark.parametrize("own", [0, 2, 4])
def test_widen__keeps_each_number_under_its_name(own):
    """Fins, commands and hinge moments of `own` fins in places for four, readings last."""
    fins, readings = 4, len(SENSED)
    rng = np.random.default_rng(own)
    narrow = rng.normal(size=(3, LOG_COLUMNS + 3 * own + readings))
    wide = np.full((3, LOG_COLUMNS + 3 * fins + readings), 7.0)
    wide[:, : narrow.shape[1]] = narrow
    widen(wide, own)
    np.testing.assert_array_equal(wide[:, :LOG_COLUMNS], narrow[:, :LOG_COLUMNS])
    np.testing.assert_array_equal(wide[:, -readings:], narrow[:, -readings:])
    for k in range(3):
        first, at = LOG_COLUMNS + k * own, LOG_COLUMNS + k * fins
        np.testing.assert_array_equal(wide[:, at : at + own], narrow[:, first : first + own])
        assert np.isnan(wide[:, at + own : at + fins]).all()
