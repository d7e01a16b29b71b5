"""Plans as values, and their file."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis.strategies import floats

from lagline.errors import NotInSession, SessionTooNew, SessionUnreadable
from lagline.session.plan import (
    LATEST,
    Plan,
    PlannedLane,
    free_place,
    load_plan,
    save_plan,
    with_distance,
    with_planned_lane,
    without_planned_lane,
)

PLAN = Plan(
    name="Quartet",
    source_m=(1.0, 2.0, 1.2),
    lanes=(
        PlannedLane("Near", (1.3, 2.4, 1.2)),
        PlannedLane("Hall", distance_m=6.0, level_db=-3.0),
        PlannedLane("Line", latency_ms=2.5, polarity=-1),
    ),
    anchor="Hall",
    temperature_c=17.0,
    humidity_percent=60.0,
)


def test_distances_follow_places_or_what_was_typed() -> None:
    assert PLAN.distance_m(PLAN.lane("near")) == pytest.approx(0.5)
    assert PLAN.distance_m(PLAN.lane("Hall")) == 6.0
    assert PLAN.distance_m(PLAN.lane("Line")) == 0.0
    assert [lane.is_direct_line for lane in PLAN.lanes] == [False, False, True]


def test_save_then_load_gives_an_equal_plan(tmp_path: Path) -> None:
    path = tmp_path / "quartet.lagline-plan"
    save_plan(PLAN, path)
    assert load_plan(path) == PLAN


def test_unknown_keys_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "later.lagline-plan"
    save_plan(PLAN, path)
    path.write_text(path.read_text().replace('"name": "Quartet"', '"name": "Quartet", "stage": [1, 2]'))
    save_plan(load_plan(path), path)
    assert '"stage"' in path.read_text()


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ('"polarity": -1', '"polarity": 0', "polarity"),
        ('"humidity_percent": 60.0', '"humidity_percent": 160.0', "humidity"),
        ('"temperature_c": 17.0', '"temperature_c": 61.0', "degrees"),
        ('"temperature_c": 17.0', '"temperature_c": -61.0', "degrees"),
        ('"anchor": "Hall"', '"anchor": "Attic"', "Attic"),
        ('"name": "Line"', '"name": "hall"', "same name"),
        ('"distance_m": 6.0', '"distance_m": -6.0', "negative"),
        ('"distance_m": 6.0', '"distance_m": 6e9', "farther"),
        ('"rate_hz": 48000', '"rate_hz": 0', "rate"),
        ('"latency_ms": 2.5', '"latency_ms": "long"', "float"),
    ],
)
def test_nonsense_is_refused_with_its_name(tmp_path: Path, old: str, new: str, word: str) -> None:
    path = tmp_path / "bad.lagline-plan"
    save_plan(PLAN, path)
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    with pytest.raises(
        SessionUnreadable, match=rf"bad\.lagline-plan cannot be read as a Lagline plan.*{word}"
    ):
        load_plan(path)


def test_a_plan_of_a_newer_version_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "new.lagline-plan"
    path.write_text('{"schema": "lagline/plan", "version": 99}')
    with pytest.raises(SessionTooNew, match="newer"):
        load_plan(path)


def test_renaming_the_anchor_keeps_it_the_anchor() -> None:
    renamed = with_planned_lane(PLAN, PlannedLane("Nave", distance_m=7.0), "hall")
    assert renamed.anchor == "Nave"
    assert [lane.name for lane in renamed.lanes] == ["Near", "Nave", "Line"]


def test_a_name_is_given_once() -> None:
    with pytest.raises(ValueError, match="name of its own"):
        with_planned_lane(PLAN, PlannedLane("NEAR", distance_m=1.0))
    with pytest.raises(ValueError, match="name of its own"):
        with_planned_lane(PLAN, PlannedLane("near", distance_m=1.0), "Hall")


def test_removing_the_anchor_goes_back_to_the_latest() -> None:
    left = without_planned_lane(PLAN, "HALL")
    assert left.anchor == LATEST
    assert [lane.name for lane in left.lanes] == ["Near", "Line"]
    with pytest.raises(NotInSession):
        without_planned_lane(left, "Hall")


@given(floats(0.01, 500))
def test_a_typed_distance_keeps_the_direction(metres: float) -> None:
    moved = with_distance(PLAN, "Near", metres)
    assert moved.distance_m(moved.lane("Near")) == pytest.approx(metres)
    place = moved.lane("Near").place_m
    assert place is not None
    assert math.atan2(place[1] - 2.0, place[0] - 1.0) == pytest.approx(math.atan2(0.4, 0.3))


def test_a_distance_without_a_place_stays_without_one() -> None:
    moved = with_distance(PLAN, "Hall", 4.5).lane("Hall")
    assert (moved.distance_m, moved.place_m) == (4.5, None)


def test_a_microphone_on_the_source_can_be_moved_off_it() -> None:
    plan = Plan(lanes=(PlannedLane("On", (0.0, 0.0, 1.0)),))
    assert with_distance(plan, "On", 2.0).lane("On").place_m == (0.0, 2.0, 1.0)


@pytest.mark.parametrize("wrong", [{"latency_ms": 1e9}, {"level_db": -500.0}])
def test_a_latency_or_level_of_nowhere_is_refused(tmp_path: Path, wrong: dict[str, float]) -> None:
    path = tmp_path / "x.lagline-plan"
    save_plan(Plan(lanes=(PlannedLane("Near", distance_m=1.0, **wrong),)), path)
    with pytest.raises(SessionUnreadable, match="latency or level"):
        load_plan(path)


@given(floats(-50, 50), floats(-50, 50))
def test_a_free_place_is_near_the_source_and_apart_from_every_other(x: float, y: float) -> None:
    plan = Plan(source_m=(x, y, 1.2), lanes=(PlannedLane("Near", (x + 0.75, y + 1.05, 1.2)),))
    for number in range(12):
        at = free_place(plan)
        others = [plan.source_m, *(lane.place_m for lane in plan.lanes if lane.place_m is not None)]
        assert min(math.dist(at[:2], other[:2]) for other in others) >= 0.39
        assert math.dist(at, plan.source_m) < 5 and at[2] == 1.2
        plan = with_planned_lane(plan, PlannedLane(f"Microphone {number}", at))
