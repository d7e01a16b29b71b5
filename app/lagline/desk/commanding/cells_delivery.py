"""Combinations delivered from the board: asked for in a dialog, written in the background."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

from lagline.combinations.cells import Cell, timing_name
from lagline.deliver.options import DeliveryOptions
from lagline.desk.job import Job, Progress, Stopped
from lagline.desk.parts import DeskParts
from lagline.session.values import Session

if TYPE_CHECKING:
    from lagline.desk.panels.cells_dialog import CellsDialog
    from lagline.jobs.hand_over import HandedOver

DELIVERY_TITLE = "Delivering combinations"


class CellsDelivery(QObject):
    """One delivery at a time."""

    def __init__(self, parts: DeskParts) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self._dialog: CellsDialog | None = None
        self._job: Job | None = None

    def show(self, cells: tuple[Cell, ...], ticked: tuple[Cell, ...]) -> None:
        """Ask which of the cells of the board, and where to."""
        from lagline.desk.panels.cells_dialog import CellsDialog

        session = self._parts.store.session
        if session is None:
            return
        names = {cell: f"{cell.name}, {timing_name(session, cell)}" for cell in cells}
        starred = [cell for cell in cells if cell.id in session.marks and session.marks[cell.id].rating]
        dialog = self._dialog = CellsDialog(names, ticked, starred, self._parts.window)
        dialog.folder_requested.connect(self._ask_folder)
        dialog.deliver_requested.connect(partial(self._start, session))
        dialog.cancel_requested.connect(self.stop)
        self._parts.questions.show(dialog)
        self._dialog = None

    def _ask_folder(self, start: Path | None) -> None:
        folder = self._parts.questions.folder_to_open(start or self._parts.settings.folder, "Deliver into")
        if self._dialog is not None:
            self._dialog.show_folder(folder)

    def _start(
        self, session: Session, cells: tuple[Cell, ...], folder: Path, options: DeliveryOptions
    ) -> None:
        if self._job is not None:
            return
        heard = self._parts.playing.as_heard(session)

        def work(progress: Progress, cancelled: Stopped) -> HandedOver:
            from lagline.jobs.combine import hand_over_cells

            return hand_over_cells(heard, cells, folder, options, progress=progress, cancelled=cancelled)

        job = self._job = Job(DELIVERY_TITLE, work)
        job.progressed.connect(self._show_progress)
        job.done.connect(self._done)
        job.failed.connect(self._ended)
        job.cancelled.connect(partial(self._ended, "Stopped; nothing was written."))
        job.finished.connect(self._over)
        job.start()

    def stop(self) -> None:
        """Stop writing; nothing of it stays."""
        if self._job is not None:
            self._job.cancel()

    def _show_progress(self, fraction: float) -> None:
        self._parts.foot.show_task(DELIVERY_TITLE, fraction)
        if self._dialog is not None:
            self._dialog.show_progress(fraction)

    def _done(self, delivery: HandedOver) -> None:
        count = len(delivery.paths)
        text = f"{count} file{'s' if count != 1 else ''} written to {delivery.folder}."
        self._ended(" ".join((text, *delivery.warnings)))
        self._parts.messages.show_note(text)

    def _ended(self, sentence: str, *_: object) -> None:
        if self._dialog is not None:
            self._dialog.show_ended(sentence)

    def _over(self) -> None:
        self._job = None
        self._parts.foot.hide_task(DELIVERY_TITLE)

    def close(self) -> None:
        """Stop, and wait until it has."""
        job = self._job
        if job is not None:
            job.cancel()
            job.wait()
