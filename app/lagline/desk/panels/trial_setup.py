"""First page of a blind trial: what is compared, how, and how often. Fixed once it starts."""

from __future__ import annotations

from msgspec import Struct
from PySide6.QtCore import Signal
from PySide6.QtGui import QValidator
from PySide6.QtWidgets import (
    QButtonGroup,
    QFormLayout,
    QHBoxLayout,
    QPushButton,
    QRadioButton,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.boxes import SpinBox
from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.themed import plain_label
from lagline.desk.panels.trial_texts import (
    KEYS_TEXT,
    USUAL_TRIALS,
    before_text,
    discarded_text,
    levels_text,
    passage_text,
)
from lagline.desk.theme import PAD
from lagline.playback.state import PlayState
from lagline.playback.trial import FEWEST, MOST, Mode
from lagline.session.values import ORIGINAL_ID, Session, run_key

ABX_TEXT = "Can I hear a difference? (ABX: is X the same as A or as B?)"
ODD_TEXT = "Can I hear a difference? (which of three is the odd one out: no need to name what differs)"
PREFERENCE_TEXT = "Which do I prefer? (two unnamed versions)"
RANGE_TEXT = f"{FEWEST} to {MOST}"


class TrialPlan(Struct, frozen=True):
    """What is fixed before the start."""

    mode: Mode
    version_ids: tuple[str, str]
    trials: int


class CountBox(SpinBox):
    """Takes more numbers than may start: what was typed stays to be read, not replaced in silence."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setRange(0, 9999)

    def validate(self, text: str, at: int) -> tuple[QValidator.State, str, int]:
        return super().validate(text, at) if text else (QValidator.State.Acceptable, text, at)

    def valueFromText(self, text: str) -> int:
        return super().valueFromText(text) if text else 0


class TrialSetup(QWidget):
    """Receives: `show_playback(PlayState)`.

    Signals
    -------
    pair_changed(tuple version_ids) : others are chosen; their levels must be known to start
    start_requested(TrialPlan)
    """

    pair_changed = Signal(tuple)
    start_requested = Signal(object)

    def __init__(
        self, session: Session, first_id: str, second_id: str, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._session, self._told = session, PlayState()
        self._abx = QRadioButton(ABX_TEXT)
        self._odd = QRadioButton(ODD_TEXT)
        self._preference = QRadioButton(PREFERENCE_TEXT)
        self._abx.setChecked(True)
        modes = QButtonGroup(self)
        for button in (self._abx, self._odd, self._preference):
            modes.addButton(button)
        modes.buttonClicked.connect(self._refresh)
        versions = [(name, version_id) for version_id, name in session.version_names()]
        self._first = Chooser("First version", "One of the two versions that are compared")
        self._first.offer(versions, first_id)
        self._second = Chooser("Second version", "The other of the two versions that are compared")
        self._second.offer(versions, second_id)
        for chooser in (self._first, self._second):
            chooser.currentIndexChanged.connect(self._pair_chosen)
        self._trials = CountBox()
        self._trials.setValue(USUAL_TRIALS)
        self._trials.setAccessibleName("Number of trials")
        self._trials.setToolTip("Fixed once it starts: stopping when it looks good would be no proof")
        self._trials.setAccessibleDescription(RANGE_TEXT)
        self._trials.valueChanged.connect(self._refresh)
        self._before = plain_label()
        self._before.setAccessibleName("What this many trials can show")
        self._passage = plain_label()
        self._passage.setAccessibleName("What you will hear")
        self._levels = plain_label()
        self._levels.setAccessibleName("Loudness")
        self._discarded = plain_label()
        self._discarded.setAccessibleName("Runs discarded before")
        self._objection = plain_label()
        self._start = QPushButton("Start")
        self._start.setDefault(True)
        self._start.setToolTip("Begin (Enter)")
        self._start.clicked.connect(self._ask)
        self._lay_out()
        self._refresh()

    def _lay_out(self) -> None:
        trials = QHBoxLayout()
        trials.addWidget(self._trials, 1)
        trials.addWidget(plain_label(RANGE_TEXT, wrap=False))
        keys = plain_label(KEYS_TEXT)
        keys.setProperty("muted", True)
        form = QFormLayout()
        form.setVerticalSpacing(PAD)
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        for text, buddy, field in (
            ("&First version", self._first, self._first),
            ("&Second version", self._second, self._second),
            ("&Number of trials", self._trials, trials),
        ):
            label = plain_label(text, wrap=False)
            label.setBuddy(buddy)
            form.addRow(label, field)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(PAD)
        column.addWidget(self._abx)
        column.addWidget(self._odd)
        column.addWidget(self._preference)
        column.addLayout(form)
        column.addWidget(self._before)
        column.addWidget(self._passage)
        column.addWidget(self._levels)
        column.addWidget(self._discarded)
        column.addWidget(keys)
        column.addWidget(self._objection)
        column.addStretch(1)
        column.addWidget(self._start)

    def show_playback(self, told: PlayState) -> None:
        """How playback stands, until the start."""
        self._told = told
        self._refresh()

    def plan(self) -> TrialPlan:
        return TrialPlan(
            "abx" if self._abx.isChecked() else "odd" if self._odd.isChecked() else "preference",
            (self._first.currentData() or ORIGINAL_ID, self._second.currentData() or ORIGINAL_ID),
            self._trials.value(),
        )

    def _pair_chosen(self) -> None:
        self._told = PlayState()  # until playback says more
        self._refresh()
        self.pair_changed.emit(self.plan().version_ids)

    def _refresh(self) -> None:
        plan = self.plan()
        can_be = FEWEST <= plan.trials <= MOST
        self._before.setText(before_text(plan.mode, plan.trials) if can_be else "")
        objections = []
        if plan.version_ids[0] == plan.version_ids[1]:
            objections.append("Choose two different versions.")
        if not can_be:
            objections.append(f"Choose {RANGE_TEXT} trials.")
        self._objection.setText(" ".join(objections))
        self._objection.setVisible(bool(objections))
        self._passage.setText(passage_text(self._session, self._told))
        self._levels.setText(levels_text(self._told, plan.version_ids))
        discarded = self._session.discarded_runs.get(run_key(plan.mode, plan.version_ids), 0)
        self._discarded.setText(discarded_text(discarded))
        self._discarded.setVisible(bool(discarded))
        # Levels and moments stay as they are within a trial, so they have to be known before it.
        self._start.setEnabled(not objections and self._told.levels_known)

    def _ask(self) -> None:
        if self._start.isEnabled():
            self.start_requested.emit(self.plan())
