"""A blind run over several things to hear: of every pair of them, which is liked better; and the ranking.

Each pair comes equally often either way round, and whatever was just heard rests as long as it can: a round
robin by the circle method, the sides turned over in every other round. The ranking is that of R. Bradley and
M. Terry, "Rank analysis of incomplete block designs: I. The method of paired comparisons", Biometrika 39,
1952, 324-345, found by the iteration in D. Hunter, "MM algorithms for generalized Bradley-Terry models",
Annals of Statistics 32, 2004, 384-406. Half a choice is added to either side of every pair, so that what was
chosen always, or never, has a place too.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from lagline.playback.trial import Mode
from lagline.session.values import Ranked, Ranking

FEWEST_RANKED, MOST_RANKED = 2, 8
SIDES = ("1", "2")
_SURE_SIGMAS = 1.959964  # 95 % of a normal distribution
_MOST_EXACT = 16  # choices: 65,536 outcomes are gone through one by one
_DRAWS = 20_000
_PRIOR = 0.5  # choices added to either side of a pair

Array = NDArray[np.float64]


class PairedRun(Struct, frozen=True):
    """A run on its way, answered as a blind trial of preference is.

    pairs : what stands behind button 1 and button 2, as places in `ids`, one a choice.
    given : the place that was preferred, one a choice.
    """

    ids: tuple[str, ...]
    pairs: tuple[tuple[int, int], ...]
    given: tuple[int, ...] = ()

    @property
    def mode(self) -> Mode:
        """The page a trial is answered on takes it for one of preference."""
        return "preference"

    @property
    def planned(self) -> int:
        """How many choices were fixed before the start."""
        return len(self.pairs)

    @property
    def number(self) -> int:
        """Which choice is being made, from 1; `planned` when all are."""
        return min(len(self.given) + 1, self.planned)

    @property
    def is_done(self) -> bool:
        """Whether every choice is made."""
        return len(self.given) == self.planned

    def version_id(self, button: str) -> str:
        """What to play for a button of SIDES. Raises ValueError when there is none, or all is answered."""
        return self.ids[self._place(button)]

    def answer(self, choice: str) -> PairedRun:
        """Prefer what stands behind a button of SIDES. Raises ValueError as `version_id`."""
        return replace(self, given=(*self.given, self._place(choice)))

    def finished(self, names: Sequence[str], when: str, note: str = "") -> Ranking:
        """The ranking, to be kept in the session. `names`: one for each id; `when`: ISO 8601 with offset.

        Raises ValueError before the last answer.
        """
        if not self.is_done:
            raise ValueError(f"{self.planned - len(self.given)} choices are still to be made")
        wins = np.zeros((len(self.ids), len(self.ids)))
        for (one, other), preferred in zip(self.pairs, self.given, strict=True):
            wins[preferred, other if preferred == one else one] += 1
        strength, error = fitted(wins)
        places = [
            Ranked(
                self.ids[at],
                names[at],
                int(wins[at].sum()),
                _share(strength[at]),
                _share(strength[at] - _SURE_SIGMAS * error[at]),
                _share(strength[at] + _SURE_SIGMAS * error[at]),
            )
            for at in sorted(range(len(self.ids)), key=lambda at: -strength[at])
        ]
        return Ranking(tuple(places), self.planned, chance_of_spread(self.pairs, wins), when, note)

    def _place(self, button: str) -> int:
        if self.is_done:
            raise ValueError("all choices are made")
        if button not in SIDES:
            raise ValueError(f"choose one of {', '.join(SIDES)}")
        return self.pairs[len(self.given)][SIDES.index(button)]


def new_paired_run(ids: Sequence[str], rounds: int = 2, seed: int | None = None) -> PairedRun:
    """Draw the order of a run: every pair `rounds` times, an even number, half of them either way round.

    Raises ValueError unless FEWEST_RANKED to MOST_RANKED different ids are given.
    """
    if not FEWEST_RANKED <= len(set(ids)) == len(ids) <= MOST_RANKED:
        raise ValueError(f"a blind run ranks {FEWEST_RANKED} to {MOST_RANKED} different combinations")
    if rounds < 2 or rounds % 2:
        raise ValueError("every pair is heard an even number of times, half of them either way round")
    draw: random.Random = random.SystemRandom() if seed is None else random.Random(seed)
    places = list(range(len(ids)))
    draw.shuffle(places)
    turned = {pair: draw.random() < 0.5 for pair in itertools.combinations(range(len(ids)), 2)}
    pairs: list[tuple[int, int]] = []
    for number in range(rounds):
        for one, other in round_robin(len(ids)):
            low, high = sorted((places[one], places[other]))
            pairs.append((high, low) if turned[low, high] ^ (number % 2 == 1) else (low, high))
    return PairedRun(tuple(ids), tuple(pairs))


def round_robin(count: int) -> list[tuple[int, int]]:
    """Every pair of `count` things once, by the circle method: one stands still, the others go round it."""
    ring = [*range(count), *([-1] if count % 2 else [])]  # -1: whoever meets it rests
    pairs = []
    for _ in range(len(ring) - 1):
        halves = zip(ring[: len(ring) // 2], reversed(ring[len(ring) // 2 :]), strict=True)
        pairs += [pair for pair in halves if -1 not in pair]
        ring = [ring[0], ring[-1], *ring[1:-1]]
    return pairs


def usual_rounds(count: int) -> int:
    """The fewest rounds in which a listener who is always sure can show it, so few things there may be."""
    return {2: 6, 3: 4}.get(count, 2)


def choices_of(count: int, rounds: int = 2) -> int:
    """How many choices a run over so many things takes."""
    return rounds * count * (count - 1) // 2


def fitted(wins: Array) -> tuple[Array, Array]:
    """Strengths of Bradley and Terry's model and their standard errors, natural logarithms about a mean of 0.

    wins : shape (things, things): how often the one of the row was preferred to the one of the column.
    """
    count = len(wins)
    added = wins + _PRIOR * (1.0 - np.eye(count))
    met, won = added + added.T, added.sum(axis=1)
    ability = np.ones(count)
    for _ in range(10_000):
        new = won / (met / (ability[:, None] + ability[None, :])).sum(axis=1)
        new /= math.exp(float(np.log(new).mean()))
        done = float(np.abs(np.log(new / ability)).max()) < 1e-10
        ability = new
        if done:
            break
    chance = ability[:, None] / (ability[:, None] + ability[None, :])
    weight = met * chance * (1.0 - chance)
    np.fill_diagonal(weight, 0.0)
    information = np.diag(weight.sum(axis=1)) - weight
    covariance = np.linalg.pinv(information)  # of strengths that add up to 0
    return np.log(ability), np.sqrt(np.maximum(np.diag(covariance), 0.0))


def chance_of_spread(pairs: Sequence[tuple[int, int]], wins: Array) -> float:
    """How often choices made by tossing a coin spread at least as much over the things as these.

    The statistic is the sum of squares of how often each was preferred: M. Kendall and B. Babington Smith,
    "On the method of paired comparisons", Biometrika 31, 1940, 324-345. Exact for up to 16 choices; else from
    20,000 draws, whose standard error is 0.002 at a probability of 0.05.
    """
    spread = float((wins.sum(axis=1) ** 2).sum())
    both = np.array(pairs)
    if len(pairs) <= _MOST_EXACT:
        codes = np.arange(2 ** len(pairs))[:, None]
        tosses = (codes >> np.arange(len(pairs))) & 1
    else:
        tosses = np.random.default_rng(0).integers(0, 2, (_DRAWS, len(pairs)))
    chosen = np.where(tosses, both[:, 1], both[:, 0])
    counts = np.stack([(chosen == place).sum(axis=1) for place in range(len(wins))])
    return float(((counts**2).sum(axis=0) >= spread - 1e-9).mean())


def _share(strength: float) -> float:
    """How often it is preferred to one of average strength, 0..1."""
    return 1.0 / (1.0 + math.exp(-strength))
