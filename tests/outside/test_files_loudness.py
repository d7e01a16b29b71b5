"""The loudness fields of the files we write: EBU Tech 3341 (2016/2023) Table 1, Tech 3342, pyloudnorm.

Signals are made here by the words of the table: stereo, in phase, 1 kHz, dBFS = peak of each channel.
The signals of Tech 3342 (its cases 1 to 4, +-1 LU) are from memory.
"""

import warnings

import numpy as np
import pyloudnorm
import pytest
from tests.support.recordings import FloatArray, noise

from lagline.deliver.loudness_fields import FileLoudness, LoudnessFields

RATE_HZ = 48_000


def tones(*steps: tuple[float, float], rate_hz: int = RATE_HZ) -> FloatArray:
    """Stereo 1 kHz, in steps of (seconds, dBFS); -inf is silence."""
    parts = [np.full(round(seconds * rate_hz), 10 ** (level / 20)) for seconds, level in steps]
    envelope = np.concatenate(parts)
    mono = envelope * np.sin(2 * np.pi * 1_000 * np.arange(len(envelope)) / rate_hz)
    return np.stack([mono, mono], axis=1).astype(np.float32)


def measured(samples: FloatArray, rate_hz: int = RATE_HZ) -> LoudnessFields:
    meter = FileLoudness(rate_hz, samples.shape[1])
    for start in range(0, len(samples), 10_007):
        meter.add(samples[start : start + 10_007])
    return meter.fields()


@pytest.mark.parametrize("case", [(48_000, -23.0), (48_000, -33.0), (44_100, -23.0), (96_000, -23.0)])
def test_cases_1_and_2(case: tuple[int, float]) -> None:
    rate_hz, level = case
    fields = measured(tones((20, level), rate_hz=rate_hz), rate_hz)
    assert fields.loudness_lufs == pytest.approx(level, abs=0.1)
    assert fields.max_momentary_lufs == pytest.approx(level, abs=0.1)
    assert fields.max_short_term_lufs == pytest.approx(level, abs=0.1)
    assert fields.max_true_peak_dbtp == pytest.approx(level, abs=0.1)


@pytest.mark.parametrize(
    "steps",
    [
        ((10, -36), (60, -23), (10, -36)),
        ((10, -72), (10, -36), (60, -23), (10, -36), (10, -72)),
        ((20, -26), (20.1, -20), (20, -26)),
    ],
)
def test_gating_cases_3_to_5(steps: tuple[tuple[float, float], ...]) -> None:
    assert measured(tones(*steps)).loudness_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("turn", [0, 7, 19])
def test_highest_short_term_case_10(turn: int) -> None:
    samples = tones((turn * 0.15 + 0.001, -np.inf), (3, -23), (1, -np.inf))
    assert measured(samples).max_short_term_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("turn", [0, 7, 19])
def test_highest_momentary_case_13(turn: int) -> None:
    samples = tones((turn * 0.02 + 0.001, -np.inf), (0.4, -23), (1, -np.inf))
    assert measured(samples).max_momentary_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize(
    ("levels", "range_lu"),
    [((-20, -30), 10), ((-20, -15), 5), ((-40, -20), 20), ((-50, -35, -20, -35, -50), 15)],
)
def test_range_as_tech_3342_asks(levels: tuple[float, ...], range_lu: float) -> None:
    assert measured(tones(*((20, level) for level in levels))).loudness_range_lu == pytest.approx(
        range_lu, abs=1
    )


@pytest.mark.parametrize("channels", [1, 2])
def test_agrees_with_pyloudnorm(channels: int) -> None:
    time_s = np.arange(12 * RATE_HZ) / RATE_HZ
    swell = (0.05 + 0.95 * np.abs(np.sin(0.7 * time_s)) ** 3)[:, None]
    samples = (noise(len(time_s), channels, peak=0.8) * swell).astype(np.float32)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        meter = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan")
        expected = meter.integrated_loudness(samples.astype(float))
        expected_range = meter.loudness_range(samples.astype(float))
    fields = measured(samples)
    assert fields.loudness_lufs == pytest.approx(expected, abs=0.02)
    ending = np.zeros((3 * RATE_HZ // 2, channels), np.float32)  # as pyloudnorm adds for the range
    with_ending = measured(np.concatenate([samples, ending]))
    assert with_ending.loudness_range_lu == pytest.approx(expected_range, abs=0.1)
    assert fields.max_true_peak_dbtp is not None
    assert fields.max_true_peak_dbtp >= 20 * np.log10(np.abs(samples).max()) - 1e-6


def test_too_short_and_silent_say_nothing() -> None:
    assert measured(tones((0.2, -20))).loudness_lufs is None
    assert measured(tones((0.2, -20))).loudness_range_lu is None
    silent = measured(np.zeros((5 * RATE_HZ, 2), np.float32))
    assert silent == LoudnessFields(None, None, None, None, None)
