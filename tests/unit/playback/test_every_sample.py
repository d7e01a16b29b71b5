"""A session of random switches, jumps, loops, stops and edits, with every sample accounted for."""

from __future__ import annotations

import itertools
import random
from types import SimpleNamespace

import numpy as np
import pytest
from msgspec.structs import replace
from tests.support.array_clips import ArrayClip, FloatArray, session_of
from tests.support.transport_oracle import FADE, RATE_HZ, Oracle

from lagline.playback.board import Board, Field
from lagline.playback.feeder import Feeder, Material
from lagline.playback.guard import NO_LIMIT, USUAL_RISE_DB
from lagline.playback.mixer import Mixer
from lagline.playback.reels import Handover
from lagline.playback.views import View, Wanted
from lagline.session import edits
from lagline.session.values import ORIGINAL_ID, Move, Version

LENGTH = 2 * RATE_HZ
END = LENGTH  # no version moves a lane past it
VERSIONS = (
    Version(id="v1", name="one", moves={"a": Move(-12.37), "b": Move(-40.0, -1)}),
    Version(id="v2", name="two", moves={"a": Move(-3.0), "c": Move(-77.5)}),
)
IDS = (ORIGINAL_ID, "v1", "v2")


@pytest.fixture(autouse=True)
def even_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every look at the clock is a millisecond later: how far ahead edits are made then repeats exactly."""
    ticks = itertools.count()
    clock = SimpleNamespace(perf_counter=lambda: 0.001 * next(ticks))
    monkeypatch.setattr("lagline.playback.feeder.time", clock)


def jumping_clock(seed: int, odds: float) -> SimpleNamespace:
    """As a machine that pauses now and then sees time: every look a millisecond later, some half a second."""
    dice, now = random.Random(seed), 0.0

    def perf_counter() -> float:
        nonlocal now
        now += 0.001 if dice.random() > odds else 0.5
        return now

    return SimpleNamespace(perf_counter=perf_counter)


def noise() -> dict[str, ArrayClip]:
    rng = np.random.default_rng(5)
    return {key: ArrayClip(0.03 * rng.standard_normal(LENGTH).clip(-4, 4)) for key in "abc"}


def tones() -> dict[str, ArrayClip]:
    times = np.arange(LENGTH) / RATE_HZ
    return {
        key: ArrayClip(0.1 * np.sin(2 * np.pi * frequency * times))
        for key, frequency in zip("abc", (110.0, 146.8, 220.0), strict=True)
    }


class Listener:
    """Presses buttons at random on a mixer and an oracle alike, and compares what comes out."""

    is_mixed = False

    def __init__(self, clips: dict[str, ArrayClip], seed: int, most_rise_db: float = NO_LIMIT) -> None:
        self.random = random.Random(seed)
        self.session = session_of(clips, *VERSIONS)
        self.loop: tuple[int, int] | None = None
        self.board = Board()
        self.mixer = Mixer(RATE_HZ, self.board)
        self.feeder = Feeder(self.mixer, lambda _: clips, report=pytest.fail, ahead_s=0.3)
        self.oracle = Oracle(clips, END)
        self.furthest_edit_frames = 0
        self.known_offer: Handover | None = None
        self.out: list[FloatArray] = []
        self.expected: list[FloatArray] = []
        self.counts: dict[str, int] = {}
        self.mixer.wanted = Wanted(playing=True, monitor_gain=1.0, most_rise_db=most_rise_db)
        self._show()
        self._jump(0)

    def play(self, frames: int) -> None:
        block = np.zeros((frames, 2), np.float32)
        wanted = self.mixer.wanted
        self.mixer.fill(block)
        self.out.append(block)
        self.expected.append(self.oracle.block(frames, wanted))
        if self.board[Field.ENDED] and self.oracle.ended:  # what the engine does at the end of the take
            self._want(playing=False)
        self._feed()

    def press_something(self) -> None:
        actions = (
            [self.switch] * 4 + [self.seek] * 2 + [self.change_loop, self.start_or_stop] + [self.edit] * 3
        )
        stopped = not self.mixer.wanted.playing
        action = self.start_or_stop if stopped and self.random.random() < 0.4 else self.random.choice(actions)
        self.counts[action.__name__] = self.counts.get(action.__name__, 0) + 1
        action()

    def switch(self) -> None:
        view = View(
            self.random.choice(IDS),
            difference=self.random.random() < 0.15,
            mono=self.random.random() < 0.15,
            turn=self.mixer.wanted.view.turn + 1,
        )
        self._want(view=view)

    def seek(self) -> None:
        position = self.random.randrange(-1_000, END - 1)
        self._jump(position)
        assert self.oracle.jump is not None and self.oracle.jump[2] == position

    def change_loop(self) -> None:
        start = self.random.randrange(0, END - 12_000)
        self.loop = self.random.choice([None, (start, start + self.random.randrange(2_400, 9_600))])
        self._show()

    def start_or_stop(self) -> None:
        self._want(playing=not self.mixer.wanted.playing)

    def edit(self) -> None:
        lane = self.random.choice("abc")
        change = self.random.choice(
            [
                lambda s: edits.with_gain(s, lane, self.random.uniform(-30, 3)),
                lambda s: edits.with_mute(s, lane, not s.current_version.balance(lane).mute),
                lambda s: edits.with_solo(s, lane, not s.lane(lane).solo),
                lambda s: edits.with_pan(s, lane, self.random.uniform(-1, 1)),
                lambda s: edits.with_shift(s, lane, self.random.uniform(-90, 0)),
                lambda s: edits.with_polarity(s, lane, -s.current_version.move(lane).polarity),
            ]
        )
        self.session = change(self.session)
        self._show()

    def _show(self) -> None:
        self.feeder.show(Material(self.session, IDS, self.loop, is_mixed=self.is_mixed))
        self._feed()

    def _jump(self, position: int) -> None:
        self.feeder.jump(position)
        self._feed()

    def _want(self, **changes: object) -> None:
        self.mixer.wanted = replace(self.mixer.wanted, **changes)

    def _feed(self) -> None:
        """Let the feeder do all it can, and learn where what it offers begins."""
        while self.feeder.work():
            offer = self.mixer.offer
            if offer is None or offer is self.known_offer:
                continue
            self.known_offer = offer
            if offer.at is None:
                self.oracle.go(self.session, self.loop, offer.reel.programme.start)
                continue
            reel, index = self.mixer.place
            assert offer.base is reel and offer.at >= index
            self.furthest_edit_frames = max(self.furthest_edit_frames, offer.at - index)
            self.oracle.edit(self.session, self.loop, self.oracle.index + offer.at - index)


def listened(
    clips: dict[str, ArrayClip], seed: int, presses: int, most_rise_db: float = NO_LIMIT
) -> Listener:
    listener = Listener(clips, seed, most_rise_db)
    for _ in range(presses):
        for _ in range(listener.random.randrange(1, 12)):
            listener.play(listener.random.choice([64, 128, 256, 256, 441, 512]))
        listener.press_something()
    listener.play(2_000)
    return listener


def assert_every_sample(listener: Listener) -> None:
    delay = listener.mixer.delay_frames
    out = np.concatenate(listener.out)
    expected = np.concatenate(listener.expected)
    assert not out[:delay].any()
    wrong = np.flatnonzero((out[delay:] != expected[:-delay]).any(axis=1))
    assert not len(wrong), f"first wrong sample {wrong[0]} of {len(out)}"
    assert listener.board[Field.STARVED] == 0


@pytest.mark.parametrize("seed", range(2))
def test_500_random_presses(seed: int):
    listener = listened(noise(), seed, 500)
    assert_every_sample(listener)
    assert listener.furthest_edit_frames < 0.15 * RATE_HZ
    assert set(listener.counts) == {"switch", "seek", "change_loop", "start_or_stop", "edit"}
    assert np.concatenate(listener.out).any(axis=1).mean() > 0.4


@pytest.mark.parametrize(("seed", "odds"), [(6, 0.2), (9, 0.2)])
def test_no_sample_is_lost_when_the_clock_jumps(monkeypatch: pytest.MonkeyPatch, seed: int, odds: float):
    """The feeder then takes itself for slow and makes edits far ahead, where little of the old sound is left.

    A dip just before such a splice once waited for more of the old sound, which nobody renders any more.
    """
    monkeypatch.setattr("lagline.playback.feeder.time", jumping_clock(seed, odds))
    listener = listened(noise(), seed, 150)
    assert_every_sample(listener)
    assert listener.furthest_edit_frames > 0.05 * RATE_HZ, "no edit was made far ahead, so nothing was tested"


@pytest.mark.parametrize("is_mixed", [False, True], ids=["versions", "lanes"])
@pytest.mark.parametrize("most_rise_db", [NO_LIMIT, USUAL_RISE_DB], ids=["plain", "guarded"])
def test_no_step_is_larger_than_the_fades_allow(
    most_rise_db: float, is_mixed: bool, monkeypatch: pytest.MonkeyPatch
):
    """Low tones move slowly, so any click would stand out; what the guard does is no click either."""
    monkeypatch.setattr(Listener, "is_mixed", is_mixed)
    listener = listened(tones(), seed=7, presses=150, most_rise_db=most_rise_db)
    out = np.concatenate(listener.out)
    loudest = np.abs(out).max()
    # A tone at full level moves by 2 pi f / rate a sample, the steepest part of a fade by pi / 2 / FADE.
    allowed = loudest * (2 * np.pi * 220.0 / RATE_HZ + np.pi / 2 / FADE)
    assert np.abs(np.diff(out, axis=0)).max() < allowed
