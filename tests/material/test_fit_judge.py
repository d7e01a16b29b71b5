"""Fitting the judge: trees learn what is there to learn, and a take's places are marked by its truth."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import msgspec
import numpy as np
import pytest
from tests.benchmarks.estimator import cases
from tests.benchmarks.estimator.boosting import Growth, boosted
from tests.benchmarks.fit_judge import Lane, calibration_error, evened, heard_in, left_out

from lagline.analysis.verdict.judge import Judge


def drawn(rows: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Values, outcomes and the true chances: high where exactly one of two features is positive."""
    rng = np.random.default_rng(seed)
    values = rng.standard_normal((rows, 4))
    chance = np.where((values[:, 0] > 0) ^ (values[:, 1] > 0), 0.9, 0.2)
    return values, rng.random(rows) < chance, chance


def test_chances_of_fresh_rows_come_near_the_true_ones() -> None:
    values, right, _ = drawn(4000, 1)
    trees = boosted(values, right, np.ones(len(right)), Growth(trees=80, columns=1.0), 1)
    judge = msgspec.convert(
        {"fitted_on": "a test", "names": list("abcd"), "even": (1.0, 0.0), **trees}, type=Judge
    )
    fresh, _, chance = drawn(1000, 2)
    assert np.mean(np.abs(judge.chances(fresh) - chance)) < 0.06


def test_fitting_twice_gives_the_same_judge() -> None:
    values, right, _ = drawn(300, 3)
    weight = np.ones(len(right))
    grow = Growth(trees=5)
    assert boosted(values, right, weight, grow, 4) == boosted(values, right, weight, grow, 4)


def the_lane(kind: str, folder: Path) -> Lane:
    (heard,) = heard_in(("easy", kind, "1"), folder)
    lane = heard.lane()
    assert lane is not None
    return lane


@pytest.mark.parametrize(("kind", "match"), [("strokes", True), ("strangers", False)])
def test_places_of_a_take_are_marked_by_its_truth(kind: str, match: bool, tmp_path: Path) -> None:
    lane = the_lane(kind, tmp_path)
    assert lane.match == match
    assert lane.right.sum() == int(match)
    assert lane.values.shape == (len(lane.right), len(lane.names))


def test_sureness_is_evened_to_what_was_right(tmp_path: Path) -> None:
    lane = the_lane("strangers", tmp_path)
    rng = np.random.default_rng(5)
    lanes = []
    for _ in range(2000):
        odds = rng.normal(0, 2)
        right = np.zeros(len(lane.right), bool)
        right[0] = rng.random() < 1 / (1 + np.exp(-(0.5 * odds - 1)))  # said twice too surely, and too high
        lanes.append(dataclasses.replace(lane, right=right, odds=np.r_[odds, np.full(len(right) - 1, -99.0)]))
    assert evened([one.odds for one in lanes], lanes) == pytest.approx((0.5, -1.0), abs=0.15)
    twice = [*(one.odds for one in lanes), *(2 * one.odds for one in lanes)]
    assert 0.2 < evened(twice, lanes)[0] < 0.45  # said more surely still in the second round
    alone = [dataclasses.replace(x, is_sure=False, breadth=1.0, has_joint=False, holds=False) for x in lanes]
    assert calibration_error(alone, (0.5, -1.0)) < 0.05
    assert calibration_error(alone, (1.0, 0.0)) > 0.15


def test_no_lane_is_judged_by_what_was_fitted_on_its_own_part(tmp_path: Path) -> None:
    """Two parts with opposite truths: each is judged as the other taught."""
    lane = the_lane("strokes", tmp_path)
    rng = np.random.default_rng(6)
    lanes = []
    for k in range(60):
        values = rng.standard_normal((20, 1))
        right = (values[:, 0] > 0) == (k % 2 == 0)
        lanes.append(dataclasses.replace(lane, take=str(k % 2), names=["a"], values=values, right=right))
    for one, odds in zip(lanes, left_out(lanes, lambda x: x.take), strict=True):
        assert np.mean((odds > 0) == one.right) < 0.2


def test_demo_takes_ask_a_spot_for_its_own_instrument(tmp_path: Path) -> None:
    """The figures are those of the demo's truth.json, exact by construction of its generator."""
    takes = [cases.make(("demo", "kit", str(k)), tmp_path, tmp_path)["lanes"] for k in range(6)]
    (room,) = (take for take in takes if take[0]["name"] == "room")
    lanes = {lane["name"]: lane["points"] for lane in room}
    assert lanes["kick"] == [pytest.approx(-602.19, abs=0.01)]
    assert lanes["overhead_left"] == [pytest.approx(-358.51, abs=0.01)]
