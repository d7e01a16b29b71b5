"""Commands for the delay sheet: show it, copy it; and its way to paper."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QMarginsF, QObject
from PySide6.QtGui import QGuiApplication, QPageLayout
from PySide6.QtWidgets import QFileDialog, QWidget

from lagline.desk.proposed_place import proposed_folder
from lagline.errors import CannotWrite, LaglineError
from lagline.files import write_whole

if TYPE_CHECKING:  # loaded when first used
    from PySide6.QtPrintSupport import QPrinter

    from lagline.deliver.sheet import DelaySheet
    from lagline.desk.parts import DeskParts
    from lagline.desk.sheet_view import SheetDialog

MARGIN_MM = 12.0


class PaperQuestions:
    """Asks for a printer or a file. `parent` is the window the dialogs belong to."""

    def __init__(self, parent: QWidget) -> None:
        self._parent = parent

    def printer(self) -> QPrinter | None:
        from PySide6.QtPrintSupport import QPrintDialog, QPrinter

        printer = QPrinter(QPrinter.PrinterMode.HighResolution)
        return printer if QPrintDialog(printer, self._parent).exec() else None

    def where_to_save_pdf(self, suggestion: Path) -> Path | None:
        """Asks by itself before a file is replaced."""
        dialog = QFileDialog(self._parent, "Save the delay sheet", str(suggestion))
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.setNameFilter("PDF (*.pdf)")
        dialog.setDefaultSuffix("pdf")
        dialog.selectFile(suggestion.name)
        return Path(dialog.selectedFiles()[0]) if dialog.exec() else None


class SheetCommands(QObject):
    """`ask` is for tests; by default the dialogs of the system."""

    def __init__(self, parts: DeskParts, ask: PaperQuestions | None = None) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self._ask = ask or PaperQuestions(parts.window)

    def handlers(self) -> dict[str, Callable[[], object]]:
        return {"sheet": self.show_sheet, "copy_sheet": self.copy}

    def copy(self) -> None:
        """The current version's delay sheet as text on the clipboard."""
        from lagline.deliver.sheet import delay_sheet
        from lagline.deliver.sheet_text import sheet_text

        session = self._parts.store.session
        if session is None:
            return
        version = session.current_version
        QGuiApplication.clipboard().setText(sheet_text(delay_sheet(session, version)))
        self._parts.messages.show_note(f"Delay sheet of “{version.name}” copied as text.")

    def show_sheet(self) -> None:
        from lagline.desk.sheet_view import SheetDialog

        session = self._parts.store.session
        if session is None:
            return
        dialog = SheetDialog(session, self._parts.window)
        dialog.print_requested.connect(partial(self._print, dialog))
        dialog.pdf_requested.connect(partial(self._save_pdf, dialog))
        self._parts.questions.show(dialog)

    def _print(self, dialog: SheetDialog, sheet: DelaySheet) -> None:
        printer = self._ask.printer()
        if printer is not None:
            print_sheet(sheet, printer)
            dialog.say("Sent to the printer.")

    def _save_pdf(self, dialog: SheetDialog, sheet: DelaySheet) -> None:
        from lagline.deliver.names import safe_stem

        name = f"{safe_stem(f'{sheet.take} - {sheet.version} - delay sheet')}.pdf"
        session, saved_as = self._parts.store.session, self._parts.store.path
        if session is None:
            return
        path = self._ask.where_to_save_pdf(proposed_folder(session, saved_as) / name)
        if path is None:
            return
        try:
            save_sheet_pdf(sheet, path)
        except LaglineError as error:
            dialog.say(str(error))
        else:
            dialog.say(f"Saved as {path.name}.")


def print_sheet(sheet: DelaySheet, printer: QPrinter) -> None:
    """Print on a printer, or into the file it is set to."""
    from lagline.deliver.sheet_text import sheet_html
    from lagline.desk.paper_pages import print_document
    from lagline.desk.report_pdf import paper_document

    printer.setDocName(f"Delay sheet, {sheet.take}")
    margins = QMarginsF(MARGIN_MM, MARGIN_MM, MARGIN_MM, MARGIN_MM)
    printer.setPageMargins(margins, QPageLayout.Unit.Millimeter)
    print_document(paper_document(sheet_html(sheet)), printer)


def save_sheet_pdf(sheet: DelaySheet, path: Path) -> None:
    """Write the page as PDF, whole or not at all. Raises CannotWrite."""
    from lagline.deliver.sheet_text import sheet_html
    from lagline.desk.report_pdf import report_pdf

    try:
        write_whole(path, report_pdf(sheet_html(sheet)))
    except OSError as error:
        raise CannotWrite(path, error.strerror or str(error)) from error
