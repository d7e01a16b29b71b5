"""The one mutable thing of the desk: which session is current, and how it came to be."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from msgspec import Struct
from PySide6.QtCore import QObject, Signal

from lagline.session.history import History
from lagline.session.values import Session

MOST_STEPS = 1000  # sessions share almost everything, so a step costs a few kB


class Step(Struct, frozen=True):
    """One step of the history: what was done, and the session as it was before and after."""

    name: str
    before: Session
    after: Session
    group: str | None = None


class SessionStore(QObject):
    """Holds the current session, its history and what is saved; tells when it changes.

    Knows no session logic: an edit is a function Session -> Session of lagline.session.edits.
    """

    leaving = Signal()  # the take goes, and another or none comes: views forget what they kept of it
    changed = Signal(object)  # the new Session, or None when the desk is emptied
    history_changed = Signal()  # undo and redo names, or whether there is something to save

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session: Session | None = None
        self._saved: Session | None = None
        self._path: Path | None = None
        self._called = ""
        self._done: list[Step] = []
        self._undone: list[Step] = []

    @property
    def session(self) -> Session | None:
        return self._session

    @property
    def path(self) -> Path | None:
        """Where the session is saved; None for one that never was."""
        return self._path

    @property
    def name(self) -> str:
        """What the session goes by in the window: its file's name, once it has one."""
        if self._path is not None:
            return self._path.stem
        return self._called or (self._session.name if self._session is not None else "")

    @property
    def is_modified(self) -> bool:
        return self._session is not self._saved

    @property
    def undo_name(self) -> str | None:
        """What undo would take back; None when there is nothing."""
        return self._done[-1].name if self._done else None

    @property
    def redo_name(self) -> str | None:
        return self._undone[-1].name if self._undone else None

    @property
    def history(self) -> History | None:
        """How the current session came to be, and what redo leads to."""
        if self._session is None:
            return None
        ahead = self._undone[::-1]
        states = (*(step.before for step in self._done), self._session, *(step.after for step in ahead))
        names = tuple(step.name for step in (*self._done, *ahead))
        return History(states, names, len(self._done))

    def open(
        self,
        session: Session | None,
        path: Path | None = None,
        *,
        saved: bool = True,
        called: str = "",
        history: History | None = None,
    ) -> None:
        """Start over with a session (None empties the desk).

        `saved`: nothing of it would be lost. `called`: what it goes by while it has no file. `history`: how
        it came to be, as far as that is known.
        """
        self.leaving.emit()
        self._session, self._path, self._called = session, path, called
        self._saved = session if saved else None
        self._done.clear()
        self._undone.clear()
        if session is not None and history is not None:
            steps = [
                Step(*one) for one in zip(history.names, history.states, history.states[1:], strict=False)
            ]
            self._done = steps[: history.at]
            self._undone = steps[history.at :][::-1]
        self._tell()

    def let_go_of_file(self, called: str) -> None:
        """The session stays, with its history, but has no file any more."""
        self._path, self._called = None, called
        self.history_changed.emit()

    def apply(self, name: str, edit: Callable[[Session], Session], group: str | None = None) -> None:
        """Make an edit the current session, as one step that undo calls by `name`.

        Steps in a row with the same `group` become one: a drag is undone at once. What the edit raises
        (ValueError, LaglineError) goes to the caller, and nothing is changed. Without a session, or when
        the edit returns an equal one, nothing happens.
        """
        before = self._session
        if before is None:
            return
        after = edit(before)
        if after == before:
            return
        last = self._done[-1] if self._done else None
        if last is not None and group is not None and last.group == group and not self._undone:
            self._done[-1] = Step(name, last.before, after, group)
        else:
            self._done.append(Step(name, before, after, group))
            del self._done[:-MOST_STEPS]
        self._undone.clear()
        self._session = after
        self._tell()

    def end_group(self) -> None:
        """The next edit is a step of its own, whatever its group."""
        if self._done and self._done[-1].group is not None:
            last = self._done[-1]
            self._done[-1] = Step(last.name, last.before, last.after, None)

    def undo(self) -> None:
        if self._done:
            step = self._done.pop()
            self._undone.append(step)
            self._session = step.before
            self._tell()

    def redo(self) -> None:
        if self._undone:
            step = self._undone.pop()
            self._done.append(step)
            self._session = step.after
            self._tell()

    def mark_saved(self, path: Path) -> None:
        """The current session is what the file at `path` holds."""
        self._saved, self._path, self._called = self._session, path, ""
        self.end_group()
        self.history_changed.emit()

    def _tell(self) -> None:
        self.changed.emit(self._session)
        self.history_changed.emit()
