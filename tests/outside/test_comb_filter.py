"""The two-path comb against scipy.signal.freqz and against handbook figures of a delayed sum.

Figures: 20 log10 of 1 +- 10^(-d/20), and (2k+1)/(2 tau), as any acoustics handbook prints them (for example
F. A. Everest, "Master Handbook of Acoustics", chapter on comb filters: first notch of 1 ms at 500 Hz; the
book from memory, the figures recomputed).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from lagline.analysis.notches import (
    comb_db,
    notch_frequencies_hz,
    notch_level_db,
    pair_comb,
    peak_frequencies_hz,
    peak_level_db,
)

NOTCHES_AND_PEAKS = [  # delay ms, first notches Hz, first peaks Hz after 0
    (0.1, (5000, 15000), (10000, 20000)),
    (0.5, (1000, 3000, 5000), (2000, 4000)),
    (1, (500, 1500, 2500), (1000, 2000)),
    (2, (250, 750, 1250), (500, 1000)),
    (10, (50, 150, 250), (100, 200)),
]

LEVELS = [  # second path below the first dB, peak dB, notch dB, ripple dB
    (0.1, 5.97, -38.83, 44.80),
    (0.5, 5.77, -25.05, 30.82),
    (1, 5.53, -19.27, 24.81),
    (2, 5.08, -13.74, 18.81),
    (3, 4.65, -10.69, 15.34),
    (4, 4.25, -8.66, 12.91),
    (6, 3.53, -6.04, 9.57),
    (8, 2.91, -4.41, 7.32),
    (9, 2.64, -3.81, 6.44),
    (9.54, 2.50, -3.52, 6.02),
    (10, 2.39, -3.30, 5.69),
    (12, 1.95, -2.51, 4.46),
    (15, 1.42, -1.70, 3.12),
    (20, 0.83, -0.92, 1.74),
]

PHASE = [(30, 5.72), (60, 4.77), (90, 3.01), (120, 0.00), (150, -5.72), (170, -15.17)]  # degrees, dB

RESIDUE = [  # samples of misalignment at 48 kHz, loss dB of an equal sum at 1, 5, 10, 15, 20 kHz
    (1, (0.02, 0.47, 2.01, 5.11, 11.74)),
    (0.5, (0.01, 0.12, 0.47, 1.09, 2.01)),
    (0.25, (0.00, 0.03, 0.12, 0.26, 0.47)),
    (0.1, (0.00, 0.01, 0.02, 0.04, 0.08)),
]


@pytest.mark.parametrize(("delay_ms", "notches", "peaks"), NOTCHES_AND_PEAKS)
def test_places_of_notches_and_peaks(delay_ms, notches, peaks) -> None:
    delay = delay_ms / 1000
    assert notch_frequencies_hz(delay)[: len(notches)] == pytest.approx(notches, rel=1e-9)
    assert peak_frequencies_hz(delay)[: len(peaks)] == pytest.approx(peaks, rel=1e-9)
    assert peak_frequencies_hz(delay, -1)[: len(notches)] == pytest.approx(notches, rel=1e-9)


@pytest.mark.parametrize(("below_db", "peak", "notch", "ripple"), LEVELS)
def test_levels_of_notches_and_peaks(below_db, peak, notch, ripple) -> None:
    assert peak_level_db(-below_db) == pytest.approx(peak, abs=0.01)
    assert notch_level_db(-below_db) == pytest.approx(notch, abs=0.01)
    assert pair_comb(48, 48_000, -below_db).ripple_db == pytest.approx(ripple, abs=0.01)


@pytest.mark.parametrize(("degrees", "level"), PHASE)
def test_sum_against_phase(degrees, level) -> None:
    delay_s = degrees / 360 / 1000  # that phase at 1 kHz
    assert float(comb_db(1000.0, delay_s)) == pytest.approx(level, abs=0.01)


@pytest.mark.parametrize(("error_samples", "losses"), RESIDUE)
def test_loss_of_what_is_left_unaligned(error_samples, losses) -> None:
    hertz = np.array([1, 5, 10, 15, 20]) * 1000.0
    loss = peak_level_db(0.0) - comb_db(hertz, error_samples / 48_000)
    assert loss == pytest.approx(losses, abs=0.01)


@pytest.mark.parametrize("polarity", [1, -1])
@pytest.mark.parametrize("second_db", [-0.5, -6.0, -20.0])
@pytest.mark.parametrize("delay", [1, 7, 48, 960])
def test_response_equals_freqz(delay, second_db, polarity) -> None:
    taps = np.zeros(delay + 1)
    taps[0], taps[delay] = 1.0, polarity * 10 ** (second_db / 20)
    hertz, response = signal.freqz(taps, worN=4096, fs=48_000)
    expected = 20 * np.log10(np.abs(response))
    assert comb_db(hertz, delay / 48_000, second_db, polarity) == pytest.approx(expected, abs=1e-6)
