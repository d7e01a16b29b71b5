"""Spot microphones that hear other instruments loudly: each is placed by its own instrument."""

from __future__ import annotations

import pytest
from tests.support.demo import samples, truth
from tests.support.fake_clips import fake_take
from tests.support.scenarios import TUNING_SEED, scenario

from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions


@pytest.mark.parametrize(("number", "lane"), [(4, "kick_spot"), (9, "hat_spot")])
def test_a_spot_microphone_lies_by_its_own_instrument(number: int, lane: str) -> None:
    # In these two takes the snare's bleed gives the higher peak of the match curve.
    take = scenario("kits", number, TUNING_SEED)
    session, clips = fake_take(take.lanes, take.rate_hz)
    found = align(session, clips, AnalysisOptions(anchor=take.anchor)).finding(lane)
    expected = take.truth[lane]
    assert found is not None
    assert expected.arrivals is not None
    assert found.arrival_samples == pytest.approx(expected.arrivals[0], abs=1.0)
    assert found.polarity == expected.polarity


def test_the_kick_of_the_demo_kit_lies_by_its_own_strokes() -> None:
    # All strokes together put it where the snare's bleed arrives, 160 samples later.
    table = truth("kit")
    lanes = {lane["name"]: samples("kit", lane["name"]) / 32768.0 for lane in table["lanes"]}
    session, clips = fake_take(lanes, table["rate_hz"])
    found = align(session, clips, AnalysisOptions(anchor=table["anchor"])).finding("kick")
    expected = next(lane["arrival_samples"] for lane in table["lanes"] if lane["name"] == "kick")
    assert found is not None
    assert found.arrival_samples == pytest.approx(expected, abs=1.0)


def test_a_weak_answer_that_its_own_pair_disputes_is_as_uncertain_as_the_two_lie_apart() -> None:
    table = truth("kit")
    lanes = {lane["name"]: samples("kit", lane["name"]) / 32768.0 for lane in table["lanes"]}
    session, clips = fake_take(lanes, table["rate_hz"])
    found = align(session, clips, AnalysisOptions(anchor=table["anchor"])).finding("floor_tom")
    assert found is not None and found.arrival_samples is not None and found.uncertainty_samples is not None
    assert found.trust_word == "weak"
    # What the pair would rather say, some 80 samples off, is its first runner-up.
    assert found.uncertainty_samples > 50


@pytest.mark.parametrize("number", [19, 32, 45, 55, 87])
def test_brighter_bleed_does_not_outvote_what_two_lanes_hold_most_of(number: int) -> None:
    # A second source 14 dB or more below the first fills the treble that the first leaves free.
    take = scenario("trouble", number, TUNING_SEED)
    session, clips = fake_take(take.lanes, take.rate_hz)
    found = align(session, clips, AnalysisOptions(anchor=take.anchor)).finding("b")
    expected = take.truth["b"]
    assert found is not None
    assert expected.arrivals is not None
    assert found.arrival_samples == pytest.approx(expected.arrivals[0], abs=1.0)
    assert found.polarity == expected.polarity
