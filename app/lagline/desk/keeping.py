"""What is on the desk and its file: saved, kept for after a crash, never lost or written over by mistake."""

from __future__ import annotations

import time
from pathlib import Path

from msgspec.structs import replace
from PySide6.QtCore import QObject, Signal

from lagline.desk.autosaver import Autosaver
from lagline.desk.proposed_place import free_place, proposed_place
from lagline.desk.questions import Questions
from lagline.desk.session_hold import HeldFile, SessionHold
from lagline.desk.settings import DeskSettings
from lagline.desk.store import SessionStore
from lagline.errors import CannotWrite, ChangedOnDisk, LaglineError, OpenElsewhere
from lagline.session.history import History
from lagline.session.lock import take
from lagline.session.owner import Owner
from lagline.session.restore_points import keep
from lagline.session.storage import encoded_session, save
from lagline.session.values import Session


class Keeping(QObject):
    """Puts the session of the store onto the disk; whoever opens one shows it through here."""

    problem = Signal(str)
    note = Signal(str)
    offer = Signal(str, str, str)  # what went wrong, and the command that helps: its id and its button

    def __init__(
        self, store: SessionStore, settings: DeskSettings, questions: Questions, parent: QObject
    ) -> None:
        super().__init__(parent)
        self._store, self._settings, self._ask = store, settings, questions
        self._precious: Session | None = None  # has no file, no undo, and opening does not bring it back
        self.hold = SessionHold(self)
        self.hold.lost.connect(self._taken_over)
        self.autosaver = Autosaver(store, self.would_lose, lambda: self.hold.stamp, self)
        self.autosaver.problem.connect(self.problem)

    def show(
        self,
        session: Session,
        file: HeldFile | None = None,
        *,
        saved: bool,
        called: str = "",
        history: History | None = None,
        is_precious: bool = False,
    ) -> None:
        """Put a session onto the desk, in place of what is there.

        `file` is its own, which may be written; `called` what it goes by without one. `is_precious`: what
        there is of it is nowhere else.
        """
        self.autosaver.start_over()
        self.hold.change(file)
        self._precious = session if is_precious else None
        self._store.open(session, file.path if file else None, saved=saved, called=called, history=history)

    # saving

    def save(self) -> bool:
        """Save where it was saved before; asks for a place the first time. False when it was not saved."""
        path = self._store.path
        if path is None:
            return self.save_as()
        try:
            return self._write(path, self.hold.stamp)
        except OpenElsewhere as error:
            self._give_up(error.who)
            return self.save_as()
        except ChangedOnDisk:
            return self._save_after_change(path)
        except LaglineError as error:
            return self._refused(error)

    def save_as(self) -> bool:
        """Save to a file that is asked for; whether it was saved."""
        session = self._store.session
        if session is None:
            return False
        path = self._ask.where_to_save(proposed_place(session, self._store.path))
        return path is not None and self._replace(path)

    def save_at(self, path: Path) -> bool:
        """Save to this file, whatever is there now; whether it was saved."""
        return self._replace(path)

    def _save_after_change(self, path: Path) -> bool:
        """Somebody else wrote the file: nobody's work goes without a word."""
        answer = self._ask.changed(path.name) if self._ask.can_ask else "both"
        if answer == "stay":
            return False
        return self._replace(path if answer == "replace" else free_place(path))

    def _replace(self, path: Path) -> bool:
        """Save there, whatever is there now; it becomes a restore point."""
        try:
            return self._write(path, None)
        except LaglineError as error:
            return self._refused(error)

    def _refused(self, error: LaglineError) -> bool:
        self.problem.emit(str(error))
        return False

    def _write(self, path: Path, known: str | None) -> bool:
        """`known`: the stamp of what may be replaced (see `storage.save`, also for what is raised)."""
        session = self._store.session
        if session is None:
            return False
        held = self.hold.file
        lock = held.lock if held is not None and held.path == path else take(path)
        if isinstance(lock, Owner):
            raise OpenElsewhere(path, lock.words)
        try:
            stamp = save(session, path, known=known, lock=lock)
        except LaglineError:
            if held is None or lock is not held.lock:
                lock.release()
            raise
        self.hold.change(HeldFile(lock, stamp))
        self.autosaver.discard()
        self._store.mark_saved(path)
        self._settings.remember_session(path)
        self.note.emit(f"Saved as {path.name}")
        return True

    # taken over, taken back

    def _taken_over(self, owner: Owner) -> None:
        self._give_up(owner.words)

    def _give_up(self, who: str) -> None:
        """The file is somebody else's now. The work stays here, and is kept as work without a file."""
        name, path = self._store.name, self._store.path
        self.hold.change(None)
        if path is None:
            return
        if self._store.is_modified:
            self._precious = self._store.session
        self._store.let_go_of_file(f"{name} (taken over)")
        self.autosaver.move()
        self.offer.emit(
            f"{path.name} was taken over ({who}), so this window no longer saves it. "
            "Your work is still here: save it under another name to keep it.",
            "save_as",
            "Save as…",
        )

    def take_back(self, session: Session, name: str) -> bool:
        """Make an earlier state the current one, as a step that can be undone; the present one is kept."""
        present, path = self._store.session, self._store.path
        if present is None or path is None:
            return False
        if self._store.is_modified:
            try:
                keep(path, encoded_session(present, path.parent), time.time())
            except OSError as error:
                return self._refused(CannotWrite(path, error))
        self._store.apply(name, lambda now: _with_known_places(session, now))
        return True

    # leaving

    def may_leave(self) -> bool:
        """Whether the session may be replaced or closed; asks when changes would be lost."""
        if self._store.session is None or not self.would_lose():
            return True
        answer = self._ask.unsaved(self._store.name)
        if answer == "save":
            return self.save()
        if answer == "discard":
            self.autosaver.discard()
            return True
        return False

    def would_lose(self) -> bool:
        """A take that was only opened has nothing in it that opening it again would not bring back."""
        store = self._store
        only_opened = store.path is None and store.undo_name is None and store.session is not self._precious
        return store.is_modified and not only_opened

    def close_take(self) -> None:
        """Leave the take, after asking about unsaved changes."""
        if self.may_leave():
            self.autosaver.discard()
            self.hold.change(None)
            self._store.open(None)

    def close(self) -> None:
        """End in order: what was to be kept has been saved, so nothing is offered at the next start."""
        self.autosaver.discard()
        self.autosaver.close()
        self.hold.close()


def _with_known_places(earlier: Session, now: Session) -> Session:
    """Recordings that were pointed to their new places since then are not missing again."""
    places = {
        (lane.id, lane.source.path.name, lane.source.frames): lane.source.path
        for lane in now.lanes
    }  # fmt: skip
    lanes = []
    for lane in earlier.lanes:
        source = lane.source
        path = places.get((lane.id, source.path.name, source.frames), source.path)
        lanes.append(lane if path == source.path else replace(lane, source=replace(source, path=path)))
    return replace(earlier, lanes=tuple(lanes))
