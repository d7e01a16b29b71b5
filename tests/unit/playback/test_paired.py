"""A blind run over several things: balanced, answered, ranked; chance told from preference."""

from __future__ import annotations

import itertools
from collections import Counter

import numpy as np
import pytest
from scipy.optimize import minimize

from lagline.playback.paired import (
    MOST_RANKED,
    PairedRun,
    chance_of_spread,
    choices_of,
    fitted,
    new_paired_run,
    round_robin,
    usual_rounds,
)

IDS = ("a", "b", "c", "d", "e", "f", "g", "h")


@pytest.mark.parametrize("count", range(2, MOST_RANKED + 1))
@pytest.mark.parametrize("rounds", [2, 4])
def test_every_pair_comes_equally_often_either_way_round(count: int, rounds: int) -> None:
    run = new_paired_run(IDS[:count], rounds, seed=count)
    assert run.planned == choices_of(count, rounds)
    seen = Counter(run.pairs)
    for one, other in itertools.combinations(range(count), 2):
        assert seen[one, other] == seen[other, one] == rounds // 2
    for place in range(count):
        assert sum(pair[0] == place for pair in run.pairs) == sum(pair[1] == place for pair in run.pairs)


@pytest.mark.parametrize("count", range(2, 9))
def test_a_round_robin_has_every_pair_once_and_lets_each_rest(count: int) -> None:
    pairs = round_robin(count)
    assert sorted(tuple(sorted(pair)) for pair in pairs) == list(itertools.combinations(range(count), 2))
    if count >= 5:
        apart = [set(one) & set(other) for one, other in itertools.pairwise(pairs)]
        assert sum(map(bool, apart)) <= count  # only where one round follows on another


def test_the_order_is_drawn_anew_and_a_seed_repeats_it() -> None:
    assert new_paired_run(IDS, seed=1) == new_paired_run(IDS, seed=1) != new_paired_run(IDS, seed=2)


@pytest.mark.parametrize(
    ("ids", "rounds", "said"),
    [
        (("a",), 2, "2 to 8"),
        (("a", "a"), 2, "different"),
        ((*IDS, "i"), 2, "2 to 8"),
        (IDS, 3, "even number"),
    ],
)
def test_what_cannot_be_run_is_refused(ids: tuple[str, ...], rounds: int, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        new_paired_run(ids, rounds)


def answered(run: PairedRun, likes: str) -> PairedRun:
    """Whoever answers always prefers what comes first in `likes`."""
    while not run.is_done:
        heard = [run.version_id("1"), run.version_id("2")]
        run = run.answer("1" if likes.index(heard[0]) < likes.index(heard[1]) else "2")
    return run


def test_a_listener_who_is_sure_is_ranked_as_he_likes() -> None:
    run = new_paired_run(IDS[:5], 2, seed=3)
    with pytest.raises(ValueError, match="20 choices are still"):
        run.finished(IDS[:5], "now")
    done = answered(run, "cadbe")
    ranking = done.finished([name.upper() for name in IDS[:5]], "now", "in headphones")
    assert "".join(place.id for place in ranking.places) == "cadbe"
    assert [place.name for place in ranking.places] == ["C", "A", "D", "B", "E"]
    assert [place.wins for place in ranking.places] == [8, 6, 4, 2, 0]
    assert ranking.probability < 0.001
    assert all(place.low < place.share < place.high for place in ranking.places)
    assert ranking.places[0].low > 0.5 > ranking.places[-1].high
    with pytest.raises(ValueError, match="all choices"):
        done.answer("1")
    with pytest.raises(ValueError, match="choose one of"):
        run.answer("3")


@pytest.mark.parametrize("count", range(2, MOST_RANKED + 1))
def test_whoever_is_always_sure_shows_it_in_the_usual_rounds(count: int) -> None:
    run = answered(new_paired_run(IDS[:count], usual_rounds(count), seed=count), "".join(IDS))
    assert run.finished(IDS[:count], "now").probability < 0.05


def test_a_listener_who_tosses_a_coin_is_rarely_given_a_preference() -> None:
    """At a limit of 5 % at most 5 % of such runs show one; of 400 below 8 %, with 99.5 % probability."""
    toss = np.random.default_rng(7)
    shown = 0
    for seed in range(400):
        run = new_paired_run(IDS[:3], 4, seed=seed)
        while not run.is_done:
            run = run.answer(str(toss.integers(1, 3)))
        shown += run.finished(IDS[:3], "now").probability < 0.05
    assert shown / 400 < 0.08


def test_intervals_hold_what_they_should() -> None:
    """Of runs by a listener of known strengths, about 95 % of the intervals hold the truth."""
    truth = np.array([0.8, 0.2, -0.3, -0.7])
    draw = np.random.default_rng(11)
    held = []
    for _ in range(300):
        wins = np.zeros((4, 4))
        for one, other in itertools.combinations(range(4), 2):
            chance = 1 / (1 + np.exp(truth[other] - truth[one]))
            wins[one, other] = draw.binomial(10, chance)
            wins[other, one] = 10 - wins[one, other]
        strength, error = fitted(wins)
        held.append(np.abs(strength - truth) < 1.96 * error)
    assert 0.92 < np.mean(held) < 0.985


def test_strengths_are_those_a_general_optimiser_finds() -> None:
    wins = np.array([[0, 5, 7, 9], [3, 0, 4, 6], [1, 4, 0, 5], [0, 2, 3, 0]], dtype=float)

    def cost(free: np.ndarray) -> float:
        strength = np.append(free, -free.sum())
        chance = 1 / (1 + np.exp(strength[None, :] - strength[:, None]))
        return -float(((wins + 0.5 * (1 - np.eye(4))) * np.log(chance)).sum())

    best = minimize(cost, np.zeros(3), method="BFGS", tol=1e-10).x
    strength, error = fitted(wins)
    np.testing.assert_allclose(strength, np.append(best, -best.sum()), atol=1e-4)
    assert (error > 0).all()


def test_the_chance_of_a_spread_is_counted_out() -> None:
    """Three things, each pair twice: of 64 outcomes 6 are as decided as 4, 2, 0 choices."""
    pairs = [(0, 1), (0, 2), (1, 2)] * 2
    wins = np.array([[0, 2, 2], [0, 0, 2], [0, 0, 0]], dtype=float)
    assert chance_of_spread(pairs, wins) == 6 / 64
    assert chance_of_spread(pairs, np.array([[0, 1, 1], [1, 0, 1], [1, 1, 0]])) == 1.0


def test_drawn_and_counted_chances_agree() -> None:
    pairs = list(itertools.combinations(range(4), 2)) * 3  # 18 choices: drawn
    wins = np.array([[0, 3, 2, 3], [0, 0, 2, 2], [1, 1, 0, 2], [0, 1, 1, 0]], dtype=float)
    codes = np.arange(2**18)[:, None]
    tosses = (codes >> np.arange(18)) & 1
    both = np.array(pairs)
    chosen = np.where(tosses, both[:, 1], both[:, 0])
    squares = sum((chosen == place).sum(axis=1) ** 2 for place in range(4))
    exact = float((squares >= (wins.sum(axis=1) ** 2).sum()).mean())
    assert chance_of_spread(pairs, wins) == pytest.approx(exact, abs=0.01)
