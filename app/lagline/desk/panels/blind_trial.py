"""Blind trials: hear a difference (ABX, odd one out), or prefer one of two, with an honest result."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from msgspec.structs import replace
from PySide6.QtCore import Signal
from PySide6.QtGui import QCloseEvent
from PySide6.QtWidgets import QDialog, QHBoxLayout, QPushButton, QStackedWidget, QVBoxLayout, QWidget

from lagline.desk.panels.text_box import TextBox
from lagline.desk.panels.themed import plain_label
from lagline.desk.panels.trial_page import TrialPage
from lagline.desk.panels.trial_setup import TrialPlan, TrialSetup
from lagline.desk.panels.trial_texts import discarded_text, meaning_text, result_text
from lagline.desk.theme import MARGIN, PAD
from lagline.errors import NotInSession
from lagline.playback.state import PlayState
from lagline.playback.trial import BlindTrial, Mode, new_trial
from lagline.session.values import ORIGINAL_ID, Session, Trial, run_key

Draw = Callable[[Mode, tuple[str, str], int], BlindTrial]
TITLE = "Blind trial"  # the same from beginning to end


class BlindTrialDialog(QDialog):
    """Set up, listen and answer, read the result.

    `session` : with the loop that the trial goes round, which it must have.
    Receives: `show_playback(PlayState)`: what to say of it before the start, what has played after it.

    While a trial runs nothing in this window depends on what is heard or on how it goes. `draw` draws the
    hidden order (tests know theirs).

    Signals
    -------
    pair_changed(tuple version_ids) : the two chosen to be compared, before a trial begins.
    hidden_changed(bool hidden, tuple version_ids) : a trial begins: hide what would give it away
        (`Player.set_hidden`); or it is over.
    hear_requested(str version_id) : for the player only (`Player.audition`).
    play_requested() : play or stop.
    trial_finished(Trial) : keep it with the session (edits.with_trial).
    run_discarded(str mode, tuple version_ids) : a run was begun and will not be kept
        (edits.with_discarded_run).
    """

    pair_changed = Signal(tuple)
    hidden_changed = Signal(bool, tuple)
    hear_requested = Signal(str)
    play_requested = Signal()
    trial_finished = Signal(object)
    run_discarded = Signal(str, tuple)

    def __init__(
        self,
        session: Session,
        first_id: str = ORIGINAL_ID,
        second_id: str | None = None,
        parent: QWidget | None = None,
        *,
        draw: Draw = new_trial,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle(TITLE)
        self.setAccessibleName(TITLE)
        self._session, self._draw = session, draw
        self._trial: BlindTrial | None = None
        self._page: TrialPage | None = None
        self._setup = TrialSetup(session, first_id, second_id or session.current_version_id)
        self._setup.start_requested.connect(self._begin)
        self._setup.pair_changed.connect(self.pair_changed)
        self._pages = QStackedWidget()
        self._pages.addWidget(self._setup)
        self._cancel = QPushButton("Cancel")
        self._cancel.setAutoDefault(False)
        self._cancel.setToolTip("Leave (Esc). A run that was begun counts as discarded.")
        self._cancel.clicked.connect(self.reject)
        foot = QHBoxLayout()
        foot.addStretch(1)
        foot.addWidget(self._cancel)
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(PAD)
        column.addWidget(self._pages, 1)
        column.addLayout(foot)
        self.resize(480, 420)

    def show_playback(self, told: PlayState) -> None:
        if self._pages.currentWidget() is self._setup:
            self._setup.show_playback(told)
        elif self._page is not None:
            self._page.show_playback(told)

    @property
    def version_ids(self) -> tuple[str, str]:
        """The two that are chosen to be compared."""
        return self._setup.plan().version_ids

    @property
    def is_running(self) -> bool:
        """A trial has begun and is not answered to the end."""
        return self._trial is not None and not self._trial.is_done

    def _begin(self, plan: TrialPlan) -> None:
        self._trial = self._draw(plan.mode, plan.version_ids, plan.trials)
        self.hidden_changed.emit(True, plan.version_ids)
        self._page = TrialPage(self._trial, self._session.rate_hz)
        self._page.hear_requested.connect(self.hear_requested)
        self._page.play_requested.connect(self.play_requested)
        self._page.answered.connect(self._answered)
        self._show(self._page)

    def _answered(self, choice: str) -> None:
        if self._trial is None or self._page is None:
            return
        self._trial = self._trial.answer(choice)
        if not self._trial.is_done:
            self._page.show_trial(self._trial)
            return
        self._page = None
        key = run_key(self._trial.mode, self._trial.version_ids)
        trial = self._trial.finished(
            datetime.now().astimezone().isoformat(timespec="seconds"),
            discarded=self._session.discarded_runs.get(key, 0),
        )
        self.hidden_changed.emit(False, ())
        first, second = trial.version_ids
        result = TrialResult(trial, self._name(first), self._name(second))
        result.keep_requested.connect(self._keep)
        self._cancel.setText("Discard")
        self._cancel.setToolTip("Close without keeping the result (Esc); the next one says so")
        self._show(result)

    def _show(self, page: QWidget) -> None:
        old = self._pages.currentWidget()
        self._pages.addWidget(page)
        self._pages.setCurrentWidget(page)
        page.setFocus()
        if old is not None:
            self._pages.removeWidget(old)
            old.deleteLater()

    def _name(self, version_id: str) -> str:
        try:
            return self._session.version(version_id).name
        except NotInSession:  # deleted while the trial ran
            return version_id

    def _keep(self, trial: Trial) -> None:
        self._trial = None
        self.trial_finished.emit(trial)
        self.accept()

    def reject(self) -> None:
        self._leave()
        super().reject()

    def closeEvent(self, event: QCloseEvent) -> None:
        self._leave()
        super().closeEvent(event)

    def _leave(self) -> None:
        """What was begun and not kept counts."""
        trial, self._trial = self._trial, None
        if trial is None:
            return
        if not trial.is_done:
            self.hidden_changed.emit(False, ())
        self.run_discarded.emit(trial.mode, trial.version_ids)


class TrialResult(QWidget):
    """The count, its probability, what it means. Signals: keep_requested(Trial with its note)."""

    keep_requested = Signal(object)

    def __init__(
        self, trial: Trial, first_name: str, second_name: str, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self._trial = trial
        result = plain_label(result_text(trial, first_name, second_name), selectable=True)
        result.setProperty("heading", True)
        meaning = plain_label(meaning_text(trial), selectable=True)
        self._note = TextBox("Note on this trial", "What you listened to, and through what", lines=3)
        keep = QPushButton("Keep with the session")
        keep.setToolTip("Stored with the session and printed in its report (Enter)")
        keep.setDefault(True)
        keep.clicked.connect(self._ask_keep)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(PAD)
        column.addWidget(plain_label(f"{first_name} and {second_name}"))
        column.addWidget(result)
        column.addWidget(meaning)
        if trial.discarded:
            column.addWidget(plain_label(discarded_text(trial.discarded)))
        column.addWidget(self._note)
        column.addStretch(1)
        column.addWidget(keep)
        self.setFocusProxy(keep)

    def _ask_keep(self) -> None:
        self.keep_requested.emit(replace(self._trial, note=self._note.toPlainText().strip()))
