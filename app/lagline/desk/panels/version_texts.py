"""What the versions panel says: pure functions of the session, no Qt."""

from __future__ import annotations

from msgspec import Struct

from lagline.desk.panels.figures import ms_text, signed
from lagline.session.balance_words import balance_words
from lagline.session.trial_words import trial_words
from lagline.session.values import ORIGINAL_ID, Session, Version

MOST_TRIALS = 3  # told in the panel
STILL = 0.005  # samples; a shift below this is none


class LaneDifference(Struct, frozen=True):
    """One lane in two versions, as text."""

    name: str
    first: str
    second: str
    difference: str
    in_ms: str


def all_versions(session: Session) -> tuple[Version, ...]:
    """Original, then the others in their order."""
    return (session.original, *session.versions)


def version_summary(session: Session, version: Version) -> str:
    """`2 lanes shifted, up to 118.0 samples; 1 flipped; 1 muted`."""
    if version.id == ORIGINAL_ID:
        return "as recorded; cannot be edited"
    moves = [version.move(lane.id) for lane in session.lanes]
    shifts = [abs(move.shift_samples) for move in moves if abs(move.shift_samples) >= STILL]
    flips = sum(move.polarity < 0 for move in moves)
    parts = []
    if shifts:
        lanes = "1 lane" if len(shifts) == 1 else f"{len(shifts)} lanes"
        parts.append(f"{lanes} shifted, up to {max(shifts):.1f} samples")
    if flips:
        parts.append(f"{flips} flipped")
    mutes = sum(version.balance(lane.id).mute for lane in session.lanes)
    said = [*(parts or ["nothing shifted yet"]), *([f"{mutes} muted"] if mutes else [])]
    return "; ".join(said)


def differences(session: Session, first: Version, second: Version) -> tuple[LaneDifference, ...]:
    """Every lane in two versions, and what the second makes of it over the first."""
    session, rows = session.compared(first.id, second.id), []
    first, second = session.version(first.id), session.version(second.id)
    for lane in session.lanes:
        one, other = first.move(lane.id), second.move(lane.id)
        by = other.shift_samples - one.shift_samples
        words = []
        if abs(by) >= STILL:
            words.append(signed(by, 2))
        if one.polarity != other.polarity:
            words.append("flipped")
        if (balance := second.balance(lane.id)) != first.balance(lane.id):
            words.append(balance_words(balance) or "balanced as recorded")
        first_text, second_text = _move(first, lane.id), _move(second, lane.id)
        in_ms = f"{lane.name}: {ms_text(by, session.rate_hz)}"
        rows.append(LaneDifference(lane.name, first_text, second_text, ", ".join(words), in_ms))
    return tuple(rows)


def trial_lines(session: Session, version_id: str) -> tuple[str, ...]:
    """The kept blind trials that a version was in, the latest first, as the report words them."""
    trials = [trial for trial in reversed(session.trials) if version_id in trial.version_ids]
    lines = [trial_words(session, trial).line for trial in trials[:MOST_TRIALS]]
    if not lines:
        return ()
    more = len(trials) - len(lines)
    head = "1 blind trial" if len(trials) == 1 else f"{len(trials)} blind trials"
    return (f"{head}:", *lines, *([f"and {more} more, all in the report"] if more else []))


def free_version_name(session: Session, wanted: str) -> str:
    """The wanted name, or the first of `wanted 2`, `wanted 3` ... that no version has."""
    taken = {version.name.casefold() for version in all_versions(session)}
    name, number = wanted, 1
    while name.casefold() in taken:
        number += 1
        name = f"{wanted} {number}"
    return name


def _move(version: Version, lane_id: str) -> str:
    move = version.move(lane_id)
    flip = " ⊖" if move.polarity < 0 else ""
    return f"{signed(move.shift_samples, 2)}{flip}"
