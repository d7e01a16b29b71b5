"""Probabilities and words of blind trials.

Outside reference: scipy.stats.binom; the power of 12 of 16 as published guides to ABX print it.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis.strategies import floats, integers
from scipy import stats

from lagline.desk.panels.trial_texts import (
    before_text,
    meaning_text,
    percent_text,
    result_text,
)
from lagline.playback.trial import chance_of, guessing_probability
from lagline.session.values import Trial


@given(trials=integers(1, 50), right=integers(0, 50), truth=floats(0.05, 0.95))
def test_chance_of_a_listener_to_reach_a_mark_equals_scipy(trials, right, truth) -> None:
    right = min(right, trials)
    assert guessing_probability(right, trials, truth) == pytest.approx(
        stats.binom.sf(right - 1, trials, truth), rel=1e-9
    )


def test_known_probabilities() -> None:
    for truth, power in ((0.7, 0.45), (0.8, 0.80), (0.9, 0.98)):
        assert guessing_probability(12, 16, truth) == pytest.approx(power, abs=0.005)


def trial(mode: str, right: int, total: int) -> Trial:
    chance = chance_of(mode, right, total)
    answers = (True,) * right + (False,) * (total - right)
    return Trial(mode, ("original", "v1"), total, answers, chance, "2026-01-01T12:00:00+00:00")


def test_results_say_count_and_exact_probability() -> None:
    text = result_text(trial("abx", 12, 16), "Original", "Shifted")
    assert text.startswith("12 of 16 right.")
    assert "3.84 %" in text
    text = result_text(trial("preference", 13, 16), "Original", "Shifted")
    assert "Shifted was chosen 13 times, Original 3 times, of 16" in text
    assert "2.13 %" in text  # 2 x 0.010635
    assert "lies between 54 and 96 %" in text  # Clopper-Pearson of 13 of 16
    text = result_text(trial("odd", 9, 16), "Original", "Shifted")
    assert "9 of 16 right" in text and "guessing: 33 %" in text and "between 30 and 80 %" in text


@pytest.mark.parametrize(
    ("mode", "right", "does", "does_not"),
    [
        ("abx", 12, "a difference that can be heard", "nor which version is better"),
        ("odd", 9, "a difference that can be heard", "nor which version is better"),
        ("odd", 8, "a difference was not shown", "does not mean that there is none"),
        ("abx", 11, "a difference was not shown", "does not mean that there is none"),
        ("preference", 14, "do prefer one", "nor that it is the right choice"),
        ("preference", 9, "no preference was shown", "does not mean that there is none"),
    ],
)
def test_meaning_says_what_it_does_and_does_not_mean(mode, right, does, does_not) -> None:
    text = meaning_text(trial(mode, right, 16))
    assert does in text
    assert does_not in text


def test_a_missed_mark_says_how_often_it_is_missed() -> None:
    # 12 of 16 is reached by a listener who is right 7 times in 10 in 45 % of runs: missed in 55 %.
    assert "55 % of runs of 16" in meaning_text(trial("abx", 8, 16))


def test_before_the_start_it_says_what_can_be_shown() -> None:
    assert before_text("abx", 16).startswith("12 or more of 16 right")
    assert "45 %" in before_text("abx", 16)
    assert "98 %" in before_text("abx", 16)
    assert "13 or more of 16" in before_text("preference", 16) and "25 %" in before_text("preference", 16)
    assert before_text("odd", 16).startswith("9 or more of 16 right")
    assert "cannot tell" in before_text("abx", 4)
    assert "cannot tell" in before_text("preference", 5)


@pytest.mark.parametrize(
    ("probability", "text"),
    [(0.0384, "3.84 %"), (0.5, "50 %"), (1.0, "100 %"), (1e-6, "below 0.01 %"), (0.9999, "99.99 %")],
)
def test_percent(probability, text) -> None:
    assert percent_text(probability) == text
