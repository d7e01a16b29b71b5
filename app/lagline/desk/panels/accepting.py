"""Which findings may be accepted together, and what to say of those that are left. No Qt."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from lagline.session.findings import Finding, TrustWord
from lagline.session.values import Session

STRONG: tuple[TrustWord, ...] = ("strong",)
SOUND: tuple[TrustWord, ...] = ("strong", "usable")  # a weak one is for the ear to decide, one by one
MOST_NAMED = 4


def to_accept(session: Session | None, words: Collection[TrustWord]) -> list[str]:
    """Ids of lanes, the anchor first, whose findings propose something and have one of these trust words."""
    alignment = session.alignment if session is not None else None
    if session is None or alignment is None:
        return []
    there = {lane.id for lane in session.lanes}
    ids = [
        finding.lane_id
        for finding in alignment.findings
        if finding.lane_id != alignment.anchor_id
        and finding.lane_id in there
        and finding.arrival_samples is not None
        and finding.trust_word in words
    ]
    # The others only line up on the anchor when the anchor itself has no shift.
    has_anchor = alignment.finding(alignment.anchor_id) is not None
    return [alignment.anchor_id, *ids] if ids and has_anchor else ids


def left_text(session: Session, accepted: Iterable[str]) -> str:
    """`Left for you to decide: kick (weak: 3 of 16 passages agree).` Lanes that were moved by hand or that
    were accepted are not named; empty when there is none left."""
    taken = set(accepted)
    alignment = session.alignment
    if alignment is None:
        return ""
    left = [
        f"{session.lane(finding.lane_id).name} ({_why(finding)})"
        for finding in alignment.findings
        if finding.lane_id not in taken
        and finding.lane_id != alignment.anchor_id
        and session.current_version.move(finding.lane_id).shift_samples == 0.0
        and any(lane.id == finding.lane_id for lane in session.lanes)
    ]
    if not left:
        return ""
    more = f" and {len(left) - MOST_NAMED} more" if len(left) > MOST_NAMED else ""
    return f"Left for you to decide: {', '.join(left[:MOST_NAMED])}{more}."


def nothing_new_text(session: Session, lane_ids: Sequence[str]) -> str:
    """Why accepting these lanes' findings changed nothing."""
    if len(lane_ids) != 1:
        return "These lanes are where their findings put them already."
    name = session.lane(lane_ids[0]).name
    finding = session.alignment.finding(lane_ids[0]) if session.alignment is not None else None
    if finding is None or finding.arrival_samples is None:
        return f"Nothing to accept for {name}: nothing in common was found. Place it by ear."
    return f"{name} is where its finding puts it already."


def _why(finding: Finding) -> str:
    if finding.arrival_samples is None:
        return "nothing in common was found"
    windows = finding.windows
    if not windows.used:
        return finding.trust_word
    return f"{finding.trust_word}: {windows.agreeing} of {windows.used} passages agree"
