"""A session file read for working on it: what it rests on, what a crash left, what is wrong."""

from __future__ import annotations

from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from lagline.errors import LaglineError, SessionUnreadable
from lagline.jobs.sources import SourceProblem, source_problems, with_fingerprints
from lagline.session.autosave import Kept, LeftBehind, left_behind
from lagline.session.owner import Owner
from lagline.session.restore_points import restore_points
from lagline.session.storage import load, stamp
from lagline.session.values import Session


class ReadSession(Struct, frozen=True):
    """With the fingerprints that older files lack, wherever their recordings are as they are known."""

    path: Path
    session: Session
    problems: tuple[SourceProblem, ...]
    stamp: str  # of the file, as it was before it was read
    left: LeftBehind
    unsaved: tuple[Kept, ...] = ()  # what a crash left that the file does not hold
    saved_too: tuple[Kept, ...] = ()  # and what it does, with the way it came to be
    unsaved_problems: tuple[tuple[SourceProblem, ...], ...] = ()
    damage: SessionUnreadable | None = None  # then the session is an earlier state of it

    def problems_of(self, kept: Kept) -> tuple[SourceProblem, ...]:
        """What is wrong with the recordings of a piece of unsaved work."""
        return self.unsaved_problems[self.unsaved.index(kept)]


def read_session(path: Path, *, apart_from: Owner | None = None) -> ReadSession:
    """Read a session file; when it is damaged, the newest earlier state that is whole.

    `apart_from`: whose unsaved work is still in their window. Raises as `storage.load`, of the file itself.
    """
    before, damage = stamp_now(path), None
    try:
        saved = load(path)
    except SessionUnreadable as error:
        found = _earlier(path)
        if found is None:
            raise
        saved, damage = found, error
    session, left = with_fingerprints(saved), left_behind(path, apart_from=apart_from)
    kept = [replace(one, session=with_fingerprints(one.session)) for one in left.kept]
    unsaved = tuple(one for one in kept if one.session != session)
    return ReadSession(
        path, session, source_problems(session), before, left, unsaved,
        tuple(one for one in kept if one.session == session),
        tuple(source_problems(one.session) for one in unsaved), damage,
    )  # fmt: skip


def stamp_now(path: Path) -> str:
    """The stamp of what is at `path`; empty when that can't be told, which no file's is."""
    try:
        return stamp(path) or ""
    except OSError:
        return ""


def _earlier(path: Path) -> Session | None:
    for point in restore_points(path):
        try:
            return load(point.path, folder=path.parent)
        except LaglineError:
            continue  # that one is damaged too
    return None
