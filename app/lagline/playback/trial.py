"""Blind trials: can the difference be heard (ABX), and which is liked better (preference).

The number of trials is fixed before the start and nothing is told before the end: who may stop when the
count looks good will always find something. Nothing here plays; it says which version each button stands
for, and the player's hidden mode keeps everything else from telling.
"""

from __future__ import annotations

import math
import random
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from lagline.session.values import Trial

Mode = Literal["abx", "preference"]
BUTTONS: dict[Mode, tuple[str, ...]] = {"abx": ("A", "B", "X"), "preference": ("1", "2")}
ANSWERS: dict[Mode, tuple[str, str]] = {"abx": ("A", "B"), "preference": ("1", "2")}
FEWEST, MOST = 5, 100  # with fewer than 5 not even all right would mean anything (5 of 5: 3.1 %)


class BlindTrial(Struct, frozen=True):
    """A trial on its way. `answer` gives the next state; `finished` the result, once all are answered.

    flips : one a trial, drawn beforehand. abx: X is the second version; preference: button 1 is.
    """

    mode: Mode
    version_ids: tuple[str, str]
    flips: tuple[bool, ...]
    given: tuple[bool, ...] = ()  # abx: said "X is B"; preference: chose the second version

    @property
    def planned(self) -> int:
        return len(self.flips)

    @property
    def number(self) -> int:
        """Which trial is being heard, from 1; `planned` when all are answered."""
        return min(len(self.given) + 1, self.planned)

    @property
    def is_done(self) -> bool:
        return len(self.given) == self.planned

    def version_id(self, button: str) -> str:
        """The version to play for a button of `BUTTONS` in the present trial.

        Raises ValueError when there is no such button or all trials are answered.
        """
        self._check(button, BUTTONS[self.mode])
        flip = self.flips[len(self.given)]
        if button == "X":
            second = flip
        else:
            second = (button == ANSWERS[self.mode][1]) != (flip and self.mode == "preference")
        return self.version_ids[int(second)]

    def answer(self, choice: str) -> BlindTrial:
        """Answer the present trial with one of `ANSWERS`. abx: which one X is; preference: the better one.

        Raises ValueError when there is no such answer or all trials are answered.
        """
        self._check(choice, ANSWERS[self.mode])
        flip = self.flips[len(self.given)]
        second = choice == ANSWERS[self.mode][1]
        return replace(self, given=(*self.given, second != (flip and self.mode == "preference")))

    def finished(self, when: str, note: str = "") -> Trial:
        """The result, to be kept in the session. `when`: ISO 8601, local time with offset.

        Raises ValueError before the last answer: a look in between would spoil the trial.
        """
        if not self.is_done:
            raise ValueError(f"{self.planned - len(self.given)} trials are still to be answered")
        if self.mode == "abx":
            answers = tuple(said == is_b for said, is_b in zip(self.given, self.flips, strict=True))
            probability = guessing_probability(sum(answers), self.planned)
        else:
            answers = self.given
            probability = indifference_probability(sum(answers), self.planned)
        return Trial(self.mode, self.version_ids, self.planned, answers, probability, when, note)

    def _check(self, wanted: str, known: tuple[str, ...]) -> None:
        if self.is_done:
            raise ValueError("all trials are answered")
        if wanted not in known:
            raise ValueError(f"choose one of {', '.join(known)}")


def new_trial(mode: Mode, version_ids: tuple[str, str], planned: int, seed: int | None = None) -> BlindTrial:
    """Draw the order of a trial; None as seed leaves it to the machine's own randomness.

    Raises ValueError unless the versions differ and `planned` lies between FEWEST and MOST.
    """
    if version_ids[0] == version_ids[1]:
        raise ValueError("a trial compares two different versions")
    if not FEWEST <= planned <= MOST:
        raise ValueError(f"plan between {FEWEST} and {MOST} trials")
    draw: random.Random = random.SystemRandom() if seed is None else random.Random(seed)
    return BlindTrial(mode, version_ids, tuple(draw.random() < 0.5 for _ in range(planned)))


def guessing_probability(right: int, planned: int) -> float:
    """Exact chance of at least `right` of `planned` by guessing (one-sided binomial, p = 1/2)."""
    ways: int = sum(math.comb(planned, k) for k in range(max(right, 0), planned + 1))
    return float(ways / 2**planned)


def indifference_probability(second: int, planned: int) -> float:
    """Exact chance of a choice at least this lopsided without any preference (two-sided binomial)."""
    return min(1.0, 2.0 * guessing_probability(max(second, planned - second), planned))


def least_right(planned: int, level: float = 0.05) -> int | None:
    """Fewest right answers that guessing reaches with a probability under `level`; None if none does."""
    return next((n for n in range(planned + 1) if guessing_probability(n, planned) < level), None)


def sentence(trial: Trial, names: tuple[str, str]) -> str:
    """The result in plain words. `names` of the two versions."""
    count, planned, chance = sum(trial.answers), trial.planned, f"{100 * trial.probability:.2g} %"
    if trial.mode == "abx":
        said = f"{count} of {planned} right; guessing alone does at least as well in {chance} of all trials."
        if trial.probability < 0.05:
            return f"{said} The difference between {names[0]} and {names[1]} was very likely heard."
        return f"{said} That does not show that a difference was heard, nor that there is none."
    said = f"{names[1]} was preferred {count} times of {planned}, {names[0]} {planned - count} times; "
    said += f"without any preference a result this lopsided comes up in {chance} of all trials."
    return said if trial.probability < 0.05 else f"{said} That shows no clear preference."
