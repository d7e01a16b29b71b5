"""One consistent set of arrivals from pairs that do not all agree."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lagline.analysis.joint import families, solve
from lagline.analysis.pairs import Candidate, PairAnswer

TRUE = [0.0, 101.4, -37.2, 300.5, 12.0]
SIGN = [1, -1, 1, 1, -1]


def pair(i: int, j: int, off: float = 0.0, kinship: float = 1.0) -> PairAnswer:
    right = Candidate(TRUE[j] - TRUE[i] + off, SIGN[i] * SIGN[j], 0.9, 0.1, "both", 0.9)
    return PairAnswer(first=i, second=j, candidates=(right,), kinship=kinship, is_clean=True)


def all_pairs() -> list[PairAnswer]:
    return [pair(i, j) for i, j in itertools.combinations(range(5), 2)]


def test_consistent_pairs_give_the_arrivals_and_close() -> None:
    answer = solve(list(range(5)), all_pairs(), 8.0)
    assert answer.arrival == pytest.approx(np.array(TRUE))
    assert [s * answer.polarity[0] for s in answer.polarity] == SIGN
    assert max(abs(left) for left in answer.residual.values()) < 1e-6


@settings(max_examples=20, deadline=None)
@given(bad=st.integers(0, 9), off=st.floats(40, 900))
def test_one_wrong_pair_loses_its_weight(bad: int, off: float) -> None:
    pairs = all_pairs()
    wrong = pairs[bad]
    pairs[bad] = pair(wrong.first, wrong.second, off)
    answer = solve(list(range(5)), pairs, 8.0)
    assert answer.arrival == pytest.approx(np.array(TRUE), abs=0.05)
    assert answer.weight[bad] < 0.1
    assert abs(answer.residual[bad]) > 30


def test_a_runner_up_that_closes_the_loop_is_preferred() -> None:
    pairs = all_pairs()
    right = pairs[0].candidates[0]
    louder = Candidate(right.arrival + 60, right.polarity, 1.0, 0.1, "match", 0.5)
    pairs[0] = PairAnswer(first=0, second=1, candidates=(louder, right), kinship=1.0, is_clean=False)
    answer = solve(list(range(5)), pairs, 8.0)
    assert answer.chosen[0] == right


def test_lanes_without_kinship_are_families_of_their_own() -> None:
    pairs = [pair(0, 1), pair(0, 2, kinship=0.1), pair(1, 2, kinship=0.2), pair(3, 4)]
    assert sorted(map(sorted, families(5, pairs))) == [[0, 1], [2], [3, 4]]
