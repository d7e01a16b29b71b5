"""How far must a microphone move to put a notch somewhere else? Asked, answered, done."""

from __future__ import annotations

from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.boxes import ComboBox, DoubleSpinBox, SpinBox
from lagline.desk.panels.themed import plain_label
from lagline.desk.planner.figures import length_text
from lagline.desk.theme import MARGIN, PAD
from lagline.jobs.plan import moves_for_notch
from lagline.session.plan import Plan


class NotchForm(QWidget):
    """Signals
    -------
    move_requested(str name, float distance_m) : put this microphone at that distance from the source.
    """

    move_requested = Signal(str, float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._plan = Plan()
        self._lane, self._other = ComboBox(), ComboBox()
        self._number = SpinBox()
        self._number.setRange(1, 20)
        self._hertz = DoubleSpinBox()
        self._hertz.setRange(20.0, 20_000.0)
        self._hertz.setDecimals(0)
        self._hertz.setValue(100.0)
        self._hertz.setSuffix(" Hz")
        form = QGridLayout()
        form.setHorizontalSpacing(MARGIN)
        for row, (text, box) in enumerate(
            (
                ("Move", self._lane),
                ("so that with", self._other),
                ("notch number", self._number),
                ("lies at", self._hertz),
            )
        ):
            label = QLabel(text)
            label.setBuddy(box)
            box.setAccessibleName(text)
            form.addWidget(label, row, 0)
            form.addWidget(box, row, 1)
        form.setColumnStretch(2, 1)
        self._answers = QVBoxLayout()
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(MARGIN)
        column.addLayout(form)
        column.addLayout(self._answers)
        column.addStretch(1)
        self._lane.currentTextChanged.connect(self._answer)
        self._other.currentTextChanged.connect(self._answer)
        self._number.valueChanged.connect(self._answer)
        self._hertz.valueChanged.connect(self._answer)

    def show_plan(self, plan: Plan) -> None:
        """Offer the plan's lanes and answer anew; the two that were chosen stay."""
        names = [lane.name for lane in plan.lanes]
        if names != [lane.name for lane in self._plan.lanes]:
            for box, first in ((self._lane, 1), (self._other, 0)):
                kept = box.currentText()
                with QSignalBlocker(box):
                    box.clear()
                    box.addItems(names)
                    box.setCurrentIndex(names.index(kept) if kept in names else min(first, len(names) - 1))
        self._plan = plan
        self._answer()

    def ask(self, name: str, other: str, hertz: float, number: int = 1) -> None:
        """Fill the form in."""
        self._lane.setCurrentText(name)
        self._other.setCurrentText(other)
        self._number.setValue(number)
        self._hertz.setValue(hertz)

    def answer_texts(self) -> list[str]:
        """The answers as they are shown."""
        return [label.text() for label in self.findChildren(QLabel, "answer")]

    def _answer(self) -> None:
        while self._answers.count():
            item = self._answers.takeAt(0)
            old = None if item is None else item.widget()
            if old is not None:
                old.setParent(None)
                old.deleteLater()
        name, other = self._lane.currentText(), self._other.currentText()
        if not name or not other or name == other:
            self._say("Add two lanes and choose them to see how far one of them must move.")
            return
        moves = moves_for_notch(self._plan, name, other, self._hertz.value(), self._number.value())
        if not moves:
            self._say(f"{name} is a direct line: it has no place to move from. Choose the microphone.")
        for move in moves:
            way = "away from" if move.by_m >= 0 else "towards"
            self._say(
                f"{length_text(abs(move.by_m))} {way} the source, to {length_text(move.distance_m)}",
                name,
                move.distance_m,
            )

    def _say(self, text: str, name: str = "", distance_m: float = 0.0) -> None:
        line = QWidget()
        row = QHBoxLayout(line)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(PAD)
        label = plain_label(text)
        label.setObjectName("answer")
        if name:
            button = QPushButton("Move it there")
            button.setAccessibleName(f"Move {name} {text}")
            button.clicked.connect(lambda: self.move_requested.emit(name, distance_m))
            row.addWidget(button)
        row.addWidget(label, 1)
        self._answers.addWidget(line)
