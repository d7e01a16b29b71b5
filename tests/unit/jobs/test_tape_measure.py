"""The tape measure against the sound: each reason for a difference is told apart."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace

from lagline.jobs.plan import arrivals
from lagline.jobs.tape_measure import Comparison, tape_against_sound
from lagline.session.findings import Alignment, Finding
from lagline.session.plan import Plan, PlannedLane
from lagline.session.values import Lane, Session, Source

PLAN = Plan(
    lanes=(
        PlannedLane("near", distance_m=0.5),
        PlannedLane("side", distance_m=2.0),
        PlannedLane("far", distance_m=6.0),
        PlannedLane("line", latency_ms=2.0),
    )
)


def measured(
    plan: Plan, off: dict[str, float | None] | None = None, flipped: tuple[str, ...] = (), anchor: str = "far"
) -> tuple[Session, Alignment]:
    """A take whose findings are the plan's arrivals, some of them `off` by samples (None: not found)."""
    lanes = tuple(
        Lane(f"id-{x.name}", x.name.upper(), Source(Path(f"/t/{x.name}.wav"), 0, 48_000, 9, 9))
        for x in plan.lanes
    )
    rows = arrivals(replace(plan, anchor=anchor))
    findings = []
    for row in rows:
        gap = (off or {}).get(row.name, 0.0)
        arrival = None if gap is None else row.arrival_samples + gap
        sign = None if arrival is None else -1 if row.name in flipped else 1
        word = "none" if arrival is None else "strong"
        findings.append(Finding(f"id-{row.name}", arrival, 0.1, sign, 0.9, word, ""))
    return Session(48_000, lanes), Alignment(f"id-{anchor}", 48_000, tuple(findings))


def compared(plan: Plan, *take: object) -> dict[str, Comparison]:
    return {row.name: row for row in tape_against_sound(plan, *take)}  # type: ignore[arg-type]


def test_sound_as_taped_agrees() -> None:
    rows = compared(PLAN, *measured(PLAN, {"near": 3.0}))
    assert {row.cause for row in rows.values()} == {"agrees"}
    assert rows["near"].difference_samples == pytest.approx(3.0)
    assert rows["far"].tolerance_samples < 1.0


def test_a_block_of_latency_is_named() -> None:
    row = compared(PLAN, *measured(PLAN, {"line": 256.8}))["line"]
    assert row.cause == "latency"
    assert "256 samples" in row.sentence
    assert "later" in row.sentence


def test_an_earlier_lane_is_no_latency() -> None:
    row = compared(PLAN, *measured(PLAN, {"line": -256.0}))["line"]
    assert row.cause == "unexplained"
    assert "earlier" in row.sentence


def test_swapped_lanes_are_named_both_ways() -> None:
    gap = next(row.arrival_samples for row in arrivals(replace(PLAN, anchor="near")) if row.name == "side")
    rows = compared(PLAN, *measured(PLAN, {"near": gap, "side": -gap}))
    assert rows["near"].cause == rows["side"].cause == "wrong lane"
    assert "side" in rows["near"].sentence
    assert rows["line"].cause == "agrees"


def test_feet_for_metres_are_named() -> None:
    truth = replace(
        PLAN,
        lanes=tuple(
            x if x.is_direct_line else replace(x, distance_m=0.3048 * (x.distance_m or 0)) for x in PLAN.lanes
        ),
    )
    rows = compared(replace(PLAN, lanes=PLAN.lanes[:3]), *measured(replace(truth, lanes=truth.lanes[:3])))
    assert rows["near"].cause == rows["side"].cause == "units"
    assert "feet" in rows["near"].sentence


def test_another_temperature_is_named() -> None:
    cold = replace(PLAN, lanes=(*PLAN.lanes[:2], PlannedLane("far", distance_m=30.0)), temperature_c=33.0)
    rows = compared(cold, *measured(replace(cold, temperature_c=3.0)))
    assert rows["near"].cause == "temperature"
    assert "check the temperature" in rows["near"].sentence


def test_an_inverted_lane_is_told_whatever_else_holds() -> None:
    rows = compared(PLAN, *measured(PLAN, {"line": 256.0}, flipped=("near", "line")))
    assert rows["near"].is_flipped
    assert rows["near"].cause == "agrees"
    assert rows["line"].is_flipped
    assert not rows["side"].is_flipped
    planned = replace(
        PLAN, lanes=tuple(replace(x, polarity=-1 if x.name == "near" else 1) for x in PLAN.lanes)
    )
    assert not compared(planned, *measured(PLAN, flipped=("near",)))["near"].is_flipped


def test_what_was_not_found_is_said() -> None:
    row = compared(PLAN, *measured(PLAN, {"side": None}))["side"]
    assert (row.cause, row.found_samples, row.difference_samples) == ("not measured", None, None)


def test_an_anchor_the_plan_does_not_know_is_stepped_over() -> None:
    session, alignment = measured(PLAN, {"line": 64.0})
    known = replace(PLAN, lanes=tuple(x for x in PLAN.lanes if x.name != "far"))
    rows = compared(known, session, alignment)
    assert set(rows) == {"near", "side", "line"}
    assert rows["side"].cause == "agrees"
    assert rows["line"].cause == "latency"


def test_nothing_in_common_gives_no_rows() -> None:
    session, alignment = measured(PLAN)
    assert tape_against_sound(Plan(lanes=(PlannedLane("other", distance_m=1.0),)), session, alignment) == ()
