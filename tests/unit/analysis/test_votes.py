"""Attack by attack: what most of them agree on."""

from __future__ import annotations

import numpy as np
import pytest

from lagline.analysis.onsets import READINGS, Picks
from lagline.analysis.votes import compare

RATE = 48_000


def picks(positions: list[float], peak: float = 1.0, sign: int = 1) -> Picks:
    column = np.array(positions)[:, None] + np.linspace(0, 2, READINGS)[None, :]
    count = len(positions)
    return Picks(
        position=column,
        sign=np.full(count, sign, np.int8),
        peak=np.full(count, peak),
        is_cut=np.zeros(count, bool),
    )


def test_equal_differences_are_one_place() -> None:
    first = picks([100.0, 105.0, 99.0, 101.0])
    second = picks([140.2, 145.0, 139.1, 141.1], sign=-1)
    votes = compare(first, second, np.zeros(4), RATE, 1000)
    assert votes.heard == 4
    assert votes.places[0].arrival == pytest.approx(40.1, abs=0.2)
    assert votes.places[0].count == 4
    assert votes.places[0].polarity == -1


def test_two_instruments_are_two_places_the_commoner_first() -> None:
    first = picks([100.0] * 6)
    second = picks([140.0, 140.0, 140.0, 140.0, 220.0, 220.0])
    places = compare(first, second, np.zeros(6), RATE, 1000).places
    assert [round(place.arrival) for place in places] == [40, 120]
    assert places[0].support > places[1].support


def test_cut_attacks_have_no_vote() -> None:
    first, second = picks([100.0, 100.0]), picks([150.0, 150.0])
    cut = Picks(position=first.position, sign=first.sign, peak=first.peak, is_cut=np.ones(2, bool))
    assert compare(cut, second, np.zeros(2), RATE, 1000).places == ()


def test_what_lies_out_of_reach_has_no_vote() -> None:
    assert compare(picks([100.0]), picks([1500.0]), np.zeros(1), RATE, 1000).heard == 0
