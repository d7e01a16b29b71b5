"""The volume, the tap for the meters, the true peak, the rate bridge, the callback's clock."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lagline.media.true_peak import TruePeakStream
from lagline.playback.board import Board, Field
from lagline.playback.monitor import RAMP_S, MonitorGain, Tap
from lagline.playback.pulse import Pulse
from lagline.playback.rates import RateBridge

RATE_HZ = 48_000
RAMP = round(RAMP_S * RATE_HZ)


def weighed(gain: MonitorGain, target: float, frames: int, block: int) -> np.ndarray:
    out = np.ones((frames, 2), np.float32)
    for first in range(0, frames, block):
        gain.apply(out[first : first + block], target)
    return out[:, 0]


@pytest.mark.parametrize("block", [7, 256, 5_000])
def test_the_volume_moves_in_a_straight_ramp(block: int):
    gain = MonitorGain(RATE_HZ)
    gain.jump(0.25)
    out = weighed(gain, 0.75, 2 * RAMP, block)
    np.testing.assert_allclose(out[:RAMP], 0.25 + 0.5 * np.arange(1, RAMP + 1) / RAMP, rtol=1e-6)
    assert (out[RAMP:] == 0.75).all()


def test_full_volume_changes_no_bit():
    gain = MonitorGain(RATE_HZ)
    gain.jump(1.0)
    samples = np.random.default_rng(0).standard_normal((100, 2)).astype(np.float32)
    out = samples.copy()
    gain.apply(out, 1.0)
    assert np.array_equal(out, samples)


def test_a_reader_of_the_tap_misses_nothing_unless_it_sleeps():
    tap, read, seen = Tap(1_000), 0, []
    for n in range(30):
        tap.write(np.full((77, 2), n, np.float32))
        samples, read = tap.since(read)
        seen.append(samples)
    assert np.array_equal(np.concatenate(seen)[:, 0], np.repeat(np.arange(30), 77))
    for n in range(30):
        tap.write(np.full((77, 2), n, np.float32))
    samples, read = tap.since(read)
    assert len(samples) == 500 and samples[-1, 0] == 29


@settings(deadline=None, max_examples=20)
@given(cuts=st.lists(st.integers(1, 999), max_size=5, unique=True))
def test_the_true_peak_does_not_depend_on_blocks(cuts: list[int]):
    signal = np.random.default_rng(2).standard_normal((1_000, 2)).astype(np.float32)
    whole = TruePeakStream().peak(signal)
    meter = TruePeakStream()
    assert max(meter.peak(part) for part in np.split(signal, sorted(cuts))) == pytest.approx(whole, rel=1e-5)
    assert meter.peak(signal[:0]) == 0.0


@pytest.mark.parametrize("device_rate_hz", [44_100, 96_000])
def test_the_rate_bridge_keeps_pitch_and_level(device_rate_hz: int):
    at = 0

    def fill(out: np.ndarray) -> None:
        nonlocal at
        out[:] = 0.5 * np.sin(2 * np.pi * 1_000 / RATE_HZ * (at + np.arange(len(out))))[:, np.newaxis]
        at += len(out)

    bridge = RateBridge(fill, RATE_HZ, device_rate_hz)
    out = np.zeros((device_rate_hz, 2), np.float32)
    for first in range(0, device_rate_hz, 300):
        bridge.fill(out[first : first + 300])
    settled = out[device_rate_hz // 10 :, 0]
    times = np.arange(len(settled)) / device_rate_hz
    wave = np.exp(-2j * np.pi * 1_000 * times)
    assert 2 * abs(np.mean(settled * wave)) == pytest.approx(0.5, rel=1e-3)
    tone = 2 * np.real(np.mean(settled * wave) * np.conj(wave))
    assert 20 * np.log10(np.abs(settled - tone).max() / 0.5) < -90


class Clocked:
    """A pulse that has just begun, on a clock that stands still until it is put on."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.board = Board()
        self.pulse = Pulse(self.board)
        self.pulse.start(RATE_HZ)


@pytest.fixture
def clocked(monkeypatch: pytest.MonkeyPatch) -> Clocked:
    made = Clocked()
    monkeypatch.setattr("lagline.playback.pulse.time.perf_counter", lambda: made.now_s)
    return made


def test_the_callback_clock_counts_late_and_long_blocks(clocked: Clocked):
    board, pulse = clocked.board, clocked.pulse
    begins = [0.0, 10.0, 20.5, 30.0, 45.0, 50.0, 72.0]  # ms, where 480 frames make one of every 10
    takes = [1.0, 1.0, 6.0, 1.0, 1.0, 1.0, 1.0]
    for begin, taken in zip(begins, takes, strict=True):
        clocked.now_s = 100.0 + begin / 1_000
        with pulse.beat(480):
            clocked.now_s += taken / 1_000
    assert board[Field.BLOCKS] == 7 and board[Field.BLOCK_FRAMES] == 480
    assert board[Field.LATE_BLOCKS] == 1  # 5 ms is half a block, 12 ms more than one
    assert board[Field.WORST_LATENESS] == pytest.approx(1.2, abs=0.05)
    assert board[Field.WORST_DURATION] == pytest.approx(0.6)
    assert board.duration_percentile(50) == pytest.approx(0.1, abs=0.006)
    assert board.duration_percentile(100) == pytest.approx(0.6, abs=0.006)
    board.clear_timing()
    assert board[Field.BLOCKS] == 0 and board.duration_percentile(50) == 0.0


def test_a_device_that_keeps_another_time_is_not_late_for_ever(clocked: Clocked):
    board, pulse = clocked.board, clocked.pulse
    for block in range(1_000):
        clocked.now_s = block * 0.01 * 1.000_2 + (0.03 if block > 300 else 0.0)  # a slow clock, and one jump
        with pulse.beat(480):
            pass
    assert 0 < board[Field.LATE_BLOCKS] < 100


def test_a_new_beat_after_an_underrun_counts_once(clocked: Clocked):
    board, pulse = clocked.board, clocked.pulse
    for block in range(100):
        clocked.now_s = block * 0.01 + (0.025 if block >= 40 else 0.0)  # 2.5 blocks late, and so it stays
        if block == 41:  # a sound server tells of it with the block after
            pulse.underrun()
        with pulse.beat(480):
            pass
    assert board[Field.UNDERRUNS] == 1
    assert board[Field.LATE_BLOCKS] == 2  # the late one and the one that brings the news
    assert board[Field.WORST_LATENESS] == pytest.approx(2.5, abs=0.05)
