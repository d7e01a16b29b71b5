"""Blind trials: can the difference be heard (ABX, odd one out), and which is liked better (preference).

The number of trials is fixed before the start and nothing is told before the end: who may stop when the
count looks good will always find something. Nothing here plays; it says which version each button stands
for, and the player's hidden mode keeps everything else from telling.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from lagline.session.values import Trial

Mode = Literal["abx", "odd", "preference"]
BUTTONS: dict[Mode, tuple[str, ...]] = {
    "abx": ("A", "B", "X"),
    "odd": ("1", "2", "3"),
    "preference": ("1", "2"),
}
ANSWERS: dict[Mode, tuple[str, ...]] = {"abx": ("A", "B"), "odd": ("1", "2", "3"), "preference": ("1", "2")}
GUESSING: dict[Mode, float] = {"abx": 1 / 2, "odd": 1 / 3, "preference": 1 / 2}
ORDERS: dict[Mode, int] = {"abx": 2, "odd": 6, "preference": 2}  # which way round a trial can be
FEWEST, MOST = 5, 100  # with fewer than 5 not even all right would mean anything (ABX, 5 of 5: 3.1 %)
SURE = 0.95  # of the confidence interval


class BlindTrial(Struct, frozen=True):
    """A trial on its way. `answer` gives the next state; `finished` the result, once all are answered.

    orders : one a trial, drawn beforehand, below `ORDERS`. abx: 1 when X is the second version; preference: 1
        when button 1 is; odd: which button is the odd one, plus 3 when that is the second version.
    """

    mode: Mode
    version_ids: tuple[str, str]
    orders: tuple[int, ...]
    given: tuple[int, ...] = ()  # abx: 1 for "X is B"; preference: 1 for the second version; odd: the button

    @property
    def planned(self) -> int:
        """How many trials the run has, fixed when it began."""
        return len(self.orders)

    @property
    def number(self) -> int:
        """Which trial is being heard, from 1; `planned` when all are answered."""
        return min(len(self.given) + 1, self.planned)

    @property
    def is_done(self) -> bool:
        """Whether every trial is answered."""
        return len(self.given) == self.planned

    def version_id(self, button: str) -> str:
        """The version to play for a button of `BUTTONS` in the present trial.

        Raises ValueError when there is no such button or all trials are answered.
        """
        self._check(button, BUTTONS[self.mode])
        order, at = self.orders[len(self.given)], BUTTONS[self.mode].index(button)
        if self.mode == "odd":
            return self.version_ids[(order // 3) ^ (at != order % 3)]
        if button == "X":
            return self.version_ids[order]
        return self.version_ids[at ^ order if self.mode == "preference" else at]

    def answer(self, choice: str) -> BlindTrial:
        """Answer the present trial with one of `ANSWERS`: which one X is, which is odd, or the better one.

        Raises ValueError when there is no such answer or all trials are answered.
        """
        self._check(choice, ANSWERS[self.mode])
        given = ANSWERS[self.mode].index(choice)
        if self.mode == "preference":
            given ^= self.orders[len(self.given)]
        return replace(self, given=(*self.given, given))

    def finished(self, when: str, note: str = "", discarded: int = 0) -> Trial:
        """The result, to be kept in the session. `when`: ISO 8601, local time with offset.

        discarded : runs of the same kind that were begun before this one and not kept.

        Raises ValueError before the last answer: a look in between would spoil the trial.
        """
        if not self.is_done:
            raise ValueError(f"{self.planned - len(self.given)} trials are still to be answered")
        if self.mode == "preference":
            answers = tuple(given == 1 for given in self.given)
        else:
            truths = (order % 3 for order in self.orders)
            answers = tuple(given == truth for given, truth in zip(self.given, truths, strict=True))
        probability = chance_of(self.mode, sum(answers), self.planned)
        return Trial(self.mode, self.version_ids, self.planned, answers, probability, when, note, discarded)

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
    return BlindTrial(mode, version_ids, tuple(draw.randrange(ORDERS[mode]) for _ in range(planned)))


def chance_of(mode: Mode, count: int, planned: int) -> float:
    """Exact probability of a result at least this good, or this lopsided, without hearing or preferring."""
    if mode == "preference":
        return indifference_probability(count, planned)
    return guessing_probability(count, planned, GUESSING[mode])


def guessing_probability(right: int, planned: int, chance: float = 0.5) -> float:
    """Exact probability of at least `right` of `planned`, each right by `chance` (one-sided binomial).

    1/2 for ABX; 1/3 for the odd one of three, the triangle test of ISO 4120:2021.
    """
    if chance == 0.5:
        return float(sum(math.comb(planned, k) for k in range(max(right, 0), planned + 1)) / 2**planned)
    terms = (
        math.comb(planned, k) * chance**k * (1.0 - chance) ** (planned - k)
        for k in range(max(right, 0), planned + 1)
    )
    return min(1.0, math.fsum(terms))


def indifference_probability(second: int, planned: int) -> float:
    """Exact chance of a choice at least this lopsided without any preference (two-sided binomial)."""
    return min(1.0, 2.0 * guessing_probability(max(second, planned - second), planned))


def least_right(planned: int, level: float = 0.05, chance: float = 0.5) -> int | None:
    """Fewest right answers that guessing reaches with a probability under `level`; None if none does."""
    return next((n for n in range(planned + 1) if guessing_probability(n, planned, chance) < level), None)


def confidence(count: int, planned: int, sure: float = SURE) -> tuple[float, float]:
    """Exact confidence interval of the share behind `count` of `planned`, both ends 0..1.

    C. Clopper and E. Pearson, "The use of confidence or fiducial limits illustrated in the case of the
    binomial", Biometrika 26, 1934, 404-413: the shares that a result so large, or so small, would still have
    been seen with, at (1 - sure) / 2 on either side.
    """
    tail = (1.0 - sure) / 2.0
    low = 0.0 if count == 0 else _share(lambda share: guessing_probability(count, planned, share), tail)
    if count == planned:
        return low, 1.0
    return low, _share(lambda share: guessing_probability(count + 1, planned, share), 1.0 - tail)


def _share(probability: Callable[[float], float], wanted: float) -> float:
    """The share for which a probability that rises with it is `wanted`, by bisection."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if probability(middle) < wanted else (low, middle)
    return (low + high) / 2.0
