"""A source that walks so fast that no one place stands out over the whole take."""

from __future__ import annotations

import numpy as np
from tests.support import scenario_sounds as sounds
from tests.support.fake_clips import fake_take
from tests.support.scenarios import REPORTING_SEEDS, scenario

from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions

RATE = 48_000


def test_a_walking_source_is_placed_within_its_way() -> None:
    # A take whose peak over the whole is so smeared that correlation alone proposes nothing.
    take = scenario("movement", 0, REPORTING_SEEDS[0])
    session, clips = fake_take(take.lanes, take.rate_hz)
    found = align(session, clips, AnalysisOptions(anchor=take.anchor)).finding("b")
    truth = take.truth["b"]
    assert found is not None and truth.path is not None
    assert found.arrival_samples is not None
    assert truth.path[0] <= found.arrival_samples <= truth.path[1]
    assert found.polarity == truth.polarity
    assert found.trust_word in ("usable", "weak")


def test_lanes_without_a_common_source_do_not_walk() -> None:
    rng = np.random.default_rng(13)
    lanes = {"one": sounds.broad(18.0, RATE, rng), "other": sounds.broad(18.0, RATE, rng)}
    session, clips = fake_take(lanes, RATE)
    found = align(session, clips, AnalysisOptions(anchor="one")).finding("other")
    assert found is not None
    assert found.arrival_samples is None
