"""Which place is answered, how sure, and in which words."""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.fake_clips import fake_take, shifted
from tests.unit.analysis.verdict.test_witnesses import RATE, clap, hiss

from lagline.analysis import trust
from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions
from lagline.analysis.verdict.judge import chosen


@pytest.mark.parametrize(
    ("chances", "has_joint", "stands", "holds", "moves", "expected"),
    [
        ((0.2, 0.9), False, False, False, False, (1, 0.9)),
        ((0.2, 0.9), True, False, False, False, (1, 0.9)),
        ((0.2, 0.9), True, True, False, False, (1, 0.9)),  # clear odds
        ((0.35, 0.9), True, True, False, False, (0, trust.WEAK)),  # it is not contradicted enough
        ((0.2, 0.5), True, True, False, False, (0, trust.WEAK)),  # nor is the other believed enough
        ((0.1, 0.9), True, False, False, True, (0, 0.1)),  # no other place goes with the take
        ((0.65, 0.9), True, False, False, False, (1, 0.9)),
        ((0.65, 0.9), True, True, False, False, (0, 0.65)),  # the judge believes it too
        ((0.1, 0.9), True, False, True, False, (1, 0.9)),  # many lanes hold it: clear odds move it
        ((0.1, 0.5), True, False, True, False, (0, trust.WEAK)),  # others do not, nor is it refused
        ((0.97, 0.1), True, True, False, False, (0, 0.97)),
        ((0.2, 0.1), True, False, False, False, (0, 0.2)),
    ],
)
def test_the_joint_answer_yields_to_clear_odds_alone(
    chances: tuple[float, float],
    has_joint: bool,
    stands: bool,
    holds: bool,
    moves: bool,
    expected: tuple[int, float],
) -> None:
    found = chosen(np.array(chances), has_joint=has_joint, stands=stands, holds=holds, moves=moves)
    assert found == pytest.approx(expected)


def test_one_clap_is_answered_and_says_what_it_rests_on() -> None:
    near = clap(RATE, 12_000)
    lanes = {
        "near": near + hiss(RATE, 1),
        "far": 0.4 * shifted(near, 212.3) + hiss(RATE, 2),
        "room": 0.2 * shifted(near, 540.7) + hiss(RATE, 3),
    }
    session, clips = fake_take(lanes, RATE)
    found = align(session, clips, AnalysisOptions(anchor="near"))
    for lane, delay in (("far", 212.3), ("room", 540.7)):
        finding = found.finding(lane)
        assert finding is not None and finding.arrival_samples is not None
        assert finding.arrival_samples == pytest.approx(delay, abs=0.3)
        assert finding.trust_word in ("strong", "usable")
        assert "alone" in finding.sentence or "single" in finding.sentence


@pytest.mark.parametrize(("asked", "expected"), [("latest", "room"), ("first", "near")])
def test_the_anchor_is_chosen_among_lanes_that_one_clap_places(asked: str, expected: str) -> None:
    near = clap(RATE, 12_000)
    lanes = {
        "room": 0.2 * shifted(near, 540.7) + hiss(RATE, 3),
        "near": near + hiss(RATE, 1),
        "far": 0.4 * shifted(near, 212.3) + hiss(RATE, 2),
    }
    session, clips = fake_take(lanes, RATE)
    assert align(session, clips, AnalysisOptions(anchor=asked)).anchor_id == expected
