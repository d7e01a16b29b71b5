"""A plan's predictions in a terminal and as JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from lagline.cli.tables import number, print_line, print_table
from lagline.jobs.plan import (
    CANCELS_DB,
    NotchMove,
    PlannedPair,
    anchor_of,
    arrivals,
    blend_dips,
    pairs,
    speed_m_s,
)
from lagline.jobs.tape_measure import Comparison
from lagline.session.plan import Plan

if TYPE_CHECKING:
    from lagline.cli.documents import PlanDocument, PlannedArrival, PlannedPairDocument

Moves = Sequence[tuple[tuple[str, str, float], tuple[NotchMove, ...]]]
SHOWN = 6  # notches of a pair and dips of the blend in the terminal; JSON holds more
LISTED = 50


def document(plan: Plan, moves: Moves, comparisons: Sequence[Comparison] | None) -> PlanDocument:
    """The JSON document. A level of null is minus infinity: the lanes cancel wholly there."""
    anchor = anchor_of(plan)
    found: PlanDocument = {
        "schema": "lagline/plan-report/1",
        "name": plan.name,
        "rate_hz": plan.rate_hz,
        "temperature_c": plan.temperature_c,
        "humidity_percent": plan.humidity_percent,
        "speed_m_s": speed_m_s(plan),
        "anchor": None if anchor is None else anchor.name,
        "lanes": _lanes(plan),
        "pairs": _pairs(plan),
        "blend_dips": [
            {"frequency_hz": dip.frequency_hz, "level_db": _finite(dip.level_db)}
            for dip in blend_dips(plan)[:LISTED]
        ],
    }
    if moves:
        found["notch_moves"] = [
            {
                "name": name,
                "other": other,
                "wanted_hz": hz,
                "ways": [{"by_m": way.by_m, "distance_m": way.distance_m} for way in ways],
            }
            for (name, other, hz), ways in moves
        ]
    if comparisons is not None:
        found["tape_against_sound"] = comparisons
    return found


def _lanes(plan: Plan) -> list[PlannedArrival]:
    return [
        {
            "name": row.name,
            "direct_line": lane.is_direct_line,
            "distance_m": row.distance_m,
            "latency_ms": lane.latency_ms,
            "level_db": lane.level_db,
            "polarity": lane.polarity,
            "heard_ms": row.heard_ms,
            "arrival_samples": row.arrival_samples,
            "arrival_ms": row.arrival_ms,
            "arrival_m": row.arrival_m,
            "distance_level_db": row.distance_level_db,
        }
        for row, lane in zip(arrivals(plan), plan.lanes, strict=True)
    ]


def _pairs(plan: Plan) -> list[PlannedPairDocument]:
    return [
        {
            "a": pair.a,
            "b": pair.b,
            "delay_samples": pair.delay_samples,
            "delay_ms": pair.delay_ms,
            "notches_hz": pair.comb.notches_hz[:LISTED],
            "peaks_hz": pair.comb.peaks_hz[:LISTED],
            "notch_db": _finite(pair.comb.notch_db),
            "peak_db": pair.comb.peak_db,
            "distance_ratio": pair.distance_ratio,
            "keeps_3_to_1": pair.keeps_rule,
            "ripple_by_distance_db": None if pair.rule_ripple_db is None else _finite(pair.rule_ripple_db),
        }
        for pair in pairs(plan)
    ]


def show(plan: Plan, moves: Moves, comparisons: Sequence[Comparison] | None) -> None:
    """The same as tables on stdout."""
    anchor = anchor_of(plan)
    print_table(
        f"{plan.name}: {plan.temperature_c:g} degrees C, {plan.humidity_percent:g} % humidity, "
        f"{speed_m_s(plan):.2f} m/s, {plan.rate_hz} Hz",
        ("lane", "distance, m", "heard after, ms", "later by, samples", "ms", "cm", "by distance, dB"),
        [
            (
                row.name + (" (anchor)" if anchor is not None and row.name == anchor.name else ""),
                "line" if lane.is_direct_line else f"{row.distance_m:.3f}",
                f"{row.heard_ms:.3f}",
                number(row.arrival_samples),
                number(row.arrival_ms, 3),
                number(100 * row.arrival_m, 1),
                "-" if lane.is_direct_line else number(row.distance_level_db, 1),
            )
            for row, lane in zip(arrivals(plan), plan.lanes, strict=True)
        ],
        words=("lane",),
    )
    if len(plan.lanes) > 1:
        _show_pairs(plan)
    for (name, other, hz), ways in moves:
        print_table(
            f"First notch of {name} with {other} at {hz:g} Hz",
            ("move " + name, "to a distance of, m"),
            [(_move(way.by_m), f"{way.distance_m:.3f}") for way in ways]
            or [("not possible: it has no place to move from", "-")],
            words=("move " + name,),
        )
    if comparisons is not None:
        _show_comparisons(comparisons)


def pairs_title(plan: Plan) -> str:
    """At which levels in the blend the pairs are summed: without them a notch means nothing."""
    levels_db = [lane.level_db for lane in plan.lanes]
    if len(set(levels_db)) == 1:
        at = f"all lanes equally loud in the blend ({plan.lanes[0].name}=1m@-6 would say otherwise)"
    else:
        at = "in the blend " + ", ".join(f"{lane.name} at {lane.level_db:+g} dB" for lane in plan.lanes)
    return f"Pairs, {at}; levels of their sum against the louder of the two alone"


def _show_pairs(plan: Plan) -> None:
    print_table(
        pairs_title(plan),
        (
            "pair",
            "apart, samples",
            "ms",
            "first notches, Hz",
            "notch of the sum",
            "peak of the sum",
            "distances",
            "3:1 rule of thumb",
        ),
        [_pair_cells(pair) for pair in pairs(plan)],
        words=("pair", "first notches, Hz", "3:1 rule of thumb"),
    )
    dips = blend_dips(plan)
    said = ", ".join(f"{dip.frequency_hz:.0f} Hz ({_db(dip.level_db)})" for dip in dips[:SHOWN])
    more = f" and {len(dips) - SHOWN} more up to 20 kHz" if len(dips) > SHOWN else ""
    text = f"Dips of the whole blend against its loudest lane: {said}{more}." if dips else "No deep dips."
    print_line(text)


def _pair_cells(pair: PlannedPair) -> tuple[str, ...]:
    rule = "-"
    if pair.keeps_rule is not None:
        ripple = pair.rule_ripple_db
        left = (
            "the two cancel" if ripple is None or math.isinf(ripple) else f"leaves {ripple:.1f} dB of ripple"
        )
        rule = f"{'kept' if pair.keeps_rule else 'not kept'}: {left}"
    return (
        f"{pair.a} - {pair.b}",
        number(pair.delay_samples),
        number(pair.delay_ms, 3),
        ", ".join(f"{hz:.0f}" for hz in pair.comb.notches_hz[:4]) or "-",
        _db(pair.comb.notch_db),
        _db(pair.comb.peak_db),
        "-" if pair.distance_ratio is None else f"1 : {pair.distance_ratio:.1f}",
        rule,
    )


def _show_comparisons(comparisons: Sequence[Comparison]) -> None:
    print_table(
        "Tape measure against sound",
        ("lane", "expected", "found", "difference", "may differ by", "why"),
        [
            (
                row.name,
                number(row.expected_samples),
                number(row.found_samples),
                number(row.difference_samples),
                f"{row.tolerance_samples:.1f}",
                row.cause + (", other way up" if row.is_flipped else ""),
            )
            for row in comparisons
        ],
        words=("lane", "why"),
    )
    for row in comparisons:
        print_line(f"  {row.sentence}")
    if not comparisons:
        print_line("  No lane of the plan has the name of a lane of the take.")


def _move(by_m: float) -> str:
    return f"{abs(by_m):.3f} m {'away from' if by_m >= 0 else 'towards'} the source"


def _db(level_db: float) -> str:
    return "cancels" if level_db < CANCELS_DB else f"{level_db:+.1f} dB"


def _finite(level_db: float) -> float | None:
    return level_db if math.isfinite(level_db) else None
