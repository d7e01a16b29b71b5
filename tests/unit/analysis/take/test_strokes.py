"""Strokes over all lanes: when, how loud, and heard first where."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from lagline.analysis.take import strokes as module
from lagline.analysis.take.strokes import first_sounds, high_passed, strokes

RATE = 48_000


def crack(seed: int, frames: int = 2400) -> np.ndarray:
    """Starts at frame 0, through a microphone's band, so that it begins as sound does."""
    x = np.random.default_rng(seed).standard_normal(frames) * np.exp(-np.arange(frames) / 300)
    return scipy.signal.sosfilt(scipy.signal.butter(2, [300, 9000], "bandpass", fs=RATE, output="sos"), x)


def take(at: list[int], lags: list[int], gains: list[float]) -> list[np.ndarray]:
    lanes = [1e-5 * np.random.default_rng(k).standard_normal(3 * RATE) for k in range(len(lags))]
    for lane, lag, gain in zip(lanes, lags, gains, strict=True):
        for n, t in enumerate(at):
            lane[t + lag : t + lag + 2400] += gain * crack(n)
    return [lane.astype(np.float32) for lane in lanes]


def test_a_stroke_is_one_however_far_the_lanes_are_apart() -> None:
    at, lags = [20_000, 60_000, 61_900, 100_000], [0, 250, 900]
    played = strokes(take(at, lags, [0.5, 0.2, 0.05]), RATE)
    assert len(played.at) == 4
    assert np.all(np.abs(played.at - at) <= 0.003 * RATE)
    for lane, lag in enumerate(lags):
        off = played.first[:, lane] - np.array(at) - lag
        assert np.isfinite(off).sum() >= 3  # the last lane still rings when the third stroke comes
        assert np.nanmax(np.abs(off)) <= 4


def test_levels_are_against_the_lane_s_own_loudest() -> None:
    lanes = take([20_000, 60_000], [0, 100], [0.5, 0.2])
    lanes[1][55_000:] *= 0.1
    level = strokes(lanes, RATE).level_db
    assert level.max() == 0
    assert level[1, 1] == pytest.approx(level[1, 0] - 20, abs=1.5)


def test_a_lane_that_begins_inside_an_attack_tells_no_first_sound() -> None:
    """As an edit leaves it: silence, then the attack's middle in every lane at once."""
    lanes = take([20_000, 60_000], [0, 100], [0.5, 0.2])
    for lane in lanes:
        lane[10_000:20_150] = 0
    first = strokes(lanes, RATE).first
    assert np.isnan(first[0]).all()
    assert first[1] == pytest.approx([60_000, 60_100], abs=4)


def test_what_rings_on_hides_a_first_sound_rather_than_moving_it() -> None:
    x = take([20_000, 60_000], [0, 0], [0.5, 0.5])[0]
    x[50_000:70_000] += (0.4 * np.sin(2 * np.pi * 200 * np.arange(20_000) / RATE)).astype(np.float32)
    first = first_sounds(x, np.array([20_000, 60_000]), RATE)
    assert first[0] == pytest.approx(20_000, abs=4)
    assert np.isnan(first[1]) or first[1] == pytest.approx(60_000, abs=5)


@pytest.mark.parametrize("cutoff", [60.0, 1200.0])
def test_the_high_pass_is_butterworth_s_and_causal_over_its_seams(
    cutoff: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PIECE", 1 << 15)
    x = np.random.default_rng(1).standard_normal(100_000).astype(np.float32)
    x[:30_000] = 0
    plain = scipy.signal.sosfilt(scipy.signal.butter(2, cutoff, "highpass", fs=RATE, output="sos"), x)
    ours = high_passed(x, cutoff, RATE)
    assert np.allclose(ours, plain, atol=2e-5)
    assert np.max(np.abs(ours[:30_000])) < 2e-5


def test_silence_and_a_single_lane_s_noise_are_no_strokes() -> None:
    silent = [np.zeros(RATE, np.float32)] * 3
    assert len(strokes(silent, RATE).at) == 0
    alone = [take([20_000], [0], [0.5])[0], *silent[:2]]
    assert len(strokes(alone, RATE).at) == 0
