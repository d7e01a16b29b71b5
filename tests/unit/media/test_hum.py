"""Mains hum is found, whatever its multiples, and none where there is none."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from lagline.media.hum import find_hum, quiet_starts, window_frames
from lagline.media.pyramid import BIN_SAMPLES

RATE_HZ = 48_000
Signal = npt.NDArray[np.float64]


def found(samples: Signal, rate_hz: int = RATE_HZ) -> tuple[int, float] | None:
    """As health finds it: from the bins of an overview."""
    whole = samples[: len(samples) // BIN_SAMPLES * BIN_SAMPLES].reshape(-1, BIN_SAMPLES).astype(np.float32)
    starts = quiet_starts(whole.min(axis=1), whole.max(axis=1), BIN_SAMPLES, rate_hz)

    def read(start: int, stop: int) -> npt.NDArray[np.float32]:
        part = np.zeros(stop - start, np.float32)
        there = samples[start:stop]
        part[: len(there)] = there
        return part

    return find_hum(read, starts, len(samples), rate_hz)


def performance(seed: int, seconds: float = 12.0, rate_hz: int = RATE_HZ) -> Signal:
    """Notes of a piano's range, bass among them, that ring and die over a room's noise; equal temperament."""
    rng = np.random.default_rng(seed)
    frames = int(seconds * rate_hz)
    out = 10 ** (rng.uniform(-90, -60) / 20) * rng.normal(size=frames)
    time_s = np.arange(4 * rate_hz) / rate_hz
    for _ in range(int(rng.integers(6, 24))):
        pitch_hz = 440.0 * 2 ** ((int(rng.integers(28, 84)) - 69) / 12)
        decay = np.exp(-time_s / rng.uniform(0.2, 3.0))
        note = sum(
            rng.uniform(0.2, 1.0) / n * np.sin(2 * np.pi * n * pitch_hz * time_s + n) for n in range(1, 7)
        )
        at = int(rng.integers(0, frames - 1))
        part = (0.1 * decay * note)[: frames - at]
        out[at : at + len(part)] += part
    return out


def hum(mains_hz: float, level_db: float, multiples: tuple[int, ...], frames: int) -> Signal:
    time_s = np.arange(frames) / RATE_HZ
    return sum(
        (
            10 ** ((level_db - 6.0 * number) / 20) * np.sin(2 * np.pi * n * mains_hz * time_s + n)
            for number, n in enumerate(multiples)
        ),
        np.zeros(frames),
    )


@pytest.mark.parametrize("level_db", [-34.0, -46.0])
@pytest.mark.parametrize("multiples", [(1,), (2,), (1, 3), (1, 2, 3), (1, 3, 5, 7)])
@pytest.mark.parametrize("mains_hz", [49.95, 50.0, 60.05])
def test_hum_is_found_whatever_its_multiples(
    mains_hz: float, multiples: tuple[int, ...], level_db: float
) -> None:
    sound = performance(7, 20.0)
    answer = found(sound + hum(mains_hz, level_db, multiples, len(sound)))
    assert answer is not None and answer[0] == round(mains_hz)
    assert answer[1] == pytest.approx(level_db, abs=2.0)


@pytest.mark.slow
def test_none_is_found_in_two_hundred_clean_recordings() -> None:
    heard = {seed: answer for seed in range(200) if (answer := found(performance(seed, 8.0))) is not None}
    assert heard == {}


def test_a_held_bass_note_near_the_mains_is_none() -> None:
    """G1 is 49.0 Hz, B1 61.7."""
    time_s = np.arange(12 * RATE_HZ) / RATE_HZ
    for pitch_hz in (48.999, 61.735):
        assert found(0.05 * np.sin(2 * np.pi * pitch_hz * time_s)) is None


def test_a_recording_too_short_to_tell_is_left_alone() -> None:
    assert found(hum(50.0, -20.0, (1,), window_frames(RATE_HZ) // 4)) is None
