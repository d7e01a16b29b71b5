"""Peaks of curves: pure numpy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis.strategies import floats

from lagline.desk.panels.curves import following, nearest, peak_places, refined_places


@given(place=floats(10, 90))
def test_a_parabola_is_refined_to_its_top_whatever_its_sign(place) -> None:
    index = np.arange(100)
    curve = -(1 - ((index - place) / 100) ** 2)
    found = peak_places(curve)
    assert len(found) == 1
    assert refined_places(curve, found)[0] == pytest.approx(place, abs=1e-6)


def test_small_ripples_are_no_peaks() -> None:
    curve = np.zeros(50)
    curve[10], curve[20], curve[30] = 1.0, 0.05, -0.4
    assert peak_places(curve).tolist() == [10, 30]


@pytest.mark.parametrize("curve", [[], [1.0], [0.0] * 9])
def test_nothing_has_no_peak(curve) -> None:
    assert len(peak_places(np.array(curve))) == 0


def test_following_stops_at_the_ends() -> None:
    places = np.array([1.0, 4.0, 9.0])
    assert following(places, 4.0, 1) == 9.0
    assert following(places, 4.0, -1) == 1.0
    assert following(places, 9.0, 1) is None
    assert nearest(places, 6.0) == 1
    assert nearest(np.zeros(0), 6.0) is None


def test_every_peak_is_refined_to_no_further_than_half_a_step() -> None:
    """A flat top included."""
    curve = np.array([0.0, 0.5, 1.0, 1.0, 0.2, 0.3, -0.9, -0.8, 0.0])
    places = peak_places(curve)
    assert places.tolist() == [2, 6]
    top, dip = refined_places(curve, places)
    assert top == pytest.approx(2.5)
    assert 6.0 < dip < 6.5
