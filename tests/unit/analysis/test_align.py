"""The whole measurement on made-up takes of known truth."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest
from numpy.typing import NDArray
from tests.support.fake_clips import fake_take, shifted

from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions
from lagline.errors import Cancelled, NothingToHear, NotInSession, TooFewLanes
from lagline.session.findings import Alignment

RATE = 48_000


def noise(seconds: float, seed: int) -> NDArray[np.float64]:
    return 0.1 * np.random.default_rng(seed).standard_normal(round(seconds * RATE))


def strokes(seconds: float, seed: int, every_s: float = 0.43) -> NDArray[np.float64]:
    """Decaying bursts of noise at slightly irregular times."""
    rng = np.random.default_rng(seed)
    out = np.zeros(round(seconds * RATE))
    at = 0.2
    while at < seconds - 0.3:
        start = round(at * RATE)
        length = round(0.25 * RATE)
        burst = rng.standard_normal(length) * np.exp(-np.arange(length) / (0.04 * RATE))
        out[start : start + length] += burst * rng.uniform(0.1, 0.4)
        at += every_s * rng.uniform(0.8, 1.2)
    return out


@pytest.mark.parametrize("delay", [0.0, 3.0, -41.37, 207.5, 1200.25])
@pytest.mark.parametrize("make", [noise, strokes])
def test_a_known_delay_is_found(delay: float, make: object) -> None:
    near = make(5.0, 1)  # type: ignore[operator]
    far = -0.5 * shifted(near, delay) + 0.002 * noise(5.0, 2)
    session, clips = fake_take({"near": near, "far": far}, RATE)
    found = align(session, clips, AnalysisOptions(anchor="near")).finding("far")
    assert found is not None
    assert found.arrival_samples == pytest.approx(delay, abs=0.1)
    assert found.polarity == -1
    assert found.trust_word == "strong"
    assert found.proposed_shift_samples == pytest.approx(-delay, abs=0.1)


def test_swapping_the_anchor_changes_only_the_sign() -> None:
    near = strokes(5.0, 3)
    session, clips = fake_take({"a": near, "b": shifted(near, 77.3)}, RATE)
    one = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
    other = align(session, clips, AnalysisOptions(anchor="b")).finding("a")
    assert one is not None and other is not None
    assert one.arrival_samples is not None and other.arrival_samples is not None
    assert one.arrival_samples == pytest.approx(-other.arrival_samples, abs=1e-6)


def test_latest_and_first_choose_the_anchor() -> None:
    near = strokes(5.0, 4)
    session, clips = fake_take({"mid": shifted(near, 60), "near": near, "far": shifted(near, 300)}, RATE)
    assert align(session, clips, AnalysisOptions()).anchor_id == "far"
    assert align(session, clips, AnalysisOptions(anchor="first")).anchor_id == "near"


def test_placement_on_the_timeline_counts() -> None:
    near = strokes(5.0, 5)
    session, clips = fake_take({"a": near, "b": near[4800:]}, RATE, places={"b": 4800 + 24})
    found = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
    assert found is not None and found.arrival_samples == pytest.approx(24.0, abs=0.1)


def test_lanes_that_start_seconds_apart_are_found() -> None:
    near = strokes(14.0, 6)
    session, clips = fake_take({"a": near, "b": -near[round(2.5 * RATE) :]}, RATE)
    found = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
    assert found is not None
    assert found.arrival_samples == pytest.approx(-2.5 * RATE, abs=0.1)
    assert found.polarity == -1


@pytest.mark.parametrize("make", [noise, strokes])
def test_nothing_in_common_proposes_nothing(make: object) -> None:
    lanes = {"a": make(6.0, 10), "b": make(6.0, 11)}  # type: ignore[operator]
    session, clips = fake_take(lanes, RATE)
    found = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
    assert found is not None
    assert found.trust_word == "none"
    assert found.arrival_samples is None and found.polarity is None
    assert found.proposed_shift_samples is None


def test_a_common_hum_is_no_common_source() -> None:
    t = np.arange(6 * RATE) / RATE
    hum = sum(0.05 / k * np.sin(2 * np.pi * 50 * k * t + k) for k in (1, 2, 3, 5))
    session, clips = fake_take({"a": hum + 1e-4 * noise(6, 12), "b": 0.7 * hum + 1e-4 * noise(6, 13)}, RATE)
    found = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
    assert found is not None and found.trust_word == "none"


def test_a_silent_lane_is_said_to_be_silent_and_the_others_are_measured() -> None:
    near = strokes(5.0, 7)
    lanes = {"a": near, "mute": np.zeros(len(near)), "b": shifted(near, 50)}
    session, clips = fake_take(lanes, RATE)
    answer = align(session, clips, AnalysisOptions(anchor="a"))
    mute, b = answer.finding("mute"), answer.finding("b")
    assert mute is not None and mute.trust_word == "none" and "silent" in mute.sentence
    assert b is not None and b.arrival_samples == pytest.approx(50, abs=0.1)
    assert any("mute" in warning for warning in answer.warnings)


def test_every_lane_silent_is_refused() -> None:
    session, clips = fake_take({"a": np.zeros(RATE), "b": np.zeros(RATE)}, RATE)
    with pytest.raises(NothingToHear):
        align(session, clips, AnalysisOptions())


def test_one_lane_is_refused() -> None:
    session, clips = fake_take({"a": noise(1, 1)}, RATE)
    with pytest.raises(TooFewLanes):
        align(session, clips, AnalysisOptions())


def test_an_unknown_anchor_is_refused() -> None:
    session, clips = fake_take({"a": noise(1, 1), "b": noise(1, 1)}, RATE)
    with pytest.raises(NotInSession):
        align(session, clips, AnalysisOptions(anchor="c"))


def test_cancel_stops_it() -> None:
    near = noise(5.0, 1)
    session, clips = fake_take({"a": near, "b": near}, RATE)
    with pytest.raises(Cancelled):
        align(session, clips, AnalysisOptions(), cancelled=lambda: True)


def test_progress_rises_to_one() -> None:
    near = strokes(5.0, 1)
    session, clips = fake_take({"a": near, "b": near}, RATE)
    said: list[float] = []
    align(session, clips, AnalysisOptions(), progress=said.append)
    assert said == sorted(said)
    assert said[-1] == pytest.approx(1.0)


def test_the_answer_survives_storage() -> None:
    near = strokes(5.0, 8)
    session, clips = fake_take({"a": near, "b": shifted(near, 12.5)}, RATE)
    answer = align(session, clips, AnalysisOptions(anchor="a"))
    assert msgspec.json.decode(msgspec.json.encode(answer), type=Alignment) == answer


def test_sentences_name_lanes_and_say_how_far() -> None:
    near = strokes(5.0, 9)
    session, clips = fake_take({"Near": near, "Room": -shifted(near, 140)}, RATE)
    found = align(session, clips, AnalysisOptions(anchor="Near")).finding("Room")
    assert found is not None
    assert "Room hears the source" in found.sentence and "after Near" in found.sentence
    assert "1.0 m" in found.sentence and "inverted" in found.sentence
