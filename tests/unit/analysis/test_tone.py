"""Third-octave bands, spectra, summing gain and coherence of signals whose answer is known."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.strategies import integers
from tests.support.readers import reader

from lagline.analysis.tone import (
    LEAST_SEGMENTS,
    band_powers,
    fine_grid_hz,
    measure_coherence,
    measure_tone,
    summing_gain_db,
    third_octave_bands,
)
from lagline.analysis.welch import averaged_spectra, segment_frames_for
from lagline.errors import Cancelled

RATE_HZ = 48_000


def noise(frames: int, seed: int = 1) -> np.ndarray:
    return 0.1 * np.random.default_rng(seed).standard_normal(frames)


# IEC 61260-1:2014, base ten: f_m = 1000 * 10^(x/10) Hz for one-third octaves, edges f_m * 10^(-+1/20).
# Nominal figures: ISO 266 (the figures from memory of the standards, the exact ones computed).
@pytest.mark.parametrize(
    ("nominal", "centre", "lower", "upper"),
    [
        (1000, 1000.0, 891.251, 1122.018),
        (31.5, 31.6228, 28.1838, 35.4813),
        (63, 63.0957, 56.2341, 70.7946),
        (125, 125.893, 112.202, 141.254),
        (800, 794.328, 707.946, 891.251),
        (16000, 15848.93, 14125.38, 17782.79),
        (20, 19.9526, 17.7828, 22.3872),
        (20000, 19952.62, 17782.79, 22387.21),
    ],
)
def test_exact_centres_and_edges_by_nominal_figure(nominal, centre, lower, upper) -> None:
    band = next(band for band in third_octave_bands() if band.nominal_hz == nominal)
    assert (band.centre_hz, band.lower_hz, band.upper_hz) == pytest.approx((centre, lower, upper), rel=1e-5)


def test_bands_are_the_31_of_iso_266_and_touch() -> None:
    bands = third_octave_bands()
    preferred = (
        "20 25 31.5 40 50 63 80 100 125 160 200 250 315 400 500 630 800 1000 1250 1600 2000 2500 3150 4000 "
        "5000 6300 8000 10000 12500 16000 20000"
    )
    assert [band.nominal_hz for band in bands] == [float(text) for text in preferred.split()]
    for below, above in itertools.pairwise(bands):
        assert below.upper_hz == pytest.approx(above.lower_hz, rel=1e-12)


def test_band_powers_add_up_to_the_whole() -> None:
    spectra = averaged_spectra([reader(noise(RATE_HZ * 4))], 0, RATE_HZ * 4, RATE_HZ, segment_frames=4096)
    whole = third_octave_bands(1.0, 20_000)
    inside = (spectra.frequency_hz > whole[0].lower_hz) & (spectra.frequency_hz < whole[-1].upper_hz)
    spacing = spectra.frequency_hz[1]
    total = band_powers(spectra.frequency_hz, spectra.power[0], whole).sum()
    assert total == pytest.approx(spectra.power[0][inside].sum() * spacing, rel=0.01)


def test_a_sine_lands_in_its_band_with_its_power() -> None:
    time = np.arange(RATE_HZ * 4) / RATE_HZ
    sine = 0.5 * np.sin(2 * np.pi * 1000 * time)
    tone = measure_tone({"original": reader(sine[:, None])}, {"a": reader(sine)}, 0, len(sine), RATE_HZ)
    levels = dict(zip((band.nominal_hz for band in tone.bands), tone.versions[0].band_db, strict=True))
    assert levels[1000] == pytest.approx(10 * math.log10(0.125), abs=0.05)  # mean square of 0.5 sin
    assert levels[800] < levels[1000] - 50
    assert levels[1250] < levels[1000] - 50
    assert tone.lane_db["a"] == pytest.approx(10 * math.log10(0.125), abs=0.05)


def test_summing_gain_of_equal_lanes_is_three_decibels_and_of_strangers_none() -> None:
    same, other = noise(RATE_HZ * 4), noise(RATE_HZ * 4, seed=2)
    centre = math.sqrt(0.5)  # constant power pan, both in the middle

    def blend(first, second):
        return reader(np.repeat((centre * (first + second))[:, None], 2, axis=1))

    tone = measure_tone(
        {"together": blend(same, same), "against": blend(same, -same)},
        {"a": reader(same), "b": reader(same)},
        0,
        len(same),
        RATE_HZ,
    )
    assert tone.version("together").summing_gain_db == pytest.approx(
        [20 * math.log10(2) - 10 * math.log10(2)] * 31, abs=0.01
    )
    assert max(tone.version("against").summing_gain_db) < -100
    strangers = measure_tone(
        {"v": blend(same, other)}, {"a": reader(same), "b": reader(other)}, 0, len(same), RATE_HZ
    )
    assert strangers.versions[0].summing_gain_db[12:] == pytest.approx([0.0] * 19, abs=0.6)
    assert np.mean(tone.band_change_db("against", "together")) > 100


def test_summing_gain_of_silence_is_not_a_number() -> None:
    assert np.isnan(summing_gain_db(np.zeros(3), np.zeros(3))).all()


def test_a_delayed_pair_shows_its_notch_in_the_fine_spectrum() -> None:
    source = noise(RATE_HZ * 6)
    late = np.concatenate((np.zeros(48), source[:-48]))  # 1 ms: notches at 500, 1500, 2500 Hz
    blend = (source + late)[:, None]
    tone = measure_tone(
        {"original": reader(blend), "shifted": reader(2 * source[:, None])},
        {"a": reader(source), "b": reader(late)},
        0,
        len(source),
        RATE_HZ,
    )
    hertz = np.array(tone.fine_hz)
    change = np.array(tone.fine_change_db("original", "shifted"))
    near = (hertz > 380) & (hertz < 700)
    assert hertz[near][np.argmax(change[near])] == pytest.approx(500, rel=0.03)
    assert change[near].max() > 20
    assert change[np.argmin(np.abs(hertz - 1000))] == pytest.approx(0, abs=0.5)


def test_coherence_of_a_lane_with_itself_is_one_and_phase_is_that_of_polarity() -> None:
    source = noise(RATE_HZ * 3)
    found = measure_coherence(reader(source), reader(-source), 0, len(source), RATE_HZ)
    assert min(found.coherence) == pytest.approx(1.0, abs=1e-6)
    assert np.abs(found.phase_rad[5:-5]) == pytest.approx(np.pi, abs=1e-3)
    assert found.is_enough


def test_phase_of_a_later_lane_falls_with_frequency() -> None:
    source = noise(RATE_HZ * 3)
    late = np.concatenate((np.zeros(10), source[:-10]))
    found = measure_coherence(reader(source), reader(late), 0, len(source), RATE_HZ)
    at = int(np.argmin(np.abs(np.array(found.frequency_hz) - 1000)))
    expected = -2 * np.pi * found.frequency_hz[at] * 10 / RATE_HZ
    assert found.phase_rad[at] == pytest.approx(expected, abs=0.05)


def test_too_short_a_passage_says_that_coherence_means_nothing() -> None:
    source = noise(300)
    found = measure_coherence(reader(source), reader(source), 0, 300, RATE_HZ)
    assert found.segments < LEAST_SEGMENTS
    assert not found.is_enough


def test_coherence_of_silence_is_zero() -> None:
    found = measure_coherence(reader(noise(9600)), reader(np.zeros(9600)), 0, 9600, RATE_HZ)
    assert max(found.coherence) == 0.0


@given(frames=integers(1, 5_000_000))
def test_segments_fit_the_passage(frames) -> None:
    segment = segment_frames_for(frames, 32_768)
    assert 256 <= segment <= 32_768
    assert segment == 256 or segment * 4 <= frames


@settings(max_examples=15)
@given(start=integers(-2000, 2000), frames=integers(1, 6000))
def test_any_passage_gives_a_finite_answer(start, frames) -> None:
    source = noise(4000)
    tone = measure_tone({"v": reader(source[:, None])}, {"a": reader(source)}, start, start + frames, RATE_HZ)
    assert np.isfinite(tone.versions[0].band_db).all()
    assert np.isfinite(tone.versions[0].fine_db).all()


def test_long_passages_are_sampled_not_read_whole() -> None:
    counted = []

    def read(start: int, stop: int) -> np.ndarray:
        counted.append(stop - start)
        return np.zeros(stop - start, dtype=np.float32)

    spectra = averaged_spectra([read], 0, 10**9, RATE_HZ, segment_frames=1024, most_segments=50)
    assert spectra.segments == 50
    assert sum(counted) == 50 * 1024


def test_cancel_and_progress() -> None:
    seen: list[float] = []
    with pytest.raises(Cancelled):
        averaged_spectra(
            [reader(noise(9600))],
            0,
            9600,
            RATE_HZ,
            segment_frames=1024,
            progress=seen.append,
            cancelled=lambda: len(seen) >= 3,
        )
    assert len(seen) == 3
    assert 0 < seen[0] < seen[-1] <= 1


def test_nothing_to_measure_is_refused() -> None:
    with pytest.raises(ValueError, match="passage"):
        averaged_spectra([], 0, 10, RATE_HZ, segment_frames=256)
    with pytest.raises(ValueError, match="version"):
        measure_tone({}, {}, 0, 10, RATE_HZ)


def test_fine_grid_has_24_points_an_octave() -> None:
    grid = fine_grid_hz(100, 800)
    assert len(grid) == 3 * 24 + 1
    assert grid[24] == pytest.approx(200)
