"""The delay sheet on screen: choose a version, read it, copy it, print it."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import (
    QDialog,
    QHBoxLayout,
    QHeaderView,
    QPushButton,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from lagline.deliver.sheet import DelaySheet, delay_sheet
from lagline.deliver.sheet_text import rates_table, rounding_table, sheet_table, sheet_text
from lagline.deliver.tables import Table
from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.flow import FlowLayout
from lagline.desk.panels.themed import plain_label
from lagline.desk.planner.tables import ReadingTable
from lagline.desk.theme import MARGIN, PAD
from lagline.session.values import Session


class SheetDialog(QDialog):
    """Shows a version as delays to type into a delay unit or an editor; copies it by itself.

    Signals
    -------
    print_requested(DelaySheet) : print it.
    pdf_requested(DelaySheet) : ask for a file and write it there as PDF.
    """

    print_requested = Signal(object)
    pdf_requested = Signal(object)

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.setWindowTitle("Delay sheet")
        self._version = Chooser("Version", "The version whose delays are shown", least_letters=16)
        versions = [(version.name, version.id) for version in session.versions]
        self._version.offer(versions, session.current_version_id)
        self._version.currentIndexChanged.connect(self._refresh)
        self._head = plain_label(selectable=True)
        self._tables = QTabWidget()
        self._tables.setAccessibleName("Delay sheet")
        self._views: list[ReadingTable] = []
        self._tables.setUsesScrollButtons(False)  # three short names always fit
        self._tables.tabBar().setAccessibleName("Parts of the delay sheet")
        self._remarks = plain_label(selectable=True)
        self._remarks.setProperty("muted", True)
        self._said = plain_label()
        self._said.setAccessibleName("What was done")
        self._build()
        self._refresh()
        self.resize(900, 480)

    def _build(self) -> None:
        top = QHBoxLayout()
        top.setSpacing(PAD)
        label = plain_label("&Version", wrap=False)
        label.setBuddy(self._version)
        top.addWidget(label)
        top.addWidget(self._version)
        top.addWidget(self._head, 1)
        buttons = FlowLayout()
        for text, tip, answer in (
            ("&Copy as text", "All of it in columns, for a message or notes (Alt+C)", self._copy_text),
            (
                "Copy as &table",
                "The part in view, for a spreadsheet (Alt+T, or Ctrl+C in the table)",
                self._copy_table,
            ),
            ("Save as P&DF …", "A page to keep or send (Alt+D)", self._ask_pdf),
            ("&Print …", "A page for the rack (Alt+P)", self._ask_print),
            ("Close", "Close the delay sheet (Esc)", self.reject),
        ):
            button = QPushButton(text)
            button.setToolTip(tip)
            button.setAutoDefault(False)
            button.clicked.connect(answer)
            buttons.addWidget(button)
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(PAD)
        column.addLayout(top)
        column.addWidget(self._tables, 1)
        column.addWidget(self._remarks)
        column.addWidget(self._said)
        column.addLayout(buttons)

    def sheet(self) -> DelaySheet:
        """The sheet of the version that is chosen."""
        return delay_sheet(self._session, self._session.version(self._version.currentData()))

    def say(self, text: str) -> None:
        self._said.setText(text)
        self._said.setVisible(bool(text))

    def _refresh(self) -> None:
        sheet, part = self.sheet(), max(self._tables.currentIndex(), 0)
        on = f"Lined up on {sheet.anchor}. " if sheet.anchor else ""
        self._head.setText(f"{on}Session rate {sheet.rate_hz} Hz.")
        for view in self._views:
            view.deleteLater()
        self._tables.clear()
        self._views = []
        for name, table, tip in (
            ("Delays", sheet_table(sheet), "Delay of each lane, in ms, samples and distance"),
            ("At other rates", rates_table(sheet), "The same delays in samples at other sample rates"),
            (
                "For units with steps",
                rounding_table(sheet),
                "Rounded to what a unit takes, and what that does",
            ),
        ):
            self._views.append(_view(name, table))
            self._tables.addTab(self._views[-1], name)
            self._tables.setTabToolTip(self._tables.count() - 1, tip)
        self._tables.setCurrentIndex(part)
        self._remarks.setText("\n".join(part for part in (sheet.note, *sheet.remarks) if part))
        self.say("")

    def _copy_text(self) -> None:
        QGuiApplication.clipboard().setText(sheet_text(self.sheet()))
        self.say("Copied as text.")

    def _copy_table(self) -> None:
        table = self._tables.currentWidget()
        if isinstance(table, ReadingTable):
            QGuiApplication.clipboard().setText(table.as_text())
            self.say(f"Copied the table “{self._tables.tabText(self._tables.currentIndex())}”.")

    def _ask_pdf(self) -> None:
        self.pdf_requested.emit(self.sheet())

    def _ask_print(self) -> None:
        self.print_requested.emit(self.sheet())


def _view(name: str, table: Table) -> ReadingTable:
    """The delays stand right; the steps are sentences and stand left, as do words."""
    words = {"lane", "polarity"}
    left = [at for at, heading in enumerate(table.headings) if heading in words or heading.startswith("in ")]
    view = ReadingTable(f"Delay sheet, {name.lower()}", table.headings, left)
    for column in range(len(table.headings)):
        side = Qt.AlignmentFlag.AlignLeft if column in left else Qt.AlignmentFlag.AlignRight
        heading = view.horizontalHeaderItem(column)
        if heading is not None:
            heading.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
    view.show_rows(tuple(tuple(row) for row in table.rows))
    header = view.horizontalHeader()
    header.setHighlightSections(False)
    header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
    header.setSectionResizeMode(0, QHeaderView.ResizeMode.ResizeToContents)
    return view
