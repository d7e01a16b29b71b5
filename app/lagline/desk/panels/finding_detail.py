"""What belongs to the chosen line of the findings: its sentence, the places to try, and what to do."""

from __future__ import annotations

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QMenu,
    QPlainTextEdit,
    QPushButton,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.panels.finding_texts import FindingLine, candidate_text, candidates
from lagline.desk.theme import GAP, TARGET
from lagline.session.findings import Finding
from lagline.session.values import Session

LINES = 4
TRY, PUT_BACK = "Try", "Put back"


class FindingDetail(QWidget):
    """Of one size and with its buttons in one place, whichever line is chosen and whatever is done.

    Signals: accept_asked(), try_asked(int index) with THE_FINDING for the finding itself, put_back_asked(),
    read_asked(): open the guide at what explains the finding.
    """

    accept_asked = Signal()
    try_asked = Signal(int)
    put_back_asked = Signal()
    read_asked = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session: Session | None = None
        self._finding: Finding | None = None
        self._line: FindingLine | None = None
        self._words = QPlainTextEdit()
        self._words.setReadOnly(True)
        self._words.setFrameShape(QFrame.Shape.NoFrame)
        self._words.setFocusPolicy(Qt.FocusPolicy.ClickFocus)
        self._words.setAccessibleName("What was found")
        self._words.setToolTip("What was found for the chosen lane")
        self._words.setProperty("plain", True)  # for the style sheet
        self._words.document().setDocumentMargin(0)
        self._words.setFixedHeight(LINES * self.fontMetrics().lineSpacing() + 2)
        self._try = self._button(TRY)
        self._try.clicked.connect(self.try_next)
        self._menu = QMenu(self)
        self._menu.aboutToShow.connect(self._fill_menu)
        self._places = QToolButton()
        self._places.setText("Places ▾")
        self._places.setProperty("signed", True)  # for the style sheet
        self._places.setToolTip("Choose among the finding and its runners-up")
        self._places.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self._places.setMenu(self._menu)
        self._accept = self._button("Accept")
        self._accept.clicked.connect(self.accept_asked)
        self._put_back = self._button(PUT_BACK)
        self._put_back.clicked.connect(self.put_back_asked)
        self._read = QToolButton()
        self._read.setText("?")
        self._read.setMinimumSize(TARGET, TARGET)
        self._read.setToolTip("Read in the guide what this says and what to do (Ctrl+F1)")
        self._read.clicked.connect(self.read_asked)
        buttons = QHBoxLayout()
        buttons.setSpacing(GAP)
        for button in (self._try, self._places, self._accept, self._put_back):
            buttons.addWidget(button)
        buttons.addStretch(1)
        buttons.addWidget(self._read)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GAP)
        column.addWidget(self._words)
        column.addLayout(buttons)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)

    def show_line(self, session: Session | None, line: FindingLine | None) -> None:
        """Show one lane's finding in words, with what can be done about it."""
        self._session, self._line = session, line
        alignment = session.alignment if session is not None else None
        self._finding = (
            alignment.finding(line.lane_id) if alignment is not None and line is not None else None
        )
        text = ""
        if line is not None:
            stands = ", ".join(part for part in (line.polarity, line.placement) if part)
            stands = f"{stands[:1].upper()}{stands[1:]}. " if stands else ""
            text = f"{line.full}\n{stands}{line.sentence}"
        with QSignalBlocker(self._words):
            if self._words.toPlainText() != text:
                self._words.setPlainText(text)
        self._try.setEnabled(line is not None and line.next_index is not None)
        self._places.setEnabled(self._finding is not None and bool(candidates(self._finding)))
        self._accept.setEnabled(line is not None and line.can_accept)
        self._put_back.setEnabled(line is not None and line.can_put_back)
        self._read.setEnabled(line is not None and line.trust is not None)
        name = line.name if line is not None else ""
        keep = line is not None and line.placement.startswith("trying")
        for button, spoken, tip in (
            (self._try, f"Try another place for {name}", "Put the lane at the next place and hear it (R)"),
            (self._places, f"Places to try for {name}", ""),
            (
                self._accept,
                f"Accept {name}",
                "Keep it where it is tried (Enter)" if keep else "Line this lane up on the finding (Enter)",
            ),
            (
                self._put_back,
                f"Put back {name}",
                "Back to where it was before (Delete)" if keep else "Back to where it was recorded (Delete)",
            ),
            (self._read, f"Read about the finding of {name}", ""),
        ):
            button.setAccessibleName(spoken)
            if tip:
                button.setToolTip(tip)

    def try_next(self) -> None:
        """Ask for the lane to be put at the next place, if there is one."""
        if self._line is not None and self._line.next_index is not None:
            self.try_asked.emit(self._line.next_index)

    def put_back(self) -> None:
        """Ask for the lane to be put back, if it was moved."""
        if self._put_back.isEnabled():
            self.put_back_asked.emit()

    @property
    def said(self) -> str:
        """The words that are shown."""
        return self._words.toPlainText()

    def _fill_menu(self) -> None:
        self._menu.clear()
        if self._finding is None or self._session is None or self._line is None:
            return
        for index, candidate in candidates(self._finding):
            action = self._menu.addAction(candidate_text(self._session, self._finding, index, candidate))
            action.setCheckable(True)
            action.setChecked(index == self._line.placed_index)
            action.setData(index)
            action.triggered.connect(self._ask_menu_choice)

    def _ask_menu_choice(self) -> None:
        self.try_asked.emit(int(self.sender().data()))  # type: ignore[attr-defined]

    def _button(self, text: str) -> QPushButton:
        button = QPushButton(text)
        button.setMinimumHeight(TARGET)
        return button
