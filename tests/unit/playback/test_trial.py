"""Blind trials: what the buttons stand for, and that nothing is told before the end."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lagline.playback.trial import (
    ANSWERS,
    BUTTONS,
    BlindTrial,
    confidence,
    guessing_probability,
    least_right,
    new_trial,
)

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
    orders = {new_trial(mode, PAIR, 16, seed).orders for seed in range(50)}
    assert len(orders) > 45
    assert new_trial(mode, PAIR, 16, 7) == new_trial(mode, PAIR, 16, 7)
    assert new_trial(mode, PAIR, 64).orders != new_trial(mode, PAIR, 64).orders
    heads = sum(sum(new_trial(mode, PAIR, 100, seed).orders) for seed in range(100))
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


@pytest.mark.parametrize("mode", ["abx", "odd", "preference"])
def test_only_its_own_buttons_are_known(mode):
    trial = new_trial(mode, PAIR, 5, 0)
    for button in BUTTONS[mode]:
        assert trial.version_id(button) in PAIR
    with pytest.raises(ValueError, match="choose one of"):
        trial.answer("4")
    with pytest.raises(ValueError, match="choose one of"):
        trial.version_id("Q")
    assert set(ANSWERS[mode]) <= set(BUTTONS[mode])


@pytest.mark.parametrize("planned", [0, 4, 101])
def test_the_number_is_fixed_and_sensible(planned: int):
    with pytest.raises(ValueError, match="between 5 and 100"):
        new_trial("abx", PAIR, planned)
    with pytest.raises(ValueError, match="two different"):
        new_trial("abx", ("v1", "v1"), 10)


def odd_place(there: list[str]) -> int:
    return there.index(next(one for one in there if there.count(one) == 1))


@given(seed=st.integers(0, 9_999), planned=st.integers(5, 40))
def test_one_of_three_is_the_odd_one_and_who_hears_it_is_always_right(seed: int, planned: int):
    trial = new_trial("odd", PAIR, planned, seed)
    while not trial.is_done:
        there = [trial.version_id(button) for button in BUTTONS["odd"]]
        assert sorted(there) in (["original", "original", "v1"], ["original", "v1", "v1"])
        trial = trial.answer(BUTTONS["odd"][odd_place(there)])
    result = trial.finished(WHEN)
    assert all(result.answers) and result.probability == pytest.approx(3.0**-planned)


def test_the_odd_one_comes_in_every_place_and_is_either_version():
    trials = [new_trial("odd", PAIR, 5, seed) for seed in range(200)]
    heard = [[trial.version_id(button) for button in BUTTONS["odd"]] for trial in trials]
    assert len({(odd_place(there), there[odd_place(there)]) for there in heard}) == 6


def test_the_odd_one_is_guessed_one_time_in_three():
    assert guessing_probability(1, 1, 1 / 3) == pytest.approx(1 / 3)
    right = 0
    for seed in range(300):
        trial = new_trial("odd", PAIR, 10, seed)
        while not trial.is_done:
            trial = trial.answer("2")
        right += sum(trial.finished(WHEN).answers)
    assert 840 < right < 1_160  # six standard deviations around 1000


def test_runs_that_were_discarded_go_into_the_result():
    result = perfect_abx(new_trial("abx", PAIR, 16, 3)).finished(WHEN, note="headphones", discarded=2)
    assert result.discarded == 2 and result.note == "headphones"


def test_a_share_that_cannot_be_told_from_none_or_all_is_within_the_interval():
    assert confidence(0, 10)[0] == 0.0 and confidence(10, 10)[1] == 1.0
    low, high = confidence(8, 16)
    assert low < 0.5 < high
    assert least_right(16, chance=1 / 3) == 9  # ISO 4120, table of the triangle test: 9 of 16 at 5 %
