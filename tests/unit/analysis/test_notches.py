"""The two-path comb against its own arithmetic and properties; outside references are in tests/outside."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis.strategies import floats, integers, sampled_from

from lagline.analysis.notches import (
    comb_db,
    notch_frequencies_hz,
    pair_comb,
    peak_frequencies_hz,
    peak_level_db,
)


@given(
    delay_ms=floats(0.02, 40), second_db=floats(-24, -0.05), polarity=sampled_from([1, -1]), k=integers(0, 50)
)
def test_level_at_predicted_places_is_the_predicted_level(delay_ms, second_db, polarity, k) -> None:
    comb = pair_comb(delay_ms * 48, 48_000, second_db, polarity)
    for places, level in ((comb.notches_hz, comb.notch_db), (comb.peaks_hz, comb.peak_db)):
        if places:
            frequency = places[k % len(places)]
            assert comb_db(frequency, delay_ms / 1000, second_db, polarity) == pytest.approx(level, abs=0.02)


@given(delay_ms=floats(0.05, 40), polarity=sampled_from([1, -1]))
def test_flipping_swaps_notches_and_peaks(delay_ms, polarity) -> None:
    delay = delay_ms / 1000
    assert notch_frequencies_hz(delay, polarity) == peak_frequencies_hz(delay, -polarity)


def test_no_delay_has_no_notches_and_a_plain_gain() -> None:
    comb = pair_comb(0.0, 48_000)
    assert comb.notches_hz == comb.peaks_hz == ()
    assert peak_level_db(0.0) == pytest.approx(20 * math.log10(2))
    assert comb.notch_db == -math.inf


def test_the_sign_of_the_delay_and_of_the_level_difference_do_not_matter() -> None:
    assert pair_comb(-7.5, 44_100, 3.0, -1) == pair_comb(7.5, 44_100, -3.0, -1)


def test_nothing_is_predicted_beyond_the_range_or_half_the_rate() -> None:
    comb = pair_comb(1.0, 16_000, highest_hz=20_000)
    assert all(20 <= place <= 8_000 for place in comb.notches_hz + comb.peaks_hz)
    assert comb.notches_hz == (8_000.0,)


def test_level_at_equal_levels_is_minus_infinity_in_a_notch_without_a_warning() -> None:
    assert comb_db(np.array([500.0]), 0.001)[0] < -250
