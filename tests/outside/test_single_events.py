"""One event in the take, placed by published formulas; files in, findings out, as `lagline align` does it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile

from lagline.analysis.options import AnalysisOptions
from lagline.jobs.line_up import line_up
from lagline.jobs.open_take import open_take
from lagline.session.findings import Finding

RATE = 48_000
CELSIUS = 20.0
SPEED = 343.2 * np.sqrt((CELSIUS + 273.15) / 293.15)  # ISO 9613-1:1993


def pulses(frames: int, at: Sequence[float], gains: Sequence[float], seed: int) -> np.ndarray:
    """A short crack at fractional frames `at`: shifted exactly, by phase."""
    rng = np.random.default_rng(seed)
    crack = rng.standard_normal(frames) * np.exp(-np.arange(frames) / (0.004 * RATE))
    crack = scipy.signal.sosfilt(
        scipy.signal.butter(2, [300, 9000], "bandpass", fs=RATE, output="sos"), crack
    )
    size = 2 * frames
    turns = 2j * np.pi * np.arange(frames + 1) / size
    spectrum = np.fft.rfft(crack, size)
    total = sum(g * spectrum * np.exp(-turns * t) for t, g in zip(at, gains, strict=True))
    return np.fft.irfft(total, size)[:frames]


def findings(folder: Path, lanes: Sequence[np.ndarray]) -> list[Finding]:
    """Every lane against the first, in order."""
    peak = max(np.max(np.abs(x)) for x in lanes)
    files = [folder / f"lane{k}.wav" for k in range(len(lanes))]
    for file, x in zip(files, lanes, strict=True):
        soundfile.write(file, 0.5 * x / peak, RATE, subtype="PCM_24")
    take = open_take(files)
    found = line_up(take.session, AnalysisOptions(anchor=take.session.lane_named("lane0").id))
    by_name = {take.session.lane(f.lane_id).name: f for f in found.findings}
    return [by_name[file.stem] for file in files]


def noise(frames: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(frames)


@pytest.mark.parametrize("snr_db", [80.0, 40.0])
@pytest.mark.parametrize(("distance_m", "degrees"), [(1.2, 70.0), (3.0, 25.0), (2.0, 115.0)])
def test_a_line_of_eight_microphones_and_one_clap(
    distance_m: float, degrees: float, snr_db: float, tmp_path: Path
) -> None:
    """Law of cosines: a microphone `x` along the line is sqrt(d^2 + x^2 - 2 x d cos(angle)) away."""
    x = 0.23 * np.arange(8)
    away = np.sqrt(distance_m**2 + x**2 - 2 * x * distance_m * np.cos(np.radians(degrees)))
    frames = round(0.6 * RATE)
    lanes = [pulses(frames, [4000 + d / SPEED * RATE], [1 / d], 7) for d in away]
    loudest = max(np.max(np.abs(y)) for y in lanes)
    lanes = [y + loudest * 10 ** (-snr_db / 20) * noise(frames, k) for k, y in enumerate(lanes)]
    for found, d in zip(findings(tmp_path, lanes), away, strict=True):
        assert found.arrival_samples is not None, found.sentence
        assert found.arrival_samples == pytest.approx((d - away[0]) / SPEED * RATE, abs=1.0)
        assert found.polarity == 1


def test_a_clap_over_a_hard_floor_is_placed_by_its_direct_sound(tmp_path: Path) -> None:
    """Image source (Allen and Berkley, JASA 65(4), 1979, 943-950): the floor's echo comes from below it."""
    height, ways = 1.4, np.array([0.6, 2.9, 3.7])
    echoes = np.sqrt(ways**2 + (2 * height) ** 2)
    frames = round(0.8 * RATE)
    lanes = [
        pulses(frames, [6000 + d / SPEED * RATE, 6000 + e / SPEED * RATE], [1 / d, 0.9 / e], 3)
        + 1e-4 * noise(frames, k)
        for k, (d, e) in enumerate(zip(ways, echoes, strict=True))
    ]
    for found, d in zip(findings(tmp_path, lanes), ways, strict=True):
        assert found.arrival_samples == pytest.approx((d - ways[0]) / SPEED * RATE, abs=1.0)


def test_no_uncertainty_is_quoted_below_what_physics_allows(tmp_path: Path) -> None:
    """P. M. Woodward, "Probability and Information Theory, with Applications to Radar", 1953 (formula from
    memory): a known pulse of energy E in noise of power N0 a hertz is placed no better than
    1 / (beta sqrt(2 E / N0)) seconds, beta its rms bandwidth in rad/s; sqrt(2) more with noise in two lanes.
    """
    frames, sigma = round(0.7 * RATE), 0.05
    clean = pulses(frames, [9000.0], [1.0], 5)
    spectrum = np.abs(np.fft.rfft(clean)) ** 2
    omega = 2 * np.pi * np.fft.rfftfreq(frames, 1 / RATE)
    beta = np.sqrt(np.sum(omega**2 * spectrum) / np.sum(spectrum))
    ratio = np.sum(clean**2) / sigma**2  # 2 E / N0: E = sum / rate, N0 / 2 = sigma^2 / rate
    bound = np.sqrt(2) / (beta * np.sqrt(ratio)) * RATE
    off, quoted = [], []
    for seed in range(8):
        delay = 40.0 + 7.37 * seed
        lanes = [
            clean + sigma * noise(frames, 2 * seed),
            pulses(frames, [9000 + delay], [1.0], 5) + sigma * noise(frames, 2 * seed + 1),
        ]
        found = findings(tmp_path, lanes)[1]
        assert found.arrival_samples is not None and found.uncertainty_samples is not None
        off.append(abs(found.arrival_samples - delay))
        quoted.append(found.uncertainty_samples)
    assert min(quoted) >= bound
    assert np.mean(np.array(off) <= 2 * np.array(quoted)) >= 0.75
    assert np.sqrt(np.mean(np.square(off))) < 1.0
