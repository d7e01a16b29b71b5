"""Drift, movement, rhythm: what happens over time."""

from __future__ import annotations

import numpy as np
import pytest
from tests.support.fake_clips import fake_take
from tests.support.scenario_sounds import broad, warped
from tests.support.scenarios import TUNING_SEED, scenario

from lagline.analysis import trust
from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions
from lagline.analysis.peaks import Peak
from lagline.analysis.rhythm import timing_evidence, unevenness
from lagline.analysis.tracks import Track, best_line, drifts, movement, wander

RATE = 48_000


def seen(lags: np.ndarray, times: np.ndarray) -> Track:
    return Track(
        time=times, peaks=tuple((Peak(float(lag), 1, 0.8),) for lag in lags), weight=np.ones(len(times))
    )


def test_a_line_is_found_among_strays() -> None:
    rng = np.random.default_rng(1)
    times = np.arange(40) * RATE / 2.0
    lags = 12.0 + 30e-6 * times + rng.normal(0, 0.3, 40)
    lags[::4] = rng.uniform(-2000, 2000, 10)
    line = best_line(seen(lags, times), tolerance=8.0)
    assert line is not None
    assert 1e6 * line.slope == pytest.approx(30, abs=1)
    assert line.start == pytest.approx(12, abs=0.5)
    assert drifts(line, 40)


def test_standing_still_is_no_drift() -> None:
    rng = np.random.default_rng(2)
    times = np.arange(40) * RATE / 2.0
    assert not drifts(best_line(seen(5 + rng.normal(0, 0.3, 40), times), tolerance=8.0), 40)


def test_a_walk_is_no_drift_but_movement() -> None:
    times = np.arange(40) * RATE / 2.0
    lags = 40 * np.sin(np.arange(40) / 6)
    assert not drifts(best_line(seen(lags, times), tolerance=8.0), 40)
    assert wander(times, lags, np.ones(40)) == pytest.approx(80, abs=4)


@pytest.mark.parametrize("ppm", [-60.0, 20.0])
def test_two_clocks_are_measured(ppm: float) -> None:
    rng = np.random.default_rng(3)
    dry = broad(16.0, RATE, rng)
    late = warped(dry, (np.arange(len(dry)) - 200.0) / (1 + ppm * 1e-6))
    session, clips = fake_take({"a": dry, "b": late}, RATE)
    found = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
    assert found is not None and found.arrival_samples is not None
    assert found.drift_ppm == pytest.approx(ppm, abs=0.5)
    assert found.arrival_samples == pytest.approx(200.0, abs=0.5)
    assert "clock" in found.sentence


def test_an_even_beat_is_no_evidence_and_human_timing_is() -> None:
    rng = np.random.default_rng(4)
    beat = np.arange(8) * 0.5 * RATE
    human = beat + rng.normal(0, 0.01 * RATE, 8)
    differences = 40 + rng.normal(0, 1.0, 8)
    assert unevenness(beat + rng.normal(0, 2, 8), RATE) < 6
    assert timing_evidence(beat + rng.normal(0, 1, 8), differences, RATE) < 3
    assert timing_evidence(human, differences, RATE) > 8


def test_an_answer_that_hardly_any_stretch_gives_is_weak() -> None:
    sure = trust.Verdict(trust=0.95, word="strong", polarity_trust=0.9)
    assert trust.doubted(sure, agreeing=1, used=50).word == "weak"
    assert trust.doubted(sure, agreeing=10, used=50) == sure
    assert trust.doubted(sure, agreeing=0, used=3) == sure


def test_a_reflection_that_is_now_and_then_the_louder_is_no_movement() -> None:
    direct, echo = Peak(10.0, 1, 0.7), Peak(143.0, 1, 0.8)
    seen = Track(
        time=np.arange(6.0) * 48_000,
        peaks=tuple((echo, direct) if i % 2 else (direct, echo) for i in range(6)),
        weight=np.ones(6),
    )
    _, lags, _ = movement(seen, 1, about=np.full(len(seen.time), 10.2))
    np.testing.assert_array_equal(lags, np.full(6, 10.0))


def test_a_step_stays_a_step() -> None:
    places = (10.0, 10.0, 10.0, 52.0, 52.0, 52.0)
    seen = Track(
        time=np.arange(6.0) * 48_000,
        peaks=tuple((Peak(at, 1, 0.9), Peak(at + 40.0, 1, 0.3)) for at in places),
        weight=np.ones(6),
    )
    _, lags, _ = movement(seen, 1, about=np.full(len(seen.time), 10.0))
    np.testing.assert_array_equal(lags, places)


def test_strokes_of_two_instruments_in_turn_are_no_walk() -> None:
    times = np.arange(40) * RATE / 2.0
    one, other = -160.0, -84.0
    lags = np.where(np.arange(40) % 5 < 3, one, other) + np.random.default_rng(6).normal(0, 0.02, 40)
    assert wander(times, lags, np.ones(40)) == 0.0


def test_a_source_that_steps_is_followed_to_its_new_place() -> None:
    rng = np.random.default_rng(7)
    dry = broad(16.0, RATE, rng)
    at = np.arange(len(dry))
    place = np.where(at < len(dry) * 0.45, 120.0, 158.0)
    session, clips = fake_take({"a": dry, "b": warped(dry, at - place)}, RATE)
    found = align(session, clips, AnalysisOptions(anchor="a")).finding("b")
    assert found is not None
    assert found.movement_ms == pytest.approx(38 / 48, abs=0.05)
    times = np.array(found.evidence.window_time_s)
    seen_at = np.array(found.evidence.window_arrival_samples)
    np.testing.assert_allclose(seen_at[times < 6.5], 120.0, atol=1.0)
    np.testing.assert_allclose(seen_at[times > 8.0], 158.0, atol=1.0)


@pytest.mark.parametrize("number", [31, 115])  # in the second the lane that sounds most is the moving one
def test_a_source_that_walks_evenly_for_a_while_has_no_clock_of_its_own(number: int) -> None:
    take = scenario("movement", number, TUNING_SEED)
    session, clips = fake_take(take.lanes, take.rate_hz)
    found = align(session, clips, AnalysisOptions(anchor=take.anchor)).finding("b")
    assert found is not None and found.arrival_samples is not None
    assert found.drift_ppm == 0.0
    path = take.truth["b"].path
    assert path is not None
    assert path[0] - 1 <= found.arrival_samples <= path[1] + 1
    assert found.movement_ms == pytest.approx((path[1] - path[0]) / 48, abs=0.1)


@pytest.mark.parametrize("odd", [0, 7, 17])
def test_one_stretch_that_is_off_is_no_walk(odd: int) -> None:
    lags = 0.5 + np.random.default_rng(8).normal(0, 0.1, 18)
    lags[odd] = -636.0
    assert wander(np.arange(18) * 48_000.0, lags, np.ones(18)) == 0.0
