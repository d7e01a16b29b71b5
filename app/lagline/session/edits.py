"""Edits: pure functions Session -> Session. Undo is a list of what they return."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Literal, TypeVar

from msgspec.structs import replace

from lagline.errors import NotInSession
from lagline.session.checks import LARGEST_COUNT, LARGEST_DRIFT_PPM, LONGEST_NAME
from lagline.session.colours import with_colours_kept
from lagline.session.findings import Alignment, Finding
from lagline.session.values import (
    MOST_STARS,
    NO_MOVE,
    ORIGINAL_ID,
    Balance,
    Before,
    Lane,
    Mark,
    Move,
    Origin,
    OriginWord,
    Ranking,
    Session,
    Trial,
    Version,
    run_key,
)

QUIETEST_GAIN_DB, LOUDEST_GAIN_DB = -60.0, 12.0
Rounding = Literal["none", "within", "all"]  # of shifts that were found, to whole samples: see `rounded`
Kept = TypeVar("Kept")


def with_lane(session: Session, lane: Lane) -> Session:
    """The session with the lane of the same id replaced. Raises NotInSession."""
    session.lane(lane.id)
    return replace(session, lanes=tuple(lane if old.id == lane.id else old for old in session.lanes))


def with_lane_order(session: Session, lane_ids: Iterable[str]) -> Session:
    """The same lanes in the given order. Raises NotInSession; ValueError unless each is named once."""
    order = list(lane_ids)
    if sorted(order) != sorted(lane.id for lane in session.lanes):
        raise ValueError("a lane order names every lane once")
    session = with_colours_kept(session)
    return replace(session, lanes=tuple(session.lane(lane_id) for lane_id in order))


def without_lane(session: Session, lane_id: str) -> Session:
    """The session without a lane, its moves and its finding; the others stay where they are."""
    session.lane(lane_id)
    session, alignment = with_colours_kept(session), session.alignment
    if alignment is not None:
        alignment = None if alignment.anchor_id == lane_id else alignment.without_lane(lane_id)
    return replace(
        session,
        lanes=tuple(lane for lane in session.lanes if lane.id != lane_id),
        versions=tuple(
            replace(
                version,
                moves=without(version.moves, lane_id),
                balances=without(version.balances, lane_id),
                origins=without(version.origins, lane_id),
                trying=without(version.trying, lane_id),
            )
            for version in session.versions
        ),
        anchor_id=None if session.anchor_id == lane_id else session.anchor_id,
        alignment=alignment,
        marks={key: mark for key, mark in session.marks.items() if lane_id not in key.split()},
    )


def without(by_lane: Mapping[str, Kept], lane_id: str) -> dict[str, Kept]:
    """What is kept of the other lanes."""
    return {key: kept for key, kept in by_lane.items() if key != lane_id}


def with_gain(session: Session, lane_id: str, gain_db: float) -> Session:
    """Gain in the current version, limited to what a fader offers, QUIETEST_GAIN_DB..LOUDEST_GAIN_DB."""
    if not math.isfinite(gain_db):
        raise ValueError(f"a gain is a number of dB, not {gain_db}")
    limited = min(max(gain_db, QUIETEST_GAIN_DB), LOUDEST_GAIN_DB)
    return _balanced(session, lane_id, gain_db=limited)


def with_pan(session: Session, lane_id: str, pan: float) -> Session:
    """Pan in the current version, limited to -1 (left) .. +1 (right)."""
    if not math.isfinite(pan):
        raise ValueError(f"a pan lies between -1 and 1, not {pan}")
    return _balanced(session, lane_id, pan=min(max(pan, -1.0), 1.0))


def with_mute(session: Session, lane_id: str, mute: bool) -> Session:
    """Let the lane take part in the current version or not."""
    return _balanced(session, lane_id, mute=mute)


def _balanced(session: Session, lane_id: str, **changes: float | bool) -> Session:
    """The session with a lane's balance in the current version changed."""
    balance = replace(session.current_version.balance(session.lane(lane_id).id), **changes)
    return with_balances(session, {lane_id: balance})


def with_balances(session: Session, balances: Mapping[str, Balance]) -> Session:
    """The session with these lanes balanced so in the current version; the others stay as they are."""
    version = session.current_version
    new = {lane_id: balance for lane_id, balance in balances.items() if balance != version.balance(lane_id)}
    return with_version(session, replace(version, balances={**version.balances, **new})) if new else session


def with_solo(session: Session, lane_id: str, solo: bool) -> Session:
    """Listen to this lane alone, or with others that are soloed. Nothing delivered changes."""
    return with_lane(session, replace(session.lane(lane_id), solo=solo))


def without_solo(session: Session) -> Session:
    """The session with nothing soloed."""
    return replace(session, lanes=tuple(replace(lane, solo=False) for lane in session.lanes))


def with_lane_name(session: Session, lane_id: str, name: str) -> Session:
    """Raises ValueError for an empty name or one that another lane has."""
    wanted = name.strip()
    if not wanted or len(wanted) > LONGEST_NAME:
        raise ValueError(f"a lane needs a name, of {LONGEST_NAME} characters at most")
    if any(lane.name.casefold() == wanted.casefold() for lane in session.lanes if lane.id != lane_id):
        raise ValueError(f"another lane is already called {wanted}")
    return with_lane(session, replace(session.lane(lane_id), name=wanted))


def with_link(session: Session, lane_ids: Iterable[str], link: str | None) -> Session:
    """Link lanes, so that a shift of one moves all of them; None takes them apart."""
    for lane_id in lane_ids:
        session = with_lane(session, replace(session.lane(lane_id), link=link))
    return session


def linked_lanes(session: Session, lane_id: str) -> tuple[str, ...]:
    """Ids of the lanes that move when `lane_id` moves, itself included."""
    lane = session.lane(lane_id)
    if lane.link is None:
        return (lane_id,)
    return tuple(other.id for other in session.lanes if other.link == lane.link)


def with_version(session: Session, version: Version) -> Session:
    """The session with the version of the same id replaced, or added at the end.

    Raises ValueError for the original, which cannot be edited.
    """
    if version.id == ORIGINAL_ID:
        raise ValueError("the original cannot be edited; duplicate it into a version first")
    if any(old.id == version.id for old in session.versions):
        versions = tuple(version if old.id == version.id else old for old in session.versions)
    else:
        versions = (*session.versions, version)
    return replace(session, versions=versions)


def with_move(
    session: Session,
    lane_id: str,
    move: Move,
    version_id: str | None = None,
    *,
    by: OriginWord | None = None,
    runner_up: int = 0,
    whole: bool = False,
) -> Session:
    """The session with a lane's move in a version (the current one by default) replaced.

    `by` is how it came to this place, written down with the move; without it what was written down holds as
    long as the shift stays the same.

    Raises NotInSession; ValueError for the original or a number that is not finite.
    """
    session.lane(lane_id)
    if not (abs(move.shift_samples) <= LARGEST_COUNT and abs(move.rate_ppm) <= LARGEST_DRIFT_PPM):
        raise ValueError("a shift is a finite number of samples, and not of many years")
    if move.polarity not in (1, -1):
        raise ValueError("polarity is +1 or -1")
    version = session.version(version_id or session.current_version_id)
    version = replace(version, moves={**version.moves, lane_id: move})
    told = Origin(by, move, runner_up, whole=whole) if by is not None else version.origin(lane_id)
    origins = without(version.origins, lane_id)
    return with_version(session, replace(version, origins={**origins, lane_id: told} if told else origins))


def placed(session: Session, lane_id: str, place: Before) -> Session:
    """The lane where it was before in the current version, with how it had come there; no longer tried."""
    version = session.current_version
    origins = without(version.origins, lane_id)
    return with_version(
        session,
        replace(
            version,
            moves={**version.moves, lane_id: place.move},
            origins={**origins, lane_id: place.origin} if place.origin is not None else origins,
            trying=without(version.trying, lane_id),
        ),
    )


def with_shift(session: Session, lane_id: str, shift_samples: float) -> Session:
    """Put a lane at a shift in the current version; lanes linked to it move by the same amount."""
    by = shift_samples - session.current_version.move(lane_id).shift_samples
    return nudged(session, lane_id, by)


def nudged(session: Session, lane_id: str, by_samples: float) -> Session:
    """Move a lane, and those linked to it, by hand later by `by_samples` in the current version."""
    for linked in linked_lanes(session, lane_id):
        move = session.current_version.move(linked)
        there = replace(move, shift_samples=move.shift_samples + by_samples)
        is_recorded = there.shift_samples == there.rate_ppm == 0.0
        if there.shift_samples != move.shift_samples:
            session = with_move(session, linked, there, by=None if is_recorded else "hand")
    return session


def with_polarity(session: Session, lane_id: str, polarity: int) -> Session:
    """+1 as recorded, -1 flipped, in the current version."""
    move = session.current_version.move(lane_id)
    return with_move(session, lane_id, replace(move, polarity=polarity))


def with_anchor(session: Session, lane_id: str) -> Session:
    """Choose the lane the others are measured against. Findings against another one are dropped."""
    session.lane(lane_id)
    keep = session.alignment is not None and session.alignment.anchor_id == lane_id
    return replace(session, anchor_id=lane_id, alignment=session.alignment if keep else None)


def with_alignment(session: Session, alignment: Alignment) -> Session:
    """Keep what analysis found, and its anchor; moves nothing.

    What an earlier measurement put in place is from now on said to be an earlier finding, except where the
    new one found the very same.
    """
    old = session.alignment
    same = {found.lane_id for found in alignment.findings if old and old.finding(found.lane_id) == found}

    def earlier(lane_id: str, origin: Origin | None) -> Origin | None:
        is_found = origin is not None and origin.by in ("finding", "runner-up")
        return (
            replace(origin, by="earlier finding") if origin and is_found and lane_id not in same else origin
        )

    versions = tuple(
        replace(
            version,
            origins={key: earlier(key, origin) for key, origin in version.origins.items()},
            trying={
                key: replace(old, origin=earlier(key, old.origin)) for key, old in version.trying.items()
            },
        )
        for version in session.versions
    )
    return replace(session, alignment=alignment, anchor_id=alignment.anchor_id, versions=versions)


def accepted(session: Session, lane_ids: Iterable[str], *, rounding: Rounding = "none") -> Session:
    """Take the findings of these lanes over into the current version.

    The anchor, when it is among them, goes back to no shift; the others line up on it where it then is. A
    lane whose finding proposes nothing stays as it is. Where polarity is unclear the lane's own is kept.
    What was being tried of these lanes is over.

    Raises
    ------
    NotInSession
        No analysis was made, or a lane is not in it.
    """
    wanted = list(lane_ids)
    if session.alignment is None:
        raise NotInSession("finding", "alignment", ("nothing: measure the take first",))
    anchor_id = session.alignment.anchor_id
    for lane_id in sorted(wanted, key=lambda lane_id: lane_id != anchor_id):
        finding = session.alignment.finding(lane_id)
        if finding is None:
            known = (found.lane_id for found in session.alignment.findings)
            raise NotInSession("finding", lane_id, known)
        if finding.arrival_samples is None:
            continue
        if lane_id == anchor_id:
            session = placed(session, lane_id, Before(NO_MOVE))
        else:
            move = lined_up(session, finding, finding.arrival_samples, finding.told_polarity)
            move = replace(move, rate_ppm=move.rate_ppm + finding.drift_ppm)
            session = with_found_move(session, finding, move, rounding)
        version = session.current_version
        session = with_version(session, replace(version, trying=without(version.trying, lane_id)))
    return session


def with_found_move(session: Session, finding: Finding, move: Move, rounding: Rounding) -> Session:
    """A lane where its finding puts it, rounded; that it was is written down."""
    placed = rounded(move, finding, rounding)
    return with_move(session, finding.lane_id, placed, by="finding", whole=placed != move)


def rounded(move: Move, finding: Finding, rounding: Rounding) -> Move:
    """The move with a whole shift, which copies every sample: always with "all"; with "within" where the
    finding is not known well enough to tell the two apart (one standard deviation) and nothing else moves
    samples.
    """
    whole = float(round(move.shift_samples))
    allowed = finding.uncertainty_samples if not move.rate_ppm else None
    if rounding == "all" or (
        rounding == "within" and allowed is not None and abs(move.shift_samples - whole) <= allowed
    ):
        return replace(move, shift_samples=whole)
    return move


def proposed_shift_samples(finding: Finding, rounding: Rounding) -> float | None:
    """The shift that lines a lane up on an anchor that stays; None where nothing is proposed."""
    shift = finding.proposed_shift_samples
    if shift is None:
        return None
    return rounded(Move(shift, rate_ppm=finding.drift_ppm), finding, rounding).shift_samples


def lined_up(session: Session, finding: Finding, arrival_samples: float, polarity: int | None) -> Move:
    """Where a lane with this arrival and polarity lines up on the anchor as it now is, without drift of its
    own. Where the polarity is None the lane's is kept."""
    anchor = session.current_version.move(session.alignment.anchor_id if session.alignment else "")
    own = session.current_version.move(finding.lane_id).polarity
    return Move(
        anchor.shift_samples - arrival_samples,
        own if polarity is None else polarity * anchor.polarity,
        anchor.rate_ppm,
    )


def all_accepted(session: Session, *, rounding: Rounding = "none") -> Session:
    """`accepted` for every lane of the analysis."""
    found = session.alignment.findings if session.alignment else ()
    return accepted(session, (finding.lane_id for finding in found), rounding=rounding)


def fresh_version_id(session: Session) -> str:
    """The lowest of v1, v2, ... that no version has."""
    taken = {version.id for version in session.versions}
    return next(name for name in (f"v{n}" for n in range(1, len(taken) + 2)) if name not in taken)


def with_new_version(session: Session, name: str, copy_of: str = ORIGINAL_ID) -> Session:
    """Add a version that starts as a copy of another, and make it current."""
    version = replace(session.version(copy_of), id=fresh_version_id(session), name=name, note="", extra={})
    return replace(with_version(session, version), current_version_id=version.id)


def with_current_version(session: Session, version_id: str) -> Session:
    """Choose the version that edits go to. Raises ValueError for the original."""
    if version_id == ORIGINAL_ID:
        raise ValueError("the original cannot be edited; choose another version")
    session.version(version_id)
    return replace(session, current_version_id=version_id)


def without_version(session: Session, version_id: str) -> Session:
    """Delete a version. Raises ValueError for the original and for the last one left."""
    if version_id == ORIGINAL_ID:
        raise ValueError("the original cannot be deleted")
    session.version(version_id)
    left = tuple(version for version in session.versions if version.id != version_id)
    if not left:
        raise ValueError("one version must stay to work in; rename it instead")
    current = session.current_version_id if session.current_version_id != version_id else left[-1].id
    marks = {key: mark for key, mark in session.marks.items() if version_id not in key.split()}
    return replace(session, versions=left, current_version_id=current, marks=marks)


def partly(version: Version, fraction: float) -> Version:
    """The version with every shift taken only in part: 0 = where recorded, 1 = all of it.

    Polarity and drift are kept whole: there is no half of a flip.
    """
    moves = {
        key: replace(move, shift_samples=fraction * move.shift_samples) for key, move in version.moves.items()
    }
    parts = {
        key: Origin("part", move)
        for key, move in moves.items()
        if move.shift_samples != version.moves[key].shift_samples
    }
    return replace(version, moves=moves, origins={**version.origins, **parts}, trying={})


def with_loop(session: Session, loop: tuple[int, int] | None) -> Session:
    """Raises ValueError unless start < stop."""
    if loop is not None and loop[0] >= loop[1]:
        raise ValueError("a loop ends after it starts")
    return replace(session, loop=loop)


def with_trial(session: Session, trial: Trial) -> Session:
    """Keep a finished trial; what was discarded before it is told by itself and counts anew."""
    left = dict(session.discarded_runs)
    left.pop(run_key(trial.mode, trial.version_ids), None)
    return replace(session, trials=(*session.trials, trial), discarded_runs=left)


def with_ranking(session: Session, ranking: Ranking) -> Session:
    """Keep what a blind run over several combinations came to."""
    return replace(session, rankings=(*session.rankings, ranking))


def with_mark(session: Session, cell_id: str, mark: Mark) -> Session:
    """Keep what is thought of a combination; nothing is kept of one that has neither stars nor a stroke.

    Raises ValueError for stars that cannot be given.
    """
    if not 0 <= mark.rating <= MOST_STARS:
        raise ValueError(f"give 0 to {MOST_STARS} stars, not {mark.rating}")
    others = without(session.marks, cell_id)
    return replace(session, marks=others if mark == Mark() else {**others, cell_id: mark})


def with_discarded_run(session: Session, mode: str, version_ids: tuple[str, str]) -> Session:
    """Count a run of a trial that was begun and is not kept."""
    key = run_key(mode, version_ids)
    return replace(
        session, discarded_runs={**session.discarded_runs, key: session.discarded_runs.get(key, 0) + 1}
    )
