"""What the planner's tables and its printed page say: rows of text, no Qt."""

from __future__ import annotations

import math
from collections.abc import Sequence

from lagline.desk.panels.figures import frequency_text, signed
from lagline.jobs.plan import CANCELS_DB, BlendDip, PlannedPair, anchor_of, arrivals, pairs, speed_m_s
from lagline.jobs.tape_measure import Comparison
from lagline.session.plan import Plan

Rows = tuple[tuple[str, ...], ...]

ARRIVAL_HEADINGS = ("Lane", "Distance", "Heard after", "Later by", "ms", "Way of sound", "Level by distance")
PAIR_HEADINGS = ("Pair", "Apart", "First notches", "Notch, peak", "Distances", "3:1 rule of thumb")
ARRIVAL_NOTE = (
    "Later by: than the lane all are measured against; minus is earlier. Level by distance alone, free field."
)
NO_ARRIVALS = (
    "No lanes yet",
    "Add a microphone or a direct line: here you see when each lane hears the source, "
    "in samples, milliseconds and as a length of air.",
)
NO_PAIRS = (
    "No pairs yet",
    "Add two lanes to see where each pair cancels and adds up, and what the 3:1 rule of thumb says.",
)
PAIR_NOTE = (
    "Each lane at its level of the table above. Notch and peak: their sum, against the louder one alone."
)
TAPE_HEADINGS = ("Lane", "Expected", "Found", "Difference", "May differ by", "Why")
FIRST_NOTCHES = 3
DIPS_NAMED = 8


def length_text(metres: float) -> str:
    """`6.29 m`, `38.5 cm`."""
    return f"{metres:.2f} m" if abs(metres) >= 1 else f"{100 * metres:.1f} cm"


def level_text(level_db: float) -> str:
    """A level in dB with its sign; `cancels` where next to nothing is left."""
    return "cancels" if level_db < CANCELS_DB else f"{signed(level_db, 1)} dB"


def air_text(plan: Plan) -> str:
    """The air of the plan and what it means for sound, in one sentence."""
    speed = speed_m_s(plan)
    return (
        f"{plan.temperature_c:g} °C, {plan.humidity_percent:g} % humidity: sound goes {speed:.2f} m/s, "
        f"one sample at {plan.rate_hz / 1000:g} kHz is {1000 * speed / plan.rate_hz:.2f} mm of air"
    )


def arrival_rows(plan: Plan) -> Rows:
    """A row of cells for each lane: distance, time, and arrival against the anchor."""
    anchor = anchor_of(plan)
    return tuple(
        (
            row.name + (" (anchor)" if anchor is not None and row.name == anchor.name else ""),
            "direct line" if lane.is_direct_line else length_text(row.distance_m),
            f"{row.heard_ms:.3f} ms",
            f"{signed(row.arrival_samples, 1)} samples",
            f"{signed(row.arrival_ms, 3)} ms",
            length_text(abs(row.arrival_m)),
            "" if lane.is_direct_line else level_text(row.distance_level_db),
        )
        for row, lane in zip(arrivals(plan), plan.lanes, strict=True)
    )


def pair_rows(plan: Plan) -> Rows:
    """A row of cells for each two lanes: how far apart they hear the source and where they cancel."""
    return tuple(_pair_cells(pair) for pair in pairs(plan))


def _pair_cells(pair: PlannedPair) -> tuple[str, ...]:
    notches = pair.comb.notches_hz[:FIRST_NOTCHES]
    more = len(pair.comb.notches_hz) > FIRST_NOTCHES
    return (
        f"{pair.a}\n{pair.b}",
        f"{abs(pair.delay_samples):.1f} samples\n{abs(pair.delay_ms):.2f} ms",
        (", ".join(frequency_text(hz) for hz in notches) + (", …" if more else "")) or "none",
        f"{level_text(pair.comb.notch_db)}\n{level_text(pair.comb.peak_db)}",
        "" if pair.distance_ratio is None else f"1 : {pair.distance_ratio:.2g}",
        rule_text(pair),
    )


def levels_text(plan: Plan) -> str:
    """At which levels the pairs of a printed plan are summed: there is no table above it on paper."""
    levels = ", ".join(f"{lane.name} {signed(lane.level_db, 1)} dB" for lane in plan.lanes)
    return f"Levels in the blend: {levels}. Notch and peak: their sum, against the louder one alone."


def rule_text(pair: PlannedPair) -> str:
    """What the rule of thumb says of two microphones, and what it leaves even when it is kept."""
    if pair.keeps_rule is None or pair.rule_ripple_db is None:
        return ""
    left = (
        "at equal gain they cancel"
        if math.isinf(pair.rule_ripple_db)
        else f"ripple of {pair.rule_ripple_db:.1f} dB\nat equal gain"
    )
    return f"{'kept' if pair.keeps_rule else 'not kept'}; {left}"


def dips_text(plan: Plan, dips: Sequence[BlendDip]) -> str:
    """One sentence about the dips of the whole blend."""
    if len(plan.lanes) < 2:
        return "A blend needs two lanes: add another."
    if not dips:
        return "No dip of the blend goes 3 dB below its loudest lane."
    named = ", ".join(
        f"{frequency_text(dip.frequency_hz)} ({level_text(dip.level_db)})" for dip in dips[:DIPS_NAMED]
    )
    few = len(dips) <= DIPS_NAMED
    return f"{len(dips)} dips go 3 dB below the loudest lane{': ' if few else '; the lowest: '}{named}."


def tape_rows(comparisons: Sequence[Comparison]) -> Rows:
    """A row of cells for each lane: what was expected, what was measured, and what may explain the rest."""
    return tuple(
        (
            row.name,
            f"{signed(row.expected_samples, 1)}",
            "not measured" if row.found_samples is None else signed(row.found_samples, 1),
            "" if row.difference_samples is None else f"{signed(row.difference_samples, 1)} samples",
            f"{row.tolerance_samples:.1f}",
            row.cause + (", other way up" if row.is_flipped else ""),
        )
        for row in comparisons
    )
