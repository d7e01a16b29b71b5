"""The hearing guard's arithmetic: levels in, debt out."""

from __future__ import annotations

import math
import random

import pytest

from lagline.playback.guard import (
    LOUDEST_LUFS,
    MARGIN_DB,
    NO_LIMIT,
    SILENT_LUFS,
    START_LUFS,
    USUAL_RISE_DB,
    Guard,
)

RATE_HZ = 48_000
BLOCK = 256
ALLOWED = USUAL_RISE_DB - MARGIN_DB


class Ear:
    """Hears a programme of a steady level through a guard, and keeps what it heard."""

    def __init__(self, level: float, *, begun: bool = True) -> None:
        self.guard = Guard(RATE_HZ)
        self.level = level
        self.heard: list[float] = []
        if begun:
            self.guard.heard_lufs = level
            self.guard.hold_under(0.0)
            self.wait(60.0)
            self.heard.clear()

    def becomes(self, level: float) -> None:
        self.guard.change([(self.level, level)])
        self.level = level

    def wait(self, seconds: float, *, sounding: bool = True, paying: bool = True) -> None:
        for _ in range(round(seconds * RATE_HZ / BLOCK)):
            if not sounding:
                continue
            self.guard.cap(self.level)
            self.guard.advance(BLOCK, paying=paying)
            heard = self.level - self.guard.debt_db
            self.guard.hear(heard)
            if heard > SILENT_LUFS:
                self.heard.append(heard)

    def steepest(self) -> float:
        """The largest rise within a second."""
        second = RATE_HZ // BLOCK
        return max(
            self.heard[n] - min(self.heard[max(0, n - second) : n + 1]) for n in range(len(self.heard))
        )


def test_what_may_rise_at_once_does():
    ear = Ear(-40.0)
    ear.wait(2.0)
    ear.becomes(-40.0 + ALLOWED)
    assert ear.guard.debt_db == 0.0


def test_39_db_come_at_the_pace_that_is_allowed():
    ear = Ear(-59.0)
    ear.wait(2.0)
    ear.becomes(-20.0)
    assert ear.guard.debt_db == pytest.approx(39.0)
    ear.wait(39.0 / ALLOWED - 0.1)
    assert ear.guard.debt_db > 0.0
    ear.wait(0.3)
    assert ear.guard.debt_db == 0.0
    assert ear.steepest() <= ALLOWED + 0.05


def test_small_rises_in_a_row_add_up():
    ear = Ear(-40.0)
    ear.wait(2.0)
    for step in range(1, 6):
        ear.becomes(-40.0 + 3.0 * step)
        ear.wait(0.1)
    ear.wait(3.0)
    assert ear.steepest() <= ALLOWED + 0.05 and ear.heard[-1] == -25.0


def test_quieter_is_heard_at_once_and_back_again_is_a_rise():
    ear = Ear(-20.0)
    ear.becomes(-60.0)
    assert ear.guard.debt_db == 0.0
    ear.wait(0.2)
    ear.becomes(-20.0)
    assert ear.guard.debt_db == pytest.approx(40.0)


def test_silence_in_between_neither_forgets_nor_pays():
    ear = Ear(-50.0)
    ear.wait(1.5)
    ear.becomes(-math.inf)
    ear.wait(20.0, sounding=False)
    ear.becomes(-20.0)
    assert ear.guard.debt_db == pytest.approx(30.0)
    ear.wait(20.0, sounding=False)
    assert ear.guard.debt_db == pytest.approx(30.0)


def test_back_from_silence_to_what_was_heard_before_is_no_rise():
    ear = Ear(-20.0)
    ear.wait(1.5)
    ear.becomes(-math.inf)
    ear.wait(5.0, sounding=False)
    ear.becomes(-20.0)
    assert ear.guard.debt_db == 0.0


def test_nothing_is_paid_while_equal_loudness_is_not_known():
    ear = Ear(-50.0)
    ear.wait(1.5)
    ear.becomes(-20.0)
    ear.wait(10.0, paying=False)
    assert ear.guard.debt_db == pytest.approx(30.0)
    ear.becomes(-50.0)  # the match, as it becomes known
    assert ear.guard.debt_db == 0.0 and ear.heard[-1] == pytest.approx(-50.0)


def test_the_first_sound_of_all_is_low():
    ear = Ear(-10.0, begun=False)
    ear.wait(10.0)
    assert ear.heard[0] == pytest.approx(START_LUFS, abs=0.1)
    assert ear.heard[-1] == -10.0 and ear.steepest() <= ALLOWED + 0.05


def test_another_take_begins_low_or_as_low_as_the_one_before():
    loud = Ear(-20.0)
    loud.guard.start_low()
    loud.wait(0.1)
    assert loud.heard[0] == pytest.approx(START_LUFS, abs=0.1)
    quiet = Ear(-60.0)
    quiet.guard.start_low()
    quiet.level = -20.0
    quiet.wait(0.1)
    assert quiet.heard[0] == pytest.approx(-60.0, abs=0.1)


def test_the_music_itself_may_do_what_it_likes_once_it_has_begun():
    ear = Ear(-60.0)
    ear.level = LOUDEST_LUFS  # no change is told: it is the performance
    ear.wait(1.0)
    assert ear.guard.debt_db == 0.0


def test_the_worst_of_several_stretches_counts():
    guard = Guard(RATE_HZ)
    guard.change([(-30.0, -30.0), (-59.0, -20.0)])
    assert guard.debt_db == pytest.approx(39.0)


def test_it_can_be_switched_off_for_tests():
    guard = Guard(RATE_HZ)
    guard.allow(NO_LIMIT)
    guard.cap(0.0)
    guard.change([(-59.0, 0.0)])
    assert guard.debt_db == 0.0


@pytest.mark.parametrize("seed", range(20))
def test_no_second_of_a_thousand_random_changes_rises_more(seed: int):
    dice = random.Random(seed)
    ear = Ear(-40.0)
    for _ in range(1_000):
        kind = dice.random()
        if kind < 0.05:
            ear.guard.start_low()
            ear.level = dice.uniform(-70.0, 0.0)
        else:
            ear.becomes(dice.uniform(-70.0, 0.0) if kind < 0.9 else -math.inf)
        ear.wait(
            dice.choice([0.0, 0.05, 0.3, 1.0]), sounding=ear.level > -math.inf, paying=dice.random() < 0.9
        )
    assert ear.steepest() <= USUAL_RISE_DB


def test_another_limit_is_kept_below_by_the_same_margin():
    for up, owed in ((3.0 - MARGIN_DB, 0.0), (3.0, 3.0)):
        guard = Guard(RATE_HZ)
        guard.allow(3.0)
        guard.change([(-40.0, -40.0 + up)])
        assert guard.debt_db == pytest.approx(owed)


def test_a_gain_turned_up_adds_to_what_is_owed():
    guard = Guard(RATE_HZ)
    guard.turn(10.0)
    assert guard.debt_db == pytest.approx(10.0)
    guard.turn(20.0)
    assert guard.debt_db == pytest.approx(30.0)


def test_what_is_owed_is_paid_back_as_time_goes_by():
    guard = Guard(RATE_HZ)
    guard.turn(20.0)
    guard.advance(RATE_HZ)
    assert guard.debt_db == pytest.approx(20.0 - ALLOWED)


@pytest.mark.parametrize(("seconds", "times"), [(0.1, 1.0), (1.0, 1.0), (2.0, 2.0), (7.5, 7.5)])
def test_how_much_louder_it_may_be_after_a_while(seconds: float, times: float):
    assert Guard(RATE_HZ).rise_after(round(seconds * RATE_HZ)) == pytest.approx(times * ALLOWED)


def test_it_tells_beforehand_whether_a_change_would_owe_anything():
    guard = Guard(RATE_HZ)
    assert guard.would_move([(-59.0, -20.0)])
    assert not guard.would_move([(-40.0, -40.0 + ALLOWED)])
    assert not guard.would_move([(-40.0, -math.inf)])
    guard.allow(NO_LIMIT)
    assert not guard.would_move([(-59.0, -20.0)])
