"""What a row of the findings panel says, as plain text: a pure function of session and finding."""

from __future__ import annotations

from msgspec import Struct

from lagline.analysis.sentences import is_air
from lagline.desk.amounts import Unit
from lagline.desk.panels.figures import (
    NOTHING,
    SAME_SAMPLES,
    ms_text,
    polarity_text,
    samples_text,
    signed,
    sooner_or_later,
    way_in_words,
)
from lagline.session.findings import Finding, RunnerUp
from lagline.session.values import Lane, Session

FINDING_INDEX = -1  # as an index into the runners-up: the finding itself
AS_RECORDED, ACCEPTED, BY_HAND = "as recorded", "accepted", "moved by hand"


class FindingTexts(Struct, frozen=True):
    """Every text of one row. `placed_index`: the candidate in place (FINDING_INDEX: the finding), or None."""

    name: str
    arrival: str
    way: str
    polarity: str
    sentence: str
    placement: str
    placed_index: int | None
    proposes: bool
    is_anchor: bool

    @property
    def spoken(self) -> str:
        """The row in one breath, for assistive technology."""
        parts = [self.name, self.arrival, self.way, self.polarity, self.placement]
        return ", ".join(part for part in parts if part and part != NOTHING)


def finding_texts(
    session: Session, lane: Lane, finding: Finding | None, unit: Unit = "samples"
) -> FindingTexts:
    """The row of one lane; without a finding it says that the lane has not been measured."""
    anchor_id = session.alignment.anchor_id if session.alignment else session.anchor_id
    is_anchor = finding is not None and lane.id == anchor_id
    word, index = placement(session, lane.id, finding)
    arrival, way, polarity = NOTHING, "", ""
    sentence = "Not measured yet."
    proposes = False
    if is_anchor:
        arrival, sentence = "Anchor", "The other lanes are measured against this one."
    elif finding is not None:
        sentence = finding.sentence
        arrival = "Nothing proposed"
        if finding.arrival_samples is not None:
            proposes = True
            arrival = samples_text(finding.arrival_samples, finding.uncertainty_samples)
            way = way_text(session, finding.arrival_samples, unit)
            polarity = polarity_text(finding.polarity, finding.polarity_sureness)
    return FindingTexts(lane.name, arrival, way, polarity, sentence, word, index, proposes, is_anchor)


def way_text(session: Session, arrival_samples: float, unit: Unit = "samples") -> str:
    """`-2.112 ms · 72.5 cm earlier`; without the way where the recordings did not start together."""
    if not is_air(arrival_samples, session.rate_hz):
        return f"{ms_text(arrival_samples, session.rate_hz)} {sooner_or_later(arrival_samples)}"
    way = way_in_words(arrival_samples, session.rate_hz, session.temperature_c, unit)
    return f"{ms_text(arrival_samples, session.rate_hz)} · {way}"


def candidates(finding: Finding) -> tuple[tuple[int, RunnerUp], ...]:
    """The finding (index FINDING_INDEX) and its runners-up, in the order in which they are tried."""
    own: tuple[tuple[int, RunnerUp], ...] = ()
    if finding.arrival_samples is not None:
        polarity = 1 if finding.polarity is None else finding.polarity
        own = ((FINDING_INDEX, RunnerUp(finding.arrival_samples, polarity, finding.trust)),)
    return own + tuple(enumerate(finding.runners_up))


def candidate_text(session: Session, index: int, candidate: RunnerUp) -> str:
    """One line of the menu of places to try."""
    head = "Finding" if index == FINDING_INDEX else f"Runner-up {index + 1}"
    # Not the height of the match curve there: the attacks that speak for a place count too.
    evidence = "" if index == FINDING_INDEX else f", evidence {candidate.score:.2f}"
    arrival = signed(candidate.arrival_samples, 2)
    return (
        f"{head}: {arrival} samples, {ms_text(candidate.arrival_samples, session.rate_hz)}, "
        f"{polarity_text(candidate.polarity)}{evidence}"
    )


def placement(session: Session, lane_id: str, finding: Finding | None) -> tuple[str, int | None]:
    """Where the lane is in the current version, as a word, and the candidate that is in place if any.

    A whole-sample rounding of a candidate counts as that candidate.
    """
    move = session.current_version.move(lane_id)
    if finding is not None:
        for index, candidate in candidates(finding):
            unclear = index == FINDING_INDEX and finding.polarity is None
            if _is_at(-candidate.arrival_samples, move.shift_samples) and (
                unclear or candidate.polarity == move.polarity
            ):
                return (ACCEPTED if index == FINDING_INDEX else f"runner-up {index + 1} in place"), index
    if abs(move.shift_samples) < SAME_SAMPLES and move.polarity == 1:
        return AS_RECORDED, None
    return BY_HAND, None


def next_to_try(finding: Finding, placed_index: int | None) -> int | None:
    """Index of the candidate after the one in place, round and round; None when there is none to try."""
    order = [index for index, _ in candidates(finding)]
    if not order:
        return None
    if placed_index not in order:
        return order[0]
    following = order[(order.index(placed_index) + 1) % len(order)]
    return None if following == placed_index else following


def _is_at(wanted: float, shift: float) -> bool:
    return abs(shift - wanted) < SAME_SAMPLES or shift == round(wanted)
