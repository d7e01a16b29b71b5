"""Averaged spectra and coherence against scipy.signal.welch and scipy.signal.coherence, and against what
independent noise must give: 1/K for K independent segments (J. S. Bendat and A. G. Piersol, "Random Data";
from memory, confirmed with scipy)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal
from tests.support.readers import reader

from lagline.analysis.tone import coherence_of, measure_coherence
from lagline.analysis.welch import averaged_spectra

RATE_HZ = 48_000


def lanes(frames: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(5)
    shared = rng.standard_normal(frames)
    first = shared + 0.7 * rng.standard_normal(frames)
    second = signal.lfilter([0.5, 0.3, -0.2], [1.0, -0.4], shared) + 0.3 * rng.standard_normal(frames)
    return first.astype(np.float32), second.astype(np.float32)


@pytest.mark.parametrize("segment", [256, 1024, 4096])
def test_power_density_equals_welch(segment) -> None:
    first, second = lanes(segment * 11)
    ours = averaged_spectra([reader(first), reader(second)], 0, len(first), RATE_HZ, segment_frames=segment)
    for index, lane in enumerate((first, second)):
        hertz, density = signal.welch(
            lane.astype(np.float64), RATE_HZ, window="hann", nperseg=segment, detrend=False
        )
        assert ours.frequency_hz == pytest.approx(hertz)
        assert ours.power[index] == pytest.approx(density, rel=1e-9)


@pytest.mark.parametrize("segment", [256, 1024])
def test_coherence_and_phase_equal_scipy(segment) -> None:
    first, second = lanes(segment * 21)
    ours = coherence_of(
        averaged_spectra([reader(first), reader(second)], 0, len(first), RATE_HZ, segment_frames=segment)
    )
    wide = first.astype(np.float64), second.astype(np.float64)
    _, expected = signal.coherence(*wide, RATE_HZ, window="hann", nperseg=segment, detrend=False)
    _, cross = signal.csd(*wide, RATE_HZ, window="hann", nperseg=segment, detrend=False)
    assert ours.coherence == pytest.approx(expected, abs=1e-9)
    assert np.exp(1j * np.array(ours.phase_rad)) == pytest.approx(cross / np.abs(cross), abs=1e-6)


# Mean coherence of independent noise: Hann, half overlapped, of data for K segments without overlap.
@pytest.mark.parametrize(("count", "mean"), [(8, 0.0730), (16, 0.0344), (32, 0.0172), (64, 0.0081)])
def test_independent_noise_is_as_coherent_as_chance_makes_it(count, mean) -> None:
    rng = np.random.default_rng(11)
    segment = 2048
    found = []
    for _ in range(3):
        first, second = rng.standard_normal((2, segment * count))
        ours = averaged_spectra(
            [reader(first), reader(second)], 0, segment * count, RATE_HZ, segment_frames=segment
        )
        found.append(np.mean(coherence_of(ours).coherence))
    assert np.mean(found) == pytest.approx(mean, rel=0.15)


@pytest.mark.parametrize(("noise_in_both", "expected"), [(True, 0.25), (False, 0.5)])
def test_equal_noise_halves_or_quarters_coherence(noise_in_both, expected) -> None:
    rng = np.random.default_rng(3)
    shared, one, two = rng.standard_normal((3, RATE_HZ * 10))
    first, second = (shared + one if noise_in_both else shared), shared + two
    found = measure_coherence(reader(first), reader(second), 0, len(first), RATE_HZ, segment_s=0.02)
    assert np.mean(found.coherence) == pytest.approx(expected, abs=0.02)


# (1 - .05^(1/(K-1))): 95 % of independent noise stays below; values as published tables of significance.
@pytest.mark.parametrize(("segments", "limit"), [(8, 0.348), (16, 0.181), (32, 0.092), (64, 0.046)])
def test_chance_limit(segments, limit) -> None:
    frames = 512 * (segments + 1) // 2
    noise = np.random.default_rng(1).standard_normal(frames)
    spectra = averaged_spectra([reader(noise), reader(noise)], 0, frames, RATE_HZ, segment_frames=512)
    assert spectra.segments == segments
    assert coherence_of(spectra).unreliable_below == pytest.approx(limit, abs=0.001)
