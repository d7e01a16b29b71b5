"""Blind trials: what the buttons stand for, and that nothing is told before the end."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lagline.playback.trial import ANSWERS, BUTTONS, BlindTrial, new_trial, sentence

PAIR = ("original", "v1")
WHEN = "2026-11-25T10:00:00+01:00"


def perfect_abx(trial: BlindTrial) -> BlindTrial:
    """An ear that compares what it hears."""
    while not trial.is_done:
        trial = trial.answer("A" if trial.version_id("X") == trial.version_id("A") else "B")
    return trial


@given(seed=st.integers(0, 9_999), planned=st.integers(5, 40))
def test_who_hears_the_difference_is_always_right(seed: int, planned: int):
    trial = perfect_abx(new_trial("abx", PAIR, planned, seed))
    result = trial.finished(WHEN)
    assert all(result.answers) and len(result.answers) == planned == result.planned
    assert result.probability == 0.5**planned


@given(seed=st.integers(0, 9_999))
def test_who_likes_one_version_is_understood_whatever_the_button(seed: int):
    trial = new_trial("preference", PAIR, 12, seed)
    while not trial.is_done:
        assert {trial.version_id("1"), trial.version_id("2")} == set(PAIR)
        trial = trial.answer("1" if trial.version_id("1") == "v1" else "2")
    assert trial.finished(WHEN).answers == (True,) * 12


def test_a_and_b_stay_what_they_are_and_x_changes():
    trial, x_was = new_trial("abx", PAIR, 40, seed=1), set()
    while not trial.is_done:
        assert trial.version_id("A") == "original" and trial.version_id("B") == "v1"
        x_was.add(trial.version_id("X"))
        trial = trial.answer("A")
    assert x_was == set(PAIR)
    assert 0 < sum(trial.finished(WHEN).answers) < 40


@pytest.mark.parametrize("mode", ["abx", "preference"])
def test_the_order_follows_from_the_seed_and_only_from_it(mode):
    orders = {new_trial(mode, PAIR, 16, seed).flips for seed in range(50)}
    assert len(orders) > 45
    assert new_trial(mode, PAIR, 16, 7) == new_trial(mode, PAIR, 16, 7)
    assert new_trial(mode, PAIR, 64).flips != new_trial(mode, PAIR, 64).flips
    heads = sum(sum(new_trial(mode, PAIR, 100, seed).flips) for seed in range(100))
    assert 4_700 < heads < 5_300  # six standard deviations of 10 000 fair coins


def test_nothing_is_told_before_the_end():
    trial = new_trial("abx", PAIR, 5, 0)
    for number in range(1, 6):
        assert trial.number == number and not trial.is_done
        with pytest.raises(ValueError, match=f"{6 - number} trials are still"):
            trial.finished(WHEN)
        trial = trial.answer("A")
    assert trial.is_done
    for late in (trial.answer, trial.version_id):
        with pytest.raises(ValueError, match="all trials are answered"):
            late("A")


@pytest.mark.parametrize("mode", ["abx", "preference"])
def test_only_its_own_buttons_are_known(mode):
    trial = new_trial(mode, PAIR, 5, 0)
    for button in BUTTONS[mode]:
        assert trial.version_id(button) in PAIR
    with pytest.raises(ValueError, match="choose one of"):
        trial.answer("X")
    with pytest.raises(ValueError, match="choose one of"):
        trial.version_id("Q")
    assert set(ANSWERS[mode]) <= set(BUTTONS[mode])


@pytest.mark.parametrize("planned", [0, 4, 101])
def test_the_number_is_fixed_and_sensible(planned: int):
    with pytest.raises(ValueError, match="between 5 and 100"):
        new_trial("abx", PAIR, planned)
    with pytest.raises(ValueError, match="two different"):
        new_trial("abx", ("v1", "v1"), 10)


def test_the_result_is_said_without_overselling():
    heard = perfect_abx(new_trial("abx", PAIR, 16, 3)).finished(WHEN, note="headphones")
    assert "16 of 16 right" in sentence(heard, ("Original", "Shifted")) and heard.note == "headphones"
    deaf = new_trial("abx", PAIR, 16, 3)
    while not deaf.is_done:
        deaf = deaf.answer("A")
    assert "nor that there is none" in sentence(deaf.finished(WHEN), ("Original", "Shifted"))
    torn = new_trial("preference", PAIR, 10, 0)
    for n in range(10):
        torn = torn.answer("1" if (torn.version_id("1") == "v1") == (n % 2 == 0) else "2")
    result = torn.finished(WHEN)
    assert result.probability == 1.0
    assert "Shifted was preferred 5 times of 10, Original 5 times" in sentence(
        result, ("Original", "Shifted")
    )
