"""What the findings say, as plain text: the one source of table, detail, menus and what is spoken. No Qt."""

from __future__ import annotations

from msgspec import Struct
from msgspec.structs import replace

from lagline.amounts import in_unit
from lagline.analysis.sentences import is_air
from lagline.desk.amounts import DECIMALS, Unit, number_text
from lagline.desk.panels.figures import (
    NOTHING,
    decimals_for,
    ms_text,
    polarity_text,
    samples_text,
    signed,
    sooner_or_later,
    way_in_words,
)
from lagline.session.findings import Finding, RunnerUp, TrustWord, trust_figure
from lagline.session.origin_words import placement_words, same_sound_words
from lagline.session.trying import THE_FINDING
from lagline.session.values import NO_MOVE, Lane, Session

MEANINGS: dict[TrustWord, str] = {
    "strong": "Independent kinds of evidence agree.",
    "usable": "Most of the evidence agrees: look at it before accepting.",
    "weak": "Little agrees: treat it as a hint and listen.",
    "none": "Too little speaks for any place, so nothing is proposed.",
}


class FindingLine(Struct, frozen=True):
    """One lane of the table. `full`: the arrival with all that belongs to it; `placed_index`: the candidate
    that put the lane where it is (THE_FINDING or a runner-up); `next_index`: the one to try next."""

    lane_id: str
    name: str
    is_anchor: bool = False
    arrival: str = NOTHING
    arrival_samples: float | None = None
    full: str = "Not measured yet."
    sign: str = ""
    polarity: str = ""
    trust: float | None = None
    trust_word: TrustWord | None = None
    placement: str = ""
    placed_index: int | None = None
    next_index: int | None = None
    can_accept: bool = False
    can_put_back: bool = False
    sentence: str = ""

    @property
    def trust_text(self) -> str:
        """`0.97 strong`; empty for the anchor."""
        return "" if self.trust is None else f"{trust_figure(self.trust)} {self.trust_word}"

    @property
    def spoken(self) -> str:
        """The line in one breath, for assistive technology."""
        trust = f"trust {self.trust_text}" if self.trust is not None else ""
        parts = [self.name, self.full, self.polarity, trust, self.placement]
        return ", ".join(part for part in parts if part and part != NOTHING)


def finding_lines(session: Session, unit: Unit = "samples") -> tuple[FindingLine, ...]:
    """Every lane's line, in the order of the lanes."""
    return tuple(finding_line(session, lane, unit) for lane in session.lanes)


def finding_line(session: Session, lane: Lane, unit: Unit = "samples") -> FindingLine:
    """The line of one lane as it stands in the current version."""
    alignment, version = session.alignment, session.current_version
    finding = alignment.finding(lane.id) if alignment is not None else None
    if alignment is None or finding is None:
        return FindingLine(lane.id, lane.name, placement=placement_words(version, lane.id))
    if lane.id == alignment.anchor_id:
        anchor = "The other lanes are measured against this one."
        return FindingLine(lane.id, lane.name, True, "anchor", 0.0, "Anchor", sentence=anchor)
    placed, is_tried = placed_index(session, lane.id), lane.id in version.trying
    line = FindingLine(
        lane.id,
        lane.name,
        full="Nothing proposed",
        trust=finding.trust,
        trust_word=finding.trust_word,
        placement=placement_words(version, lane.id),
        placed_index=placed,
        can_accept=is_tried,
        can_put_back=is_tried or version.move(lane.id) != NO_MOVE,
        sentence=" ".join(filter(None, (same_sound_words(session, lane.id), finding.sentence))),
    )
    if finding.arrival_samples is None:
        return line
    return _proposing(line, session, finding, finding.arrival_samples, unit)


def _proposing(
    line: FindingLine, session: Session, finding: Finding, arrival: float, unit: Unit
) -> FindingLine:
    sureness = finding.polarity_sureness
    sign = "?" if sureness == "unclear" else "⊖" if finding.polarity == -1 else "⊕"
    full = f"{samples_text(arrival, finding.uncertainty_samples)} · {way_text(session, arrival, unit)}"
    return replace(
        line,
        arrival=arrival_text(session, finding, arrival, unit),
        arrival_samples=arrival,
        full=full,
        sign=f"{sign}?" if sureness == "probable" else sign,
        polarity=polarity_text(finding.polarity, sureness),
        next_index=next_to_try(finding, line.placed_index),
        can_accept=line.can_accept or line.placed_index != THE_FINDING,
    )


def arrival_text(session: Session, finding: Finding, arrival: float, unit: Unit) -> str:
    """The arrival in the chosen unit, which the heading names; ms, and says so, where there is no way in air
    because the recordings did not start together."""
    if unit not in ("samples", "ms") and not is_air(arrival, session.rate_hz):
        return ms_text(arrival, session.rate_hz)
    decimals = min(decimals_for(finding.uncertainty_samples), 2) if unit == "samples" else DECIMALS[unit]
    return number_text(in_unit(arrival, unit, session.rate_hz, session.temperature_c), decimals, signed=True)


def way_text(session: Session, arrival_samples: float, unit: Unit = "samples") -> str:
    """`-2.112 ms · 72.5 cm earlier`; without the way where the recordings did not start together."""
    if not is_air(arrival_samples, session.rate_hz):
        return f"{ms_text(arrival_samples, session.rate_hz)} {sooner_or_later(arrival_samples)}"
    way = way_in_words(arrival_samples, session.rate_hz, session.temperature_c, unit)
    return f"{ms_text(arrival_samples, session.rate_hz)} · {way}"


def candidates(finding: Finding) -> tuple[tuple[int, RunnerUp], ...]:
    """The finding (index THE_FINDING) and its runners-up, in the order in which they are tried; none where
    nothing is proposed."""
    if finding.arrival_samples is None:
        return ()
    polarity = 1 if finding.polarity is None else finding.polarity
    own = THE_FINDING, RunnerUp(finding.arrival_samples, polarity, finding.trust)
    return own, *enumerate(finding.runners_up)


def candidate_text(session: Session, finding: Finding, index: int, candidate: RunnerUp) -> str:
    """One line of the menu of places to try."""
    runner_up = f"On {candidate.source}" if candidate.source else f"Runner-up {index + 1}"
    head = "Finding" if index == THE_FINDING else runner_up
    sureness = finding.polarity_sureness if index == THE_FINDING else "sure"
    # Not the height of the match curve there: the attacks that speak for a place count too.
    evidence = "" if index == THE_FINDING or candidate.source else f", evidence {candidate.score:.2f}"
    arrival = signed(candidate.arrival_samples, 2)
    return (
        f"{head}: {arrival} samples, {ms_text(candidate.arrival_samples, session.rate_hz)}, "
        f"{polarity_text(candidate.polarity, sureness)}{evidence}"
    )


def placed_index(session: Session, lane_id: str) -> int | None:
    """The candidate that put the lane where it is in the current version (THE_FINDING: the finding), if one
    of the present measurement did."""
    origin = session.current_version.origin(lane_id)
    if origin is None or origin.by not in ("finding", "runner-up"):
        return None
    return origin.runner_up - 1


def next_to_try(finding: Finding, placed: int | None) -> int | None:
    """Index of the candidate after the one in place, round and round; None when there is none to try."""
    order = [index for index, _ in candidates(finding)]
    if not order:
        return None
    if placed not in order:
        return order[0]
    following = order[(order.index(placed) + 1) % len(order)]
    return None if following == placed else following
