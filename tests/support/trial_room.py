"""A blind trial as the engine plays it, and somebody in it who does not listen but measures.

The cheat has the captured sound and knows when each button was pressed. It goes by timing and level only, as
fine as an ear could: how long the gap at a choice is, how the sound fades, when after the beginning the first
attack comes, how loud the loop is. Where nothing of that tells X from A or B, it guesses.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import numpy as np
from msgspec import Struct
from tests.support.array_clips import ArrayClip, FloatArray, session_of

from lagline.blend.loudness import LoudnessMeter
from lagline.blend.loudness_match import matched_gains
from lagline.blend.same_moment import leads
from lagline.playback.board import Board
from lagline.playback.feeder import Feeder, Material
from lagline.playback.mixer import Mixer
from lagline.playback.trial import BlindTrial, new_trial
from lagline.playback.views import View, Wanted
from lagline.session.values import Move, Session, Version
from lagline.units import db_to_gain

RATE_HZ = 48_000
LOOP = (24_000, 24_000 + 19_200)  # 0.4 s
IDS = ("original", "v1")
BLOCK = 256
# What a trained ear just notices (B. Moore, An Introduction to the Psychology of Hearing; from memory): a gap
# or a delay of 2 ms, a change of level of 0.5 dB.
NOTICED_MS, NOTICED_DB = 2.0, 0.5


class Press(Struct, frozen=True):
    """A choice in trial number `trial`, at a frame of the captured sound."""

    frame: int
    trial: int
    button: str
    is_second: bool  # which version it was: for the score, not for the cheat


def take() -> tuple[Session, dict[str, ArrayClip]]:
    """Strokes in a near and a far lane; the version brings the near one 16 ms later, onto the far one."""
    rng = np.random.default_rng(21)
    frames = 3 * RATE_HZ
    near = 0.01 * rng.standard_normal(frames)
    decay = np.exp(-np.arange(6_000) / 900.0)
    for at in range(2_000, frames - 8_000, 4_800):
        near[at : at + 6_000] += rng.uniform(0.2, 0.4) * decay * rng.standard_normal(6_000)
    far = 0.5 * np.roll(near, 768) + 0.005 * rng.standard_normal(frames)
    clips = {"a": ArrayClip(0.2 * near), "b": ArrayClip(0.2 * far)}
    return session_of(clips, Version(id="v1", name="Shifted", moves={"a": Move(768.0)})), clips


class TrialRoom:
    """Plays trials, block by block, with a listener who hears each button once in any order.

    tells : leave out what keeps a trial from telling, to see that the cheat would notice: "moment" plays on
        one clock, "level" without equal loudness.
    """

    def __init__(self, trials: int, seed: int, tells: str = "") -> None:
        session, clips = take()
        session = Session(session.rate_hz, session.lanes, versions=session.versions, loop=LOOP)
        self.presses: list[Press] = []
        self.frames = 0
        self._dice = random.Random(seed)
        self._trials = trials
        self._trial: BlindTrial = new_trial("abx", IDS, 100, seed)
        later = leads(session, session.versions, clips, *LOOP)
        match = matched_gains(session, clips).gains_db
        gains = {key: db_to_gain(db) for key, db in match.items()} if tells != "level" else {}
        self.mixer = Mixer(RATE_HZ, Board())
        self.mixer.wanted = Wanted(monitor_gain=0.2, match_gains=gains, sealed=True, matching=bool(gains))
        self._feeder = Feeder(self.mixer, lambda _: clips, report=print, ahead_s=0.5)
        moments = {} if tells == "moment" else {"v1": later[0]}
        self._feeder.show(Material(session, IDS, LOOP, moments))
        self._jump = self._turn = 0
        self._steps = self._script()
        self._wait = next(self._steps)

    @property
    def is_over(self) -> bool:
        return self._wait is None

    def fill(self, out: FloatArray) -> None:
        """The next block that leaves for the device."""
        self.mixer.fill(out)
        self.frames += len(out)
        for _ in range(self._dice.choice([0, 1, 3, 20])):  # the feeder has its own pace
            self._feeder.work()
        if self._wait is not None:
            self._wait -= len(out)
            if self._wait <= 0:
                self._wait = next(self._steps, None)

    def _script(self) -> Iterator[int]:
        """What the listener does; yields frames to wait."""
        yield RATE_HZ // 2
        for number in range(self._trials):
            order = self._dice.sample(["A", "B", "X"], 3)
            for button in order:
                self._press(number, button)
                yield round(self._dice.uniform(0.62, 0.75) * RATE_HZ)
            self._trial = (
                self._trial.answer("A") if self._trial.number < 100 else new_trial("abx", IDS, 100, number)
            )
        yield RATE_HZ // 2

    def _press(self, number: int, button: str) -> None:
        """As the player does at an audition."""
        version_id = self._trial.version_id(button)
        self.presses.append(Press(self.frames, number, button, version_id == IDS[1]))
        self._turn += 1
        wanted = self.mixer.wanted
        self._jump += 1
        self.mixer.wanted = Wanted(
            playing=True,
            jump=self._jump,
            view=View(version_id, turn=self._turn),
            monitor_gain=wanted.monitor_gain,
            match_gains=wanted.match_gains,
            matching=wanted.matching,
            sealed=True,
        )
        self._feeder.jump(LOOP[0], self._jump)


def cues(sent: FloatArray, press: Press) -> tuple[float, float, float, float]:
    """Timing in ms and level in dB of what follows a press: gap, fade in, first attack, loop."""
    after = sent[press.frame : press.frame + RATE_HZ * 6 // 10].mean(axis=1)
    silent = np.abs(after) < 1e-9
    zeros = np.flatnonzero(silent[:-240] & silent[1:-239])  # of a dip at least two in a row
    begins = int(zeros[zeros < RATE_HZ // 5][-1]) + 2 if len(zeros) else 0
    first = int(zeros[0]) if len(zeros) else 0
    sound = after[begins : begins + LOOP[1] - LOOP[0]]
    envelope = np.convolve(np.abs(sound), np.ones(96) / 96, mode="same")
    attack = int(np.argmax(envelope > 0.5 * envelope.max()))
    fade = int(np.argmax(np.abs(sound) > 0.1 * np.abs(sound[:2_400]).max()))
    meter = LoudnessMeter(RATE_HZ)
    meter.add(np.column_stack([sound, sound]))
    level = meter.powers().ungated_lufs()
    return 1_000 * (begins - first) / RATE_HZ, 1_000 * fade / RATE_HZ, 1_000 * attack / RATE_HZ, level


def score(sent: FloatArray, presses: list[Press], delay_frames: int, seed: int) -> tuple[int, int]:
    """How many of how many trials the cheat gets right. `delay_frames`: of the limiter and the device."""
    dice, right, trials = random.Random(seed), 0, max(press.trial for press in presses) + 1
    noticed = (NOTICED_MS, NOTICED_MS, NOTICED_MS, NOTICED_DB)
    for number in range(trials):
        mine = {press.button: press for press in presses if press.trial == number}
        seen = {button: cues(sent[delay_frames:], press) for button, press in mine.items()}
        votes = 0.0
        for a, b, x, just in zip(seen["A"], seen["B"], seen["X"], noticed, strict=True):
            if abs(a - b) >= just and max(abs(x - a), abs(x - b)) >= just:
                votes += np.sign(abs(x - a) - abs(x - b))
        says_b = votes > 0 if votes else dice.random() < 0.5
        right += says_b == mine["X"].is_second
    return right, trials
