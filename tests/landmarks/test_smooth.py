"""The filter is what its docstring says: a corner at -3 dB, no delay, gaps kept apart."""

import math

import numpy as np
import pytest

from service.landmarks.smooth import fill_short_gaps, kernel, noise_gains, runs, smooth


@pytest.mark.parametrize("fps", [24.0, 30.0, 60.0, 120.0])
def test_a_sine_at_the_corner_keeps_half_its_power_and_comes_without_delay(fps: float) -> None:
    time = np.arange(round(6 * fps)) / fps
    wave = np.sin(2 * math.pi * 6.0 * time)
    out = smooth(wave[:, None], kernel(fps, 6.0))[:, 0]
    inner = slice(round(2 * fps), round(4 * fps))
    sine, cosine = np.sin(2 * math.pi * 6 * time[inner]), np.cos(2 * math.pi * 6 * time[inner])
    in_phase, out_of_phase = 2 * (out[inner] * sine).mean(), 2 * (out[inner] * cosine).mean()
    # the two passes together: half the power, that is 0.7071 of the size
    assert in_phase == pytest.approx(math.sqrt(0.5), abs=0.01)
    assert out_of_phase == pytest.approx(0.0, abs=0.01)


def test_a_slow_movement_passes_unchanged() -> None:
    time = np.arange(300) / 30
    wave = np.cos(2 * math.pi * 0.4 * time)
    out = smooth(wave[:, None], kernel(30.0, 6.0))[:, 0]
    assert np.abs(out - wave)[30:-30].max() < 0.001


def test_a_straight_line_stays_straight_to_its_ends() -> None:
    line = np.arange(50, dtype=np.float64)
    out = smooth(line[:, None], kernel(30.0, 6.0))[:, 0]
    assert np.abs(out - line).max() < 1e-9


def test_noise_falls_by_the_gain_that_is_told() -> None:
    seed = 4
    print("seed", seed)
    noise = np.random.default_rng(seed).standard_normal((20000, 1))
    weights = kernel(30.0, 6.0)
    gain, left = noise_gains(weights)
    out = smooth(noise, weights)
    assert out.std() == pytest.approx(gain, rel=0.03)
    assert (noise - out).std() == pytest.approx(left, rel=0.03)


def test_a_corner_beyond_the_frame_rate_filters_nothing() -> None:
    assert kernel(10.0, 6.0) == (1.0,)


def test_short_gaps_are_drawn_straight_and_long_ones_stay() -> None:
    series = np.arange(20, dtype=np.float64)[:, None]
    series[3:5] = np.nan
    series[8:15] = np.nan
    out = fill_short_gaps(series, 3)[:, 0]
    assert out[3:5].tolist() == [3.0, 4.0]
    assert np.isnan(out[8:15]).all()
    filtered = smooth(out[:, None], kernel(30.0, 6.0))[:, 0]
    assert np.isnan(filtered).sum() == 7


def test_gaps_at_the_ends_are_not_invented() -> None:
    series = np.array([[np.nan], [1.0], [2.0], [np.nan]])
    out = fill_short_gaps(series, 5)
    assert np.isnan(out[0, 0]) and np.isnan(out[3, 0])


def test_runs_are_told_with_their_ends() -> None:
    assert runs(np.array([True, False, True, True])) == [(0, 1), (2, 4)]
