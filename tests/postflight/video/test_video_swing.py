"""Swings: known damped sinusoids come back with the errors that Rife and Boorstyn's bound allows; noise alone is not taken for one; aliases."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr

import sixdof
from sixdof.postflight.video.damped import aliases, fit, sampling_rate
from sixdof.postflight.video.swing_of import swing_of

TIME = np.arange(96) / 30.0


def damped(time, frequency, damping, amplitude=1.0, phase=0.4):
    """Return a damped oscillation of a natural frequency (Hz) and a damping ratio, by the solution of y'' + 2 z w y' + w^2 y = 0."""
    w = 2.0 * math.pi * frequency
    return amplitude * np.exp(-damping * w * time) * np.cos(w * math.sqrt(1.0 - damping**2) * time + phase)


@pytest.mark.parametrize(("frequency", "damping"), [(2.3, 0.05), (0.9, 0.15), (6.0, 0.02), (1.5, -0.03)])
def test_swing__without_noise_comes_back(frequency, damping):
    found = swing_of((TIME, 0.3 - 0.1 * TIME + 0.02 * TIME**2 + damped(TIME, frequency, damping)))
    assert float(found["natural_frequency"]) == pytest.approx(frequency, rel=1e-6) and float(found["damping"]) == pytest.approx(damping, abs=1e-6)
    peak = damped(np.array([0.0, 1.0]) / float(found["frequency"]), frequency, damping)  # a swing apart
    assert float(found["decrement"]) == pytest.approx(math.log(peak[0] / peak[1]), abs=1e-5)


def test_frequency__is_as_sure_as_the_bound_of_rife_and_boorstyn_allows():
    """A real tone of amplitude A in noise s: var(w) >= 24 s^2/(A^2 T^2 N (N^2 - 1)) (1974, eq. 17, of half the information). 40 tries tell 11 %."""
    random, noise, count, step = np.random.default_rng(0), 0.3, TIME.size, TIME[1]
    bound = math.sqrt(24.0 * noise**2 / (step**2 * count * (count**2 - 1.0))) / (2.0 * math.pi)
    found = [fit(TIME, np.cos(2.0 * np.pi * 2.3 * TIME + k) + noise * random.standard_normal(count)) for k in range(40)]
    assert np.std([one.frequency for one in found]) == pytest.approx(bound, rel=0.34)
    assert np.median([one.frequency_error for one in found]) == pytest.approx(bound, rel=0.1)
    assert max(one.chance for one in found) < 1e-10 and np.median([one.noise for one in found]) == pytest.approx(noise, rel=0.05)


@pytest.mark.slow
def test_errors__of_a_damped_swing_are_the_scatter_of_many():
    """400 tries tell 3.5 %; three of these, and the fit's own curvature."""
    random, clean = np.random.default_rng(1), damped(TIME, 1.8, 0.08)
    found = [fit(TIME, clean + 0.1 * random.standard_normal(TIME.size)) for _ in range(400)]
    for name in ("frequency", "natural", "damping", "decrement"):
        spread = np.std([getattr(one, name) for one in found])
        assert spread == pytest.approx(np.median([getattr(one, f"{name}_error") for one in found]), rel=0.12), name


def test_noise_alone__is_rarely_taken_for_a_swing():
    random = np.random.default_rng(2)
    chance = np.array([fit(TIME[:48], random.standard_normal(48)).chance for _ in range(40)])
    assert np.mean(chance < 0.01) <= 0.05 and np.median(chance) > 0.2
    found = swing_of((TIME[:48], random.standard_normal(48)))
    assert not found.attrs["found"] and "NO OSCILLATION" in sixdof.report(found)


def test_bend__is_not_taken_for_a_swing():
    found = swing_of((TIME, 0.2 * np.exp(-0.5 * TIME) + 1e-4 * np.random.default_rng(1).standard_normal(TIME.size)))
    assert not found.attrs["found"]


def test_aliases__are_told_where_the_frames_are_even():
    """28 Hz read at 30 frames a second is 2 Hz."""
    found = swing_of((TIME, np.cos(2.0 * np.pi * 28.0 * TIME)))
    assert float(found["frequency"]) == pytest.approx(2.0, abs=1e-6) and found["candidate"].values == pytest.approx([2.0, 28.0, 32.0], abs=1e-6)
    assert "28.00, 32.00 Hz would look the same" in sixdof.report(found)
    uneven = np.sort(TIME + np.random.default_rng(0).uniform(-0.01, 0.01, TIME.size))
    assert math.isnan(sampling_rate(uneven)) and aliases(2.0, 30.0).tolist() == [2.0, 28.0, 32.0]
    found = swing_of((uneven, np.cos(2.0 * np.pi * 28.0 * uneven)), highest="40 Hz")
    assert float(found["frequency"]) == pytest.approx(28.0, abs=1e-6) and found.sizes["candidate"] == 1


def test_stretch__and_an_array_along_time():
    array = xr.DataArray(damped(TIME, 1.5, 0.1), {"time": TIME}, "time", attrs={"long_name": "tilt", "units": "rad"})
    found = swing_of(array, start=0.5, end="2.5 s")
    assert found["time"].values[[0, -1]] == pytest.approx([0.5, 2.5]) and float(found["natural_frequency"]) == pytest.approx(1.5)
    assert found["value"].attrs["long_name"] == "tilt"


@pytest.mark.parametrize(
    ("series", "options", "words"),
    [
        (3, {}, "must be a video"),
        ((TIME, TIME[:5]), {}, "of one length"),
        ((TIME[::-1], TIME), {}, "must rise"),
        ((TIME[:8], np.sin(TIME[:8])), {}, "8 readings are too few"),
        ((TIME, 2.0 + TIME), {}, "nothing oscillates"),
        ((TIME, np.sin(TIME)), {"highest": "0.1 Hz"}, "too short for any frequency"),
        ((TIME, np.sin(TIME)), {"start": "2 kg"}, "start"),
        (xr.Dataset(), {}, "no lean_across"),
        (xr.DataArray(np.zeros((2, 2)), dims=("a", "b")), {}, "along time alone"),
    ],
)
def test_swing_of__bad_input_is_one_sentence(series, options, words):
    with pytest.raises(ValueError) as caught:
        swing_of(series, **options)
    assert words in str(caught.value) and "\n" not in str(caught.value)
