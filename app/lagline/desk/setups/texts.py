"""What the dialogs on setups say, in words and figures. No Qt."""

from __future__ import annotations

from collections import Counter
from typing import Literal

from msgspec import Struct

from lagline.amounts import in_unit
from lagline.desk.amounts import number_text
from lagline.desk.panels.figures import NOTHING, place_text, signed
from lagline.desk.setups.takes import TakeOnSetup, comparisons, offering
from lagline.jobs.apply_setup import LaneComparison
from lagline.session.setup import Setup, SetupLane, fits_name
from lagline.session.values import Move, Session

Grade = Literal["agrees", "moved", "not comparable", "anchor", ""]
# A shape and a word for each, so that colour says nothing by itself.
MARKS: dict[Grade, str] = {"agrees": "✓", "moved": "↔", "not comparable": "?", "anchor": "◆", "": ""}
NO_LANE = "none, leave it"


class LaneRow(Struct, frozen=True):
    """One lane of a take in the table, as text."""

    lane_id: str
    lane: str
    file: str
    setup_lane: str  # "" without a match
    told_by: str
    expected: str
    measured: str
    difference_samples: str
    difference_ms: str
    difference_cm: str
    grade: Grade
    verdict: str  # with its mark
    why: str  # a sentence for the tooltip
    is_new: bool  # takes what was measured
    can_be_new: bool


def lane_rows(setup: Setup, take: TakeOnSetup) -> tuple[LaneRow, ...]:
    """A row a lane, in the take's order."""
    found, offered = comparisons(setup, take), offering(take)
    anchor_id = take.alignment.anchor_id if take.alignment else None
    rows = []
    for lane in take.session.lanes:
        match, one = take.matches.get(lane.id), found.get(lane.id)
        grade, words, why = _verdict(take, lane.id, anchor_id, one)
        off = None if one is None or lane.id == anchor_id else one.difference_samples
        rows.append(
            LaneRow(
                lane_id=lane.id,
                lane=lane.name,
                file=lane.source.path.name,
                setup_lane=match.known.name if match else "",
                told_by=f"by {match.told_by}" if match else "no match",
                expected=NOTHING if one is None else _samples(one.expected_samples),
                measured=NOTHING if one is None else _samples(one.measured_samples),
                difference_samples=_samples(off),
                difference_ms=_in(off, "ms", take.session),
                difference_cm=_in(off, "cm", take.session),
                grade=grade,
                verdict=f"{MARKS[grade]} {words}".strip(),
                why=why,
                is_new=lane.id in take.new_lanes,
                can_be_new=lane.id in offered,
            )
        )
    return tuple(rows)


def _samples(value: float | None) -> str:
    return NOTHING if value is None else signed(value, 2)


def _in(samples: float | None, unit: Literal["ms", "cm"], session: Session) -> str:
    if samples is None:
        return NOTHING
    amount = in_unit(samples, unit, session.rate_hz, session.temperature_c)
    return signed(amount, 3 if unit == "ms" else 1)


def _verdict(
    take: TakeOnSetup, lane_id: str, anchor_id: str | None, one: LaneComparison | None
) -> tuple[Grade, str, str]:
    if anchor_id is None or one is None:
        return "", NOTHING, "Not measured yet."
    name, session = take.session.lane(lane_id).name, take.session
    if lane_id == anchor_id:
        return "anchor", "anchor", f"The others were measured against {name}."
    if one.word == "not comparable":
        return "not comparable", *_why_not(take, lane_id, anchor_id, one)
    off = one.difference_samples or 0.0
    place = place_text(off, session.rate_hz, session.temperature_c)
    if one.word == "agrees":
        return "agrees", "agrees", f"{name} is where the setup has it, to within {place}."
    if one.polarity_agrees is False:
        said = f"{name} is the other way up than in the setup; measured minus expected: {place}."
        return "moved", "moved, other polarity", said
    return "moved", "moved", f"{name} moved; measured minus expected: {place}."


def _why_not(take: TakeOnSetup, lane_id: str, anchor_id: str, one: LaneComparison) -> tuple[str, str]:
    if lane_id not in take.matches:
        return "not comparable: no match", "Choose the setup's lane that this one is, or leave it as it is."
    if anchor_id not in take.matches:
        anchor = take.session.lane(anchor_id).name
        return "not comparable: anchor", f"{anchor}, measured against, has no match in the setup."
    if one.measured_samples is None:
        return "not comparable: not found", "Nothing was found of this lane that can be trusted."
    return "not comparable", "There is nothing to compare."


def take_state(setup: Setup, take: TakeOnSetup) -> str:
    """What became of a take, in a few words."""
    if take.failure:
        return f"⚠ {take.failure}"
    if take.alignment is None:
        return f"{matched_text(take)}; not measured yet"
    counts = Counter(row.grade for row in lane_rows(setup, take))
    agree = "agrees" if counts["agrees"] == 1 else "agree"
    words: tuple[tuple[Grade, str], ...] = (
        ("agrees", agree), ("moved", "moved"), ("not comparable", "not comparable"),
    )  # fmt: skip
    said = ", ".join(f"{MARKS[grade]} {counts[grade]} {word}" for grade, word in words if counts[grade])
    return "; ".join(part for part in (take.done, said) if part) or "only the anchor was measured"


def matched_text(take: TakeOnSetup) -> str:
    """How many lanes of the take the setup knows."""
    return f"{len(take.matches)} of {len(take.session.lanes)} lanes matched"


def choice_text(take: TakeOnSetup) -> str:
    """What accepting would do to a take."""
    new = len(take.new_lanes)
    kept = sum(lane_id not in take.new_lanes for lane_id in take.matches)
    untouched = sum(
        lane.id not in take.matches and lane.id not in take.new_lanes for lane in take.session.lanes
    )
    parts = [(kept, "keep the setup"), (new, "take what was measured"), (untouched, "stay as they are")]
    return ", ".join(f"{count} {_one(count, word)}" for count, word in parts if count)


def _one(count: int, words: str) -> str:
    if count != 1:
        return words
    verb, _, rest = words.partition(" ")
    return {"keep": "keeps", "take": "takes", "stay": "stays"}[verb] + " " + rest.replace("they are", "it is")


def setup_text(setup: Setup) -> str:
    """The setup in one line."""
    lanes = len(setup.lanes)
    anchor = f"anchor {setup.anchor}" if setup.anchor else "no anchor named"
    return (
        f"{lanes} lane{'s' if lanes != 1 else ''}, {anchor}, {setup.rate_hz / 1000:g} kHz, "
        f"air at {setup.temperature_c:g} °C"
    )


def move_text(move: Move) -> str:
    """A shift in samples, with its flip and drift when there are any."""
    parts = [f"{number_text(move.shift_samples, 2, signed=True)} samples"]
    if move.rate_ppm:
        parts.append(f"drift {signed(move.rate_ppm, 2)} ppm")
    parts.append("flipped" if move.polarity < 0 else "as recorded")
    return ", ".join(parts)


def fits_text(pattern: str, lane_id: str, session: Session) -> str:
    """Which lanes of the take a name pattern fits, so that it can be tried while typing."""
    if not pattern.strip():
        return ""
    known = SetupLane("", Move(), pattern.strip())
    fits = [lane for lane in session.lanes if fits_name(known, lane.name)]
    if [lane.id for lane in fits] == [lane_id]:
        return "✓ this lane only"
    names = ", ".join(lane.name for lane in fits if lane.id != lane_id)
    if any(lane.id == lane_id for lane in fits):
        return f"⚠ also {names}"
    return f"⚠ not this lane, but {names}" if fits else "⚠ no lane of this take"
