"""The limiter: transparent below its ceiling, never above it, whatever the blocks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lagline.playback.limiter import HIGHEST_CEILING_DBFS, MOST_REDUCTION_DB, RELEASE_DB_PER_S, Limiter
from lagline.units import db_to_gain

RATE_HZ = 48_000
MOST = 250
CEILING = db_to_gain(HIGHEST_CEILING_DBFS)


def limited(signal: np.ndarray, block: int = 250) -> tuple[np.ndarray, list[float]]:
    limiter = Limiter(RATE_HZ, MOST)
    out, reductions = signal.astype(np.float32).copy(), []
    for first in range(0, len(out), block):
        limiter.process(out[first : first + block])
        reductions.append(limiter.reduction_db)
    return out, reductions


def stereo(mono: np.ndarray) -> np.ndarray:
    return np.column_stack([mono, mono])


def test_quiet_sound_passes_bit_for_bit_only_later():
    signal = np.random.default_rng(0).uniform(-0.89, 0.89, (5_000, 2)).astype(np.float32)
    delay = Limiter(RATE_HZ, MOST).delay_frames
    out, reductions = limited(signal)
    assert np.array_equal(out[delay:], signal[:-delay])
    assert not out[:delay].any() and max(reductions) == 0.0


@settings(deadline=None, max_examples=50)
@given(seed=st.integers(0, 10_000), peak=st.floats(0.9, 60.0), block=st.sampled_from([1, 64, 97, 128, 250]))
def test_nothing_rises_above_the_ceiling(seed: int, peak: float, block: int):
    rng = np.random.default_rng(seed)
    frames = 300 if block == 1 else 4_000
    signal = rng.standard_normal((frames, 2)) * 0.2
    hits = rng.integers(0, frames, 6)
    signal[hits] = rng.uniform(-peak, peak, (6, 2))
    out, _ = limited(signal, block)
    assert np.abs(out).max() <= np.float32(CEILING)


def test_the_gain_is_down_when_the_peak_leaves_and_comes_back_steadily():
    block = 125
    mono = np.full(RATE_HZ, 0.01)
    mono[1_000] = 2.0 * CEILING  # 6.02 dB too much
    out, reductions = limited(stereo(mono), block)
    gain_db = 20 * np.log10(np.maximum(out[MOST:, 0], 1e-9) / 0.01)
    assert out[1_000 + MOST, 0] == pytest.approx(CEILING, rel=1e-5)
    assert (out[MOST:1_000, 0] == np.float32(0.01)).all()  # untouched before the peak has come in
    assert gain_db[999] == pytest.approx(-6.02, abs=0.1)
    assert np.diff(gain_db)[np.arange(len(gain_db) - 1) < 990].min() > -0.12  # no jump on the way down
    recovering = gain_db[2_000:4_000]
    assert np.diff(recovering).mean() * RATE_HZ == pytest.approx(RELEASE_DB_PER_S, rel=0.01)
    assert max(reductions) == pytest.approx(6.02, abs=0.01)
    assert reductions[-1] == 0.0
    tail = out[-1_000:]
    assert np.array_equal(tail, np.full_like(tail, np.float32(0.01)))


def test_both_sides_are_turned_down_together():
    signal = np.column_stack([np.full(2_000, 2.0), np.full(2_000, 0.5)])
    out, _ = limited(signal)
    np.testing.assert_allclose(out[-500:, 1] / out[-500:, 0], 0.25, rtol=1e-5)


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 3e38, -1e30])
@pytest.mark.parametrize("block", [1, 97, 250])
def test_what_is_no_sound_becomes_silence_and_nothing_else_changes(side: int, bad: float, block: int):
    signal = np.random.default_rng(3).uniform(-0.5, 0.5, (2_000, 2)).astype(np.float32)
    signal[[500, 501, 700], side] = bad
    expected = signal.copy()
    expected[[500, 501, 700], side] = 0.0
    out, reductions = limited(signal, block)
    assert np.array_equal(out[MOST:], expected[:-MOST])
    assert max(reductions) == 0.0


def test_a_peak_beside_what_is_no_sound_is_still_held_down():
    signal = np.full((3_000, 2), 0.1, np.float32)
    signal[1_000, 0], signal[1_001] = np.nan, 4.0
    out, reductions = limited(signal)
    assert np.abs(out).max() == pytest.approx(CEILING, rel=1e-5) and np.abs(out).max() <= np.float32(CEILING)
    assert 0.0 < max(reductions) < 20.0


def test_it_recovers_from_the_loudest_that_is_still_sound():
    loudest = CEILING * db_to_gain(MOST_REDUCTION_DB) * 0.999
    seconds = MOST_REDUCTION_DB / RELEASE_DB_PER_S
    signal = np.full((round(RATE_HZ * (seconds + 0.1)), 2), 0.25, np.float32)
    signal[600] = loudest
    out, reductions = limited(signal)
    assert np.abs(out).max() <= np.float32(CEILING)
    assert max(reductions) == pytest.approx(MOST_REDUCTION_DB, abs=0.1)
    assert reductions[-1] == 0.0 and (out[-1_000:] == np.float32(0.25)).all()


def test_the_meters_show_what_is_sound():
    limiter = Limiter(RATE_HZ, MOST)
    block = np.full((MOST, 2), 0.25, np.float32)
    block[3, 0], block[4, 1] = np.nan, np.inf
    limiter.process(block)
    assert limiter.peaks == (0.25, 0.25)
