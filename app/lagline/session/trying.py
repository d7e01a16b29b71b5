"""Trying a place for a lane: it is there and heard, but not decided until it is kept or put back."""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce

from msgspec.structs import replace

from lagline.session.edits import (
    Rounding,
    accepted,
    lined_up,
    placed,
    with_found_move,
    with_move,
    with_version,
    without,
)
from lagline.session.values import NO_MOVE, Before, Move, Session, Version

BEFORE_ID = "before"
THE_FINDING = -1  # as an index into the runners-up: the finding itself


def tried(session: Session, lane_id: str, index: int, *, rounding: Rounding = "none") -> Session:
    """Put a lane, for a trial, at a runner-up of its finding; THE_FINDING is the finding itself.

    However many places are tried one after the other, what it is put back to is where it was before the
    first. Coming round to that place ends the trial. Raises ValueError, IndexError.
    """
    alignment = session.alignment
    finding = alignment.finding(lane_id) if alignment is not None else None
    if alignment is None or finding is None or finding.arrival_samples is None:
        raise ValueError(f"nothing was found for {session.lane(lane_id).name}: measure the take first")
    if lane_id == alignment.anchor_id:
        raise ValueError(f"{session.lane(lane_id).name} is the anchor: the others line up on it")
    version = session.current_version
    before = version.trying.get(lane_id) or Before(version.move(lane_id), version.origin(lane_id))
    there: Move
    if index == THE_FINDING:
        there = lined_up(session, finding, finding.arrival_samples, finding.told_polarity)
        there = replace(there, rate_ppm=there.rate_ppm + finding.drift_ppm)
        session = with_found_move(session, finding, there, rounding)
        there = session.current_version.move(lane_id)
    else:
        runner = finding.runners_up[index]
        there = lined_up(session, finding, runner.arrival_samples, runner.polarity)
        there = replace(there, rate_ppm=before.move.rate_ppm)
        session = with_move(session, lane_id, there, by="runner-up", runner_up=index + 1)
    if there == before.move:
        return placed(session, lane_id, before)
    version = session.current_version
    return with_version(session, replace(version, trying={**version.trying, lane_id: before}))


def kept(session: Session, lane_id: str) -> Session:
    """What is tried of the lane is decided: it stays where it is."""
    version = session.current_version
    return with_version(session, replace(version, trying=without(version.trying, lane_id)))


def decided(session: Session, lane_ids: Iterable[str], *, rounding: Rounding = "none") -> Session:
    """What is tried of these lanes stays; of the others the findings are taken over, as `accepted` does."""
    wanted = list(lane_ids)
    tried_ones = [lane_id for lane_id in wanted if lane_id in session.current_version.trying]
    others = [lane_id for lane_id in wanted if lane_id not in tried_ones]
    session = reduce(kept, tried_ones, session)
    return accepted(session, others, rounding=rounding) if others else session


def put_back(session: Session, lane_id: str) -> Session:
    """A lane that is only tried goes to where it was before; any other to where it was recorded."""
    return placed(session, lane_id, session.current_version.trying.get(lane_id) or Before(NO_MOVE))


def with_before(session: Session) -> Session:
    """The session with one more version to listen to, named Before, while anything is only tried: the
    current one as it was before. Where that is as recorded, the original says it already."""
    version = session.current_version
    if not version.trying:
        return session
    moves = {**version.moves, **{lane_id: before.move for lane_id, before in version.trying.items()}}
    if all(move == NO_MOVE for move in moves.values()):
        return session
    return with_version(session, Version(BEFORE_ID, "Before", moves, version.balances))
