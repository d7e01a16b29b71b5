"""Which findings may be accepted together, and what to say of those that are left. No Qt.

A flip that is only probable turns a lane against all others where it is wrong: it is never accepted along
with others unless it was ticked by name.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import get_args

from lagline.session.edits import lined_up
from lagline.session.findings import Alignment, Finding, TrustWord
from lagline.session.values import NO_MOVE, Session

STRONG: tuple[TrustWord, ...] = ("strong",)
SOUND: tuple[TrustWord, ...] = ("strong", "usable")  # a weak one is for the ear to decide, one by one
MOST_LEFT_NAMED = 4


def to_accept(session: Session | None, words: Collection[TrustWord]) -> list[str]:
    """Ids of lanes whose findings propose something and have one of these trust words."""
    alignment = session.alignment if session is not None else None
    if session is None or alignment is None:
        return []
    there = {lane.id for lane in session.lanes}
    return [
        finding.lane_id
        for finding in alignment.findings
        if finding.lane_id != alignment.anchor_id
        and finding.lane_id in there
        and finding.arrival_samples is not None
        and finding.trust_word in words
        and not would_guess(session, finding)
    ]


def trust_counts(alignment: Alignment) -> str:
    """`2 strong, 1 weak`: how many lanes of each word, the anchor left out."""
    words = [found.trust_word for found in alignment.findings if found.lane_id != alignment.anchor_id]
    return ", ".join(f"{words.count(word)} {word}" for word in get_args(TrustWord) if word in words)


def would_guess(session: Session, finding: Finding) -> bool:
    """Whether accepting the finding turns its lane over on no more than a probability."""
    move = lined_up(session, finding, 0.0, finding.told_polarity)
    turns = move.polarity != session.current_version.move(finding.lane_id).polarity
    return turns and finding.polarity_sureness == "probable"


def guesses_text(session: Session, lane_ids: Iterable[str]) -> str:
    """`turns kick over on a polarity that is only probable`; empty where accepting these guesses nothing."""
    alignment = session.alignment
    found = [alignment.finding(lane_id) for lane_id in lane_ids] if alignment is not None else []
    names = [session.lane(one.lane_id).name for one in found if one is not None and would_guess(session, one)]
    return f"turns {listed(names)} over on a polarity that is only probable" if names else ""


def left_text(session: Session, accepted: Iterable[str]) -> str:
    """`Left for you to decide: kick (weak: 3 of 16 passages agree).` Lanes that were moved by hand or that
    were accepted are not named; empty when there is none left."""
    taken = set(accepted)
    alignment = session.alignment
    if alignment is None:
        return ""
    left = [
        f"{session.lane(finding.lane_id).name} ({_why(session, finding)})"
        for finding in alignment.findings
        if finding.lane_id not in taken
        and finding.lane_id != alignment.anchor_id
        and session.current_version.move(finding.lane_id) == NO_MOVE
        and any(lane.id == finding.lane_id for lane in session.lanes)
    ]
    if not left:
        return ""
    return f"Left for you to decide: {listed(left)}."


def nothing_new_text(session: Session, lane_ids: Sequence[str]) -> str:
    """Why accepting these lanes' findings changed nothing."""
    if len(lane_ids) != 1:
        return "These lanes are where their findings put them already."
    name = session.lane(lane_ids[0]).name
    finding = session.alignment.finding(lane_ids[0]) if session.alignment is not None else None
    if finding is None or finding.arrival_samples is None:
        return f"Nothing to accept for {name}: nothing is proposed. Place it by ear."
    return f"{name} is where its finding puts it already."


def listed(names: Sequence[str]) -> str:
    """`kick, snare, hat, tom and 3 more`."""
    more = f" and {len(names) - MOST_LEFT_NAMED} more" if len(names) > MOST_LEFT_NAMED else ""
    return ", ".join(names[:MOST_LEFT_NAMED]) + more


def _why(session: Session, finding: Finding) -> str:
    if finding.arrival_samples is None:
        return "nothing is proposed"
    if would_guess(session, finding):
        return f"{finding.trust_word}, its polarity only probable: listen"
    windows = finding.windows
    if not windows.used:
        return finding.trust_word
    return f"{finding.trust_word}: {windows.agreeing} of {windows.used} agree"
