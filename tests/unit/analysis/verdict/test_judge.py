"""The judge: trees as plain data, answered as they are written down."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest
from tests.support.fake_clips import fake_take, shifted

from lagline.analysis.align import measure_take
from lagline.analysis.options import AnalysisOptions
from lagline.analysis.verdict.features import features, places
from lagline.analysis.verdict.judge import Judge, Tree, the_judge
from lagline.analysis.verdict.lane_case import case_of, joint, settled
from lagline.analysis.verdict.witnesses import listen

RATE = 48_000
STEP = Tree(feature=(0, 1, 1), cut=(0.5, -1.0, 2.0), leaf=(-3.0, -1.0, 1.0, 4.0))


def judge(*trees: Tree, even: tuple[float, float] = (1.0, 0.0)) -> Judge:
    return Judge(fitted_on="a test", names=("a", "b"), start=0.25, even=even, trees=trees)


@pytest.mark.parametrize(
    ("values", "leaf"), [((0.4, -2.0), -3.0), ((0.5, 0.0), -1.0), ((0.6, 2.0), 1.0), ((9.0, 2.1), 4.0)]
)
def test_a_tree_is_walked_question_by_question(values: tuple[float, float], leaf: float) -> None:
    assert judge(STEP).log_odds(np.array([values])) == pytest.approx(0.25 + leaf)


def test_trees_add_up_and_chances_are_evened() -> None:
    odds = 0.25 + 4.0 - 1.0
    values = np.array([[1.0, 3.0]])
    other = Tree(feature=(1,), cut=(5.0,), leaf=(-1.0, 7.0))
    assert judge(STEP, other).log_odds(values) == pytest.approx(odds)
    chance = judge(STEP, other, even=(0.5, -1.0)).chances(values)
    assert chance == pytest.approx(1 / (1 + np.exp(-(0.5 * odds - 1.0))))


def test_the_shipped_judge_was_fitted_on_the_features_that_it_is_given() -> None:
    rng = np.random.default_rng(1)
    near = 0.1 * rng.standard_normal(2 * RATE)
    session, clips = fake_take({"near": near, "far": shifted(near, 40.0)}, RATE)
    options = AnalysisOptions(anchor="near")
    measured = measure_take(session, clips, options, progress=lambda _: None, cancelled=lambda: False)
    one = joint(measured, 0, 1)
    stretch = listen(measured.lanes, measured.cuts, measured.passage)
    case = case_of(measured, stretch, 0, one, settled(measured, 0, one))
    names, values = features(case, places(case))
    assert tuple(names) == the_judge().names
    assert np.isfinite(values).all()


def test_the_shipped_judge_asks_of_features_that_there_are() -> None:
    shipped = the_judge()
    assert all(0 <= k < len(shipped.names) for tree in shipped.trees for k in tree.feature)
    assert all(len(tree.leaf) == len(tree.cut) + 1 == len(tree.feature) + 1 for tree in shipped.trees)
    assert msgspec.json.decode(msgspec.json.encode(shipped), type=Judge) == shipped
