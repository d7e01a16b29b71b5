"""The command that looks through a session's restore points."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject

from lagline.desk.actions import Handler
from lagline.desk.dialogs.restore_words import state_words, when_words
from lagline.desk.job import Job
from lagline.desk.parts import DeskParts
from lagline.errors import LaglineError
from lagline.session.restore_points import RestorePoint, restore_points
from lagline.session.storage import load
from lagline.session.values import Session

if TYPE_CHECKING:
    from lagline.desk.dialogs.restore_points import RestorePointsDialog


class RestoreCommands(QObject):
    """Looks through a session's restore points and takes one back."""

    def __init__(self, parts: DeskParts) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self._dialog: RestorePointsDialog | None = None
        self._points: Sequence[RestorePoint] = ()
        self._folder = Path()
        self._read: dict[int, Session] = {}
        self._jobs: list[Job] = []

    def handlers(self) -> dict[str, Handler]:
        """What each of these commands does, by its id."""
        return {"restore_points": self.show}

    def show(self) -> None:
        """List the restore points of the session's file, or say why there are none."""
        path = self._parts.store.path
        if path is None:
            self._parts.messages.show_answer(
                "This take has no file yet. Once it is saved, each save keeps the one before.", "save", "Save"
            )
            return
        self._points, self._folder, self._read = restore_points(path), path.parent, {}
        if not self._points:
            self._parts.messages.show_answer(
                f"Nothing was saved over {path.name} yet: each save keeps the one before."
            )
            return
        from lagline.desk.dialogs.restore_points import RestorePointsDialog

        now = datetime.now(UTC)
        moments = [when_words(point.when, now) for point in self._points]
        dialog = self._dialog = RestorePointsDialog(self._parts.store.name, moments, self._parts.window)
        dialog.point_chosen.connect(self._look_at)
        dialog.take_back_requested.connect(self._take_back)
        dialog.begin()
        self._parts.questions.show(dialog)
        self._dialog = None

    def _look_at(self, index: int) -> None:
        """Read it on a thread: a session with its evidence is some MB."""
        if index in self._read:
            self._tell((index, self._read[index]))
            return
        path, folder = self._points[index].path, self._folder

        def work(_progress: Any, _cancelled: Any) -> tuple[int, Session | str]:
            try:
                return index, load(path, folder=folder)
            except LaglineError as error:
                return index, str(error)

        job = Job("Reading a restore point", work)
        self._jobs.append(job)
        job.done.connect(self._tell)
        job.failed.connect(self._parts.messages.show_problem)
        job.finished.connect(self._job_over)
        job.start()

    def _job_over(self) -> None:
        job = self.sender()
        self._jobs = [one for one in self._jobs if one is not job]

    def _tell(self, found: tuple[int, Session | str]) -> None:
        index, state = found
        if self._dialog is None:
            return
        if isinstance(state, str):
            self._dialog.show_unreadable(index, state)
            return
        self._read[index] = state
        self._dialog.show_state(index, state_words(state, self._parts.store.session))

    def _take_back(self, index: int) -> None:
        when = self._points[index].when.astimezone()
        if self._parts.keeping.take_back(self._read[index], f"Take back the state of {when:%Y-%m-%d %H:%M}"):
            self._parts.messages.show_note(
                f"The state of {when:%Y-%m-%d %H:%M} is on the desk, not saved yet.", "undo", "Undo"
            )

    def close(self) -> None:
        """Wait for what is still being read."""
        for job in self._jobs:
            job.wait()
