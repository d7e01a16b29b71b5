"""A source that walks so fast that no one place stands out over the whole take."""

from __future__ import annotations

import numpy as np
from tests.support import scenario_sounds as sounds
from tests.support.fake_clips import fake_take

from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions

RATE = 48_000


def test_a_walking_source_is_placed_within_its_way() -> None:
    rng = np.random.default_rng(12)
    dry = sounds.broad(18.0, RATE, rng)
    way = 60 + 50 * np.sin(2 * np.pi * 1.3 * np.arange(len(dry)) / len(dry))
    moved = -sounds.warped(dry, np.arange(len(dry)) - way)
    lanes = {"still": dry, "walks": moved + 0.002 * rng.standard_normal(len(dry))}
    session, clips = fake_take(lanes, RATE)
    found = align(session, clips, AnalysisOptions(anchor="still")).finding("walks")
    assert found is not None
    assert found.arrival_samples is not None
    assert way.min() <= found.arrival_samples <= way.max()
    assert found.polarity == -1
    assert found.trust_word in ("usable", "weak")
    assert found.movement_ms > 0.5


def test_lanes_without_a_common_source_do_not_walk() -> None:
    rng = np.random.default_rng(13)
    lanes = {"one": sounds.broad(18.0, RATE, rng), "other": sounds.broad(18.0, RATE, rng)}
    session, clips = fake_take(lanes, RATE)
    found = align(session, clips, AnalysisOptions(anchor="one")).finding("other")
    assert found is not None
    assert found.arrival_samples is None
