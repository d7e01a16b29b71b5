"""What a plan predicts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis.strategies import floats, integers, lists, sampled_from
from msgspec.structs import replace
from tests.support.sessions import session as some_session

from lagline.errors import NotInSession
from lagline.jobs.plan import (
    arrivals,
    blend_db,
    blend_dips,
    moves_for_notch,
    pairs,
    setup_of_plan,
    speed_m_s,
)
from lagline.session.plan import COLDEST_C, WARMEST_C, Plan, PlannedLane, problem, with_distance
from lagline.session.setup import applied, matched_lanes

NEAR_AND_FAR = Plan(
    lanes=(
        PlannedLane("near", distance_m=0.5),
        PlannedLane("far", distance_m=6.0, polarity=-1),
        PlannedLane("line", latency_ms=4.0),
    )
)


def test_arrivals_are_against_the_lane_that_hears_last() -> None:
    near, far, line = arrivals(NEAR_AND_FAR)
    metres_per_sample = speed_m_s(NEAR_AND_FAR) / 48_000
    assert far.arrival_samples == 0.0
    assert near.arrival_samples == pytest.approx(-5.5 / metres_per_sample)
    assert near.arrival_m == pytest.approx(-5.5)
    assert line.heard_ms == 4.0
    assert line.arrival_samples == pytest.approx(192 - 6.0 / metres_per_sample)
    assert far.distance_level_db == pytest.approx(-20 * math.log10(12))


@pytest.mark.parametrize("celsius", [COLDEST_C, WARMEST_C])
def test_every_temperature_that_a_plan_may_have_has_a_speed_of_sound(celsius: float) -> None:
    plan = replace(NEAR_AND_FAR, temperature_c=celsius)
    assert problem(plan) is None
    assert arrivals(plan)
    assert problem(replace(plan, temperature_c=celsius * 1.001)) is not None


def test_a_long_latency_makes_the_direct_line_the_latest() -> None:
    late = replace(NEAR_AND_FAR, lanes=(*NEAR_AND_FAR.lanes[:2], PlannedLane("line", latency_ms=40.0)))
    assert [row.arrival_samples for row in arrivals(late) if row.name == "line"] == [0.0]


def test_any_lane_can_be_the_anchor() -> None:
    rows = arrivals(replace(NEAR_AND_FAR, anchor="NEAR"))
    assert [row.name for row in rows if row.arrival_samples == 0.0] == ["near"]
    assert rows[1].arrival_samples > 0
    with pytest.raises(NotInSession):
        arrivals(replace(NEAR_AND_FAR, anchor="nowhere"))


def test_an_empty_plan_predicts_nothing() -> None:
    assert arrivals(Plan()) == pairs(Plan()) == blend_dips(Plan()) == ()
    assert blend_db(Plan(), [100.0]).tolist() == [0.0]


def test_the_three_to_one_rule_and_what_it_leaves() -> None:
    plan = Plan(lanes=(PlannedLane("a", distance_m=0.4), PlannedLane("b", distance_m=1.2)))
    (pair,) = pairs(plan)
    assert pair.keeps_rule
    assert pair.distance_ratio == pytest.approx(3.0)
    assert pair.rule_notch_db == pytest.approx(-3.52, abs=0.01)
    assert pair.rule_peak_db == pytest.approx(2.50, abs=0.01)
    assert pair.rule_ripple_db == pytest.approx(6.02, abs=0.01)
    assert not pairs(with_distance(plan, "b", 1.19))[0].keeps_rule
    assert pairs(NEAR_AND_FAR)[1].keeps_rule is None, "a direct line has no distance"


def test_pairs_know_their_sign_and_polarity() -> None:
    first = pairs(NEAR_AND_FAR)[0]
    assert (first.a, first.b) == ("near", "far")
    assert first.delay_samples > 0
    assert first.comb.polarity == -1
    assert first.comb.peaks_hz[0] == pytest.approx(0.5 / (first.delay_ms / 1000), rel=1e-9)


@given(
    lists(floats(0.05, 12), min_size=2, max_size=5, unique=True),
    sampled_from([1, -1]),
    floats(-5, 35),
    integers(8000, 192_000),
)
def test_any_two_arrivals_differ_by_the_pair(
    ways: list[float], sign: int, temperature_c: float, rate_hz: int
) -> None:
    lanes = tuple(PlannedLane(f"m{n}", distance_m=way, polarity=sign**n) for n, way in enumerate(ways))
    plan = Plan(lanes=lanes, temperature_c=temperature_c, rate_hz=rate_hz)
    heard = {row.name: row.arrival_samples for row in arrivals(plan)}
    assert max(heard.values()) == 0.0
    for pair in pairs(plan):
        assert heard[pair.b] - heard[pair.a] == pytest.approx(pair.delay_samples, abs=1e-6)


@given(floats(0.1, 4), floats(0.1, 4), floats(-24, 0), sampled_from([1, -1]))
def test_the_blend_of_two_is_their_comb(a_m: float, b_m: float, level_db: float, sign: int) -> None:
    assume(abs(a_m - b_m) > 0.05)
    plan = Plan(
        lanes=(
            PlannedLane("a", distance_m=a_m),
            PlannedLane("b", distance_m=b_m, level_db=level_db, polarity=sign),
        )
    )
    comb = pairs(plan)[0].comb
    for place in comb.peaks_hz[:5]:
        assert blend_db(plan, [place])[0] == pytest.approx(comb.peak_db, abs=1e-6)
    for place in comb.notches_hz[:5]:
        expected = max(comb.notch_db, -100)
        assert max(blend_db(plan, [place])[0], -100) == pytest.approx(expected, abs=1e-3)


def test_the_dips_of_two_equal_lanes_are_their_notches() -> None:
    plan = Plan(lanes=(PlannedLane("a", distance_m=1.0), PlannedLane("b", distance_m=1.4)))
    notches = pairs(plan)[0].comb.notches_hz
    found = blend_dips(plan)
    assert len(found) == len(notches)
    np.testing.assert_allclose([dip.frequency_hz for dip in found], notches, rtol=1e-4)
    assert all(dip.level_db < -40 for dip in found)


def test_a_quiet_second_lane_leaves_no_dip_to_list() -> None:
    lanes = (PlannedLane("a", distance_m=1.0), PlannedLane("b", distance_m=1.4, level_db=-20.0))
    assert blend_dips(Plan(lanes=lanes)) == ()
    assert blend_dips(Plan(lanes=lanes), deeper_than_db=-0.5)


@given(floats(0.2, 8), floats(0.2, 8), floats(60, 8000), integers(1, 3), sampled_from([1, -1]))
def test_a_moved_microphone_puts_the_notch_where_it_was_wanted(
    a_m: float, b_m: float, wanted_hz: float, notch: int, sign: int
) -> None:
    plan = Plan(
        lanes=(
            PlannedLane("a", distance_m=a_m),
            PlannedLane("b", distance_m=b_m, latency_ms=0.3, polarity=sign),
        )
    )
    answers = moves_for_notch(plan, "b", "a", wanted_hz, notch)
    assert answers, "away from the source there is always one"
    assert abs(answers[0].by_m) <= abs(answers[-1].by_m)
    for answer in answers:
        moved = with_distance(plan, "b", b_m + answer.by_m)
        notches = pairs(moved)[0].comb.notches_hz
        assert min(abs(place / wanted_hz - 1) for place in notches) < 1e-6
        assert answer.distance_m == pytest.approx(b_m + answer.by_m)


def test_a_direct_line_cannot_be_moved_and_nonsense_is_refused() -> None:
    assert moves_for_notch(NEAR_AND_FAR, "line", "near", 400.0) == ()
    with pytest.raises(ValueError, match="above 0 Hz"):
        moves_for_notch(NEAR_AND_FAR, "far", "near", 0.0)
    with pytest.raises(NotInSession):
        moves_for_notch(NEAR_AND_FAR, "far", "nobody", 100.0)


def test_the_setup_of_a_plan_lines_up_a_take_of_its_lanes() -> None:
    take = some_session("near", "far", "line")
    setup = setup_of_plan(NEAR_AND_FAR)
    shifted = applied(setup, take, matched_lanes(setup, take))
    rows = {row.name.capitalize(): row for row in arrivals(NEAR_AND_FAR)}
    for lane in take.lanes:
        move = shifted.current_version.move(lane.id)
        assert rows[lane.name].arrival_samples + move.shift_samples == pytest.approx(0.0)
        assert move.polarity == (-1 if lane.name == "Far" else 1)
    assert setup.anchor == "far"
