"""An earlier state of a session in words: what is in it, and what is otherwise in the one on the desk."""

from __future__ import annotations

from datetime import datetime, timedelta

from lagline.desk.amounts import number_text
from lagline.session.values import Session, Version

MOST_LANES_TOLD = 12


def when_words(when: datetime, now: datetime) -> str:
    """A moment as people name it, in local time."""
    local, today = when.astimezone(), now.astimezone().date()
    day = {today: "Today", today - timedelta(days=1): "Yesterday"}.get(local.date(), f"{local:%a %d %b %Y}")
    return f"{day}, {local:%H:%M:%S}"


def state_words(then: Session, now: Session | None) -> tuple[str, ...]:
    """Sentences on a state, beside the one on the desk when there is one; the version being edited first."""
    version = then.current_version
    lines = [_counted(then)]
    if now is None or now == then:
        return (*lines, "This is what is on the desk now.") if now is not None else tuple(lines)
    lines += _lanes(then, now)
    lines += _moves(then, version, now)
    if (then.alignment is None) != (now.alignment is None):
        lines.append("It was not measured yet." if then.alignment is None else "It was measured.")
    elif then.alignment != now.alignment:
        lines.append("It was measured differently.")
    names = [name for _, name in then.version_names()]
    if names != [name for _, name in now.version_names()]:
        lines.append(f"Versions: {', '.join(names)}.")
    if then.notes != now.notes:
        lines.append(f"Notes: {then.notes}" if then.notes.strip() else "No notes.")
    if len(then.trials) != len(now.trials):
        lines.append(f"Blind trials: {len(then.trials)}, now {len(now.trials)}.")
    if len(lines) == 1:
        lines.append("Levels, places, the loop or other details differ from now.")
    return tuple(lines)


def _counted(session: Session) -> str:
    lanes, versions = len(session.lanes), len(session.versions)
    words = [
        f"{lanes} lane{'s' * (lanes != 1)}",
        f"{versions} version{'s' * (versions != 1)} and the original",
    ]
    if session.anchor_id is not None:
        words.append(f"anchor {session.lane(session.anchor_id).name}")
    return ", ".join(words) + "."


def _lanes(then: Session, now: Session) -> list[str]:
    names_then, names_now = ([lane.name for lane in session.lanes] for session in (then, now))
    lines = []
    if missing := [name for name in names_now if name not in names_then]:
        lines.append(f"Without {', '.join(missing)}.")
    if more := [name for name in names_then if name not in names_now]:
        lines.append(f"With {', '.join(more)}.")
    return lines


def _moves(then: Session, version: Version, now: Session) -> list[str]:
    """Shifts and flips of the version edited then, where they are others now."""
    other = now.version(version.id) if now.has_version(version.id) else None
    lines = []
    for lane in then.lanes:
        move = version.move(lane.id)
        if other is None or other.move(lane.id) != move:
            flipped = ", flipped" if move.polarity < 0 else ""
            lines.append(f"{lane.name}: {number_text(move.shift_samples, 2, signed=True)} samples{flipped}.")
    if len(lines) > MOST_LANES_TOLD:
        lines = [*lines[:MOST_LANES_TOLD], f"And {len(lines) - MOST_LANES_TOLD} more lanes."]
    return [f"In {version.name}, where it differs from now:", *lines] if lines else []
