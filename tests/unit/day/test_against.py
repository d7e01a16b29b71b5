"""What differs in a take, and who moved over the day."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.support.day_takes import told, told_day

from lagline.day.against import Held, differences, held_against, late_ms, moved_lanes, moves_over, usual
from lagline.day.values import Day
from lagline.day.words import differs_words, move_words
from lagline.session.setup import Setup, SetupLane
from lagline.session.values import Move

USUALLY = {"near": -196.0, "side": -140.0, "spot": -150.0, "room": 0.0}
ONE_CM = 48_000 / 34_320  # samples, at 20 degrees C: 343.2 m/s


def test_where_the_lanes_usually_are_is_told_by_three_takes() -> None:
    assert usual(told_day([USUALLY] * 2).takes) is None
    setup = usual(told_day([USUALLY, {**USUALLY, "near": -240.0}, USUALLY]).takes)
    assert setup is not None
    shifts = {lane.name: lane.move.shift_samples for lane in setup.lanes}
    reference = shifts["room"]
    assert {name: shift - reference for name, shift in shifts.items()} == {
        n: -at for n, at in USUALLY.items()
    }


def test_a_lane_that_moved_is_named_with_samples_and_centimetres() -> None:
    day = told_day([USUALLY] * 3 + [{**USUALLY, "near": -196.0 + 30 * ONE_CM}])
    held = held_against(day)
    assert held is not None
    assert [differences(take, held) for take in day.takes[:3]] == [(), (), ()]
    (moved,) = differences(day.takes[3], held)
    assert (moved.lane, moved.word) == ("near", "moved")
    assert moved.samples == pytest.approx(30 * ONE_CM) and moved.cm == pytest.approx(30, abs=0.1)
    assert moved_lanes(day.takes[3], held) == {"near"}
    assert differs_words(day.takes[3], (moved,)) == "near moved +42.0 samples, +30 cm"
    assert differs_words(day.takes[0], ()) == "as usual"


def test_where_all_are_off_alike_the_anchor_moved() -> None:
    off = {name: at - 50.0 if name != "room" else 0.0 for name, at in USUALLY.items()}
    day = told_day([USUALLY] * 4 + [off])
    held = held_against(day)
    assert held is not None
    (moved,) = differences(day.takes[4], held)
    assert (moved.lane, moved.samples) == ("room", 50.0)


def test_foreign_missing_and_new_lanes_are_told() -> None:
    setup = Setup("s", 48_000, tuple(SetupLane(name, Move(-at)) for name, at in USUALLY.items()), "room")
    take = told("x", {"near": None, "side": -140.0, "guest": -10.0, "room": 0.0})
    assert {(one.lane, one.word) for one in differences(take, Held(setup))} == {
        ("near", "not found"), ("guest", "not in the setup"), ("spot", "missing"),
    }  # fmt: skip


def test_a_setup_of_another_rate_says_the_same() -> None:
    setup = Setup("s", 96_000, tuple(SetupLane(name, Move(-2 * at)) for name, at in USUALLY.items()), "room")
    assert differences(told("x", USUALLY), Held(setup)) == ()


def test_each_move_of_the_day_is_told_once_with_its_takes() -> None:
    """There and back is two moves; what a lane does not do is not told."""
    arrivals = [dict(USUALLY) for _ in range(12)]
    for number in range(5, 12):
        arrivals[number]["side"] += 25 * ONE_CM
    arrivals[7]["near"] -= 40 * ONE_CM
    day = told_day(arrivals)
    held = held_against(day)
    assert held is not None
    told_moves = [move_words(move) for move in moves_over(day.takes, held)]
    assert told_moves == [
        "side moved 25 cm away between Take 5 and Take 6",
        "near moved 40 cm nearer between Take 7 and Take 8",
        "near moved 40 cm away between Take 8 and Take 9",
    ]


@given(st.lists(st.floats(-2.0, 2.0), min_size=3, max_size=20))
def test_a_performer_who_sways_by_less_than_is_told_moves_nobody(sway: list[float]) -> None:
    day = told_day([{**USUALLY, "near": -196.0 + off} for off in sway])
    held = held_against(day)
    assert held is not None and moves_over(day.takes, held) == ()


def test_arrivals_for_the_chart_count_from_the_setups_anchor() -> None:
    setup = Setup("s", 48_000, tuple(SetupLane(name, Move(-at)) for name, at in USUALLY.items()), "near")
    late = late_ms(told("x", USUALLY), Held(setup))
    assert late["room"] == pytest.approx(196 / 48) and late["near"] == 0.0


def test_a_weak_finding_counts_where_other_takes_bear_it_out() -> None:
    """A lane that is only weakly found, but ten times at one place and ten times at another, moved; one that
    is found somewhere else just once may have."""
    takes = []
    for number in range(20):
        at = -140.0 if number < 10 else -95.0
        take = told(f"Take {number}", {**USUALLY, "side": 300.0 if number == 4 else at})
        assert take.facts is not None
        lanes = tuple(
            replace(one, trust_word="weak") if one.name == "side" else one for one in take.facts.lanes
        )
        takes.append(replace(take, facts=replace(take.facts, lanes=lanes)))
    day = Day("day", tuple(takes))
    held = held_against(day)
    assert held is not None
    assert [one.word for one in differences(takes[4], held)] == ["unsure"]
    (move,) = moves_over(takes, held)
    assert (move.lane, move.before, move.after) == ("side", "Take 9", "Take 10")
    assert "side" in late_ms(takes[12], held) and "side" not in late_ms(takes[4], held)


def test_chance_bears_nothing_out_on_a_long_day() -> None:
    """Weak findings within 30 ms either way, in 400 takes: many lie together, and none is trusted."""
    anywhere = np.random.default_rng(7).uniform(-1440.0, 1440.0, 400)
    takes = []
    for number, at in enumerate(anywhere):
        take = told(f"Take {number}", {**USUALLY, "side": float(at)})
        assert take.facts is not None
        lanes = tuple(
            replace(one, trust_word="weak") if one.name == "side" else one for one in take.facts.lanes
        )
        takes.append(replace(take, facts=replace(take.facts, lanes=lanes)))
    held = held_against(Day("day", tuple(takes)))
    assert held is not None and moves_over(takes, held) == ()
    assert not [name for name, lane in held.repeated if lane == "side"]


def test_a_foreign_lane_agrees_with_nothing_however_uncertain_it_is() -> None:
    take = told("Take 9", {**USUALLY, "near": 20.0})
    assert take.facts is not None
    lanes = tuple(
        replace(lane, trust_word="weak", uncertainty_samples=108.0) if lane.name == "near" else lane
        for lane in take.facts.lanes
    )
    day = Day("day", (*told_day([USUALLY] * 5).takes, replace(take, facts=replace(take.facts, lanes=lanes))))
    held = held_against(day)
    assert held is not None
    assert [(one.lane, one.word) for one in differences(day.takes[-1], held)] == [("near", "unsure")]


def test_two_lanes_the_wrong_way_round_are_swapped_not_moved() -> None:
    day = told_day([USUALLY] * 4 + [{**USUALLY, "near": USUALLY["side"], "side": USUALLY["near"]}])
    held = held_against(day)
    assert held is not None
    found = differences(day.takes[4], held)
    assert [(one.lane, one.word, one.other) for one in found] == [
        ("near", "swapped", "side"), ("side", "swapped", "near"),
    ]  # fmt: skip
    assert differs_words(day.takes[4], found) == "near and side are swapped"


def test_a_lane_that_holds_an_earlier_takes_recording_is_named() -> None:
    takes = []
    for number in range(1, 6):
        take = told(f"Take {number}", {**USUALLY, "near": -400.0 if number == 5 else -196.0})
        assert take.facts is not None
        lanes = tuple(
            replace(lane, fingerprint=f"{lane.name} {2 if lane.name == 'near' and number == 5 else number}")
            for lane in take.facts.lanes
        )
        takes.append(replace(take, facts=replace(take.facts, lanes=lanes)))
    held = held_against(Day("day", tuple(takes)))
    assert held is not None
    assert [differs_words(take, differences(take, held)) for take in takes] == [
        *["as usual"] * 4, "near is the recording of Take 2",
    ]  # fmt: skip


@given(st.lists(st.tuples(*[st.floats(-1.1, 1.1)] * 4), min_size=3, max_size=8))
def test_clean_days_have_neither_swapped_nor_copied_lanes(sway: list[tuple[float, ...]]) -> None:
    """Close lanes whose places cross over as players sway are not called swapped."""
    close = {"near": -196.0, "side": -195.0, "spot": -150.0, "room": 0.0}
    day = told_day([{n: at + off for (n, at), off in zip(close.items(), one, strict=True)} for one in sway])
    held = held_against(day)
    assert held is not None
    assert [one for take in day.takes for one in differences(take, held)] == []
