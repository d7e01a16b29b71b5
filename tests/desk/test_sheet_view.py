"""The delay sheet on screen, on the clipboard and on paper."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtPrintSupport import QPrinter
from PySide6.QtWidgets import QApplication, QComboBox, QDialog, QPushButton
from tests.support.invented_session import session

from lagline.deliver.sheet import delay_sheet
from lagline.deliver.sheet_text import sheet_text
from lagline.desk.planner.tables import ReadingTable
from lagline.desk.sheet_commands import PaperQuestions, print_sheet
from lagline.desk.sheet_view import SheetDialog
from lagline.session.values import Move, Version

FURTHER = Version("v2", "Half way", {"near": Move(50.0)}, note="Less dry")


class FakePaper(PaperQuestions):
    def __init__(self) -> None:
        self.path: Path | None = None

    def where_to_save_pdf(self, suggestion: Path) -> Path | None:
        self.suggested = suggestion
        return self.path


@pytest.fixture
def dialog(qtbot) -> SheetDialog:
    found = session()
    dialog = SheetDialog(replace(found, versions=(*found.versions, FURTHER)))
    qtbot.addWidget(dialog)
    dialog.show()
    qtbot.waitExposed(dialog)
    return dialog


def table(dialog: SheetDialog) -> ReadingTable:
    return dialog._tables.currentWidget()


def test_it_shows_the_delays_of_the_version(qtbot, dialog) -> None:
    # 101.37 samples at 48 kHz: 101.37 / 48 = 2.112 ms, at 343.2 m/s 0.725 m (ISO 9613-1, 20 degrees C).
    first = [table(dialog).item(0, column).text() for column in range(8)]
    assert first == ["Near left", "flip", "+0.0 dB", "centre", "2.112 ms", "101.37", "0.725", "2.38"]
    assert table(dialog).item(4, 0).text() == "Room (anchor)"
    version = dialog.findChild(QComboBox)
    version.setFocus()
    qtbot.keyClick(version, Qt.Key.Key_Down)
    assert table(dialog).item(0, 5).text() == "50.00"
    assert "Less dry" in dialog._remarks.text()


def test_it_is_copied_as_text_and_the_part_in_view_as_a_table(qtbot, dialog) -> None:
    found = session()
    qtbot.keyClick(dialog, Qt.Key.Key_C, Qt.KeyboardModifier.AltModifier)
    qtbot.waitUntil(lambda: "Copied as text" in dialog._said.text())
    assert QApplication.clipboard().text() == sheet_text(delay_sheet(found, found.current_version))
    dialog._tables.setCurrentIndex(1)
    qtbot.keyClick(dialog, Qt.Key.Key_T, Qt.KeyboardModifier.AltModifier)
    qtbot.waitUntil(lambda: "At other rates" in dialog._said.text())
    heading, near, *_ = QApplication.clipboard().text().splitlines()
    assert heading.split("\t")[:3] == ["lane", "at 44.1 kHz", "at 48 kHz"]
    assert near.split("\t")[2] == "101.37"


def test_paper_is_asked_for(qtbot, dialog) -> None:
    with qtbot.waitSignal(dialog.pdf_requested) as asked:
        qtbot.keyClick(dialog, Qt.Key.Key_D, Qt.KeyboardModifier.AltModifier)
    assert asked.args[0].version == "Shifted"
    with qtbot.waitSignal(dialog.print_requested):
        qtbot.keyClick(dialog, Qt.Key.Key_P, Qt.KeyboardModifier.AltModifier)


def test_it_prints_one_page(qapp, tmp_path: Path) -> None:
    printer = QPrinter(QPrinter.PrinterMode.HighResolution)
    printer.setOutputFormat(QPrinter.OutputFormat.PdfFormat)
    printer.setOutputFileName(str(tmp_path / "sheet.pdf"))
    found = session()
    print_sheet(delay_sheet(found, found.current_version), printer)
    pdf = (tmp_path / "sheet.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-1.")
    assert pdf.count(b"/Type /Page\n") == 1


def test_the_commands_copy_the_sheet_and_save_it_as_pdf(qtbot, desk, questions, tmp_path) -> None:
    paper = FakePaper()
    desk.commands.sheets._ask = paper
    commands = {name: desk.actions_by_id[name].trigger for name in ("copy_sheet", "sheet")}
    desk.parts.edits.shift("lane-1", 96.0)
    commands["copy_sheet"]()
    assert "96.00" in QApplication.clipboard().text()
    assert "copied" in desk.parts.messages.text
    said = []

    def save(dialog: QDialog) -> None:
        button = next(one for one in dialog.findChildren(QPushButton) if "DF" in one.text())
        for path in (tmp_path / "none" / "sheet.pdf", tmp_path / "sheet.pdf"):
            paper.path = path
            qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
            said.append(dialog._said.text())

    questions.with_dialog = save
    commands["sheet"]()
    assert "sheet.pdf" in said[0] and not (tmp_path / "none").exists()
    assert said[1] == "Saved as sheet.pdf."
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF-1.")
    assert paper.suggested == tmp_path / "take" / "take - Shifted - delay sheet.pdf"
