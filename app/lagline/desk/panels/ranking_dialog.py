"""A blind run over several combinations: which of two, pair by pair, and the ranking in the end."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from msgspec.structs import replace
from PySide6.QtCore import Signal
from PySide6.QtGui import QCloseEvent
from PySide6.QtWidgets import QDialog, QHBoxLayout, QPushButton, QStackedWidget, QVBoxLayout, QWidget

from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.text_box import TextBox
from lagline.desk.panels.themed import plain_label
from lagline.desk.panels.trial_page import TrialPage
from lagline.desk.panels.trial_texts import KEYS_TEXT, passage_text
from lagline.desk.theme import MARGIN, PAD
from lagline.playback.paired import PairedRun, choices_of, new_paired_run, usual_rounds
from lagline.playback.state import PlayState
from lagline.session.ranking_words import place_words, ranking_sentence
from lagline.session.values import Ranking, Session

TITLE = "Compare blind"
ROUNDS = (2, 4, 6)
Draw = Callable[[Sequence[str], int], PairedRun]


class RankingDialog(QDialog):
    """Asks how often, lets every pair be heard and answered, tells the ranking.

    `session` : with the loop that the run goes round, which it must have. `ids`, `names`: what is compared.
    Receives: `show_playback(PlayState)`. `draw` draws the hidden order (tests know theirs).

    Signals
    -------
    hidden_changed(bool hidden, tuple ids) : the run begins: hide what would give it away; or it is over.
    hear_requested(str id) : for the player only (`Player.audition`).
    play_requested() : play or stop.
    ranking_finished(Ranking) : keep it with the session (edits.with_ranking).
    """

    hidden_changed = Signal(bool, tuple)
    hear_requested = Signal(str)
    play_requested = Signal()
    ranking_finished = Signal(object)

    def __init__(
        self,
        session: Session,
        ids: Sequence[str],
        names: Sequence[str],
        parent: QWidget | None = None,
        *,
        draw: Draw = new_paired_run,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle(TITLE)
        self.setAccessibleName(TITLE)
        self._session, self._ids, self._names, self._draw = session, tuple(ids), tuple(names), draw
        self._run: PairedRun | None = None
        self._page: TrialPage | None = None
        self._ranking: Ranking | None = None
        self._note: TextBox | None = None
        self._rounds = Chooser("How often each pair", "Fixed once it starts; more tells smaller preferences")
        count = len(self._ids)
        self._rounds.offer(
            [(f"{n} times: {choices_of(count, n)} choices", n) for n in ROUNDS], usual_rounds(count)
        )
        self._levels = plain_label()
        self._levels.setAccessibleName("Loudness")
        self._passage = plain_label()
        self._start = QPushButton("Start")
        self._start.setDefault(True)
        self._start.setToolTip("Begin (Enter)")
        self._start.clicked.connect(self._begin)
        self._pages = QStackedWidget()
        self._pages.addWidget(self._setup())
        self._cancel = QPushButton("Cancel")
        self._cancel.setAutoDefault(False)
        self._cancel.setToolTip("Leave without a ranking (Esc)")
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
        self.show_playback(PlayState())

    def _setup(self) -> QWidget:
        keys = plain_label(KEYS_TEXT)
        keys.setProperty("muted", True)
        return _column(
            plain_label("Compared, each with each: " + "; ".join(self._names) + "."),
            self._rounds, self._passage, self._levels, keys, None, self._start,
        )  # fmt: skip

    def show_playback(self, told: PlayState) -> None:
        """How playback stands: whether the loudness is known before the start, what has played after it."""
        if self._page is not None:
            self._page.show_playback(told)
        elif self._run is None:
            known = told.levels_known and all(one in told.match_db for one in self._ids)
            self._start.setEnabled(known)
            said = "All are made equally loud." if known else "Measuring the loudness, to make all equal …"
            self._levels.setText(said)
            self._passage.setText(passage_text(self._session, told))

    def _begin(self) -> None:
        self._run = self._draw(self._ids, self._rounds.currentData())
        self.hidden_changed.emit(True, self._ids)
        self._page = TrialPage(self._run, self._session.rate_hz)
        self._page.hear_requested.connect(self.hear_requested)
        self._page.play_requested.connect(self.play_requested)
        self._page.answered.connect(self._answered)
        self._show(self._page)

    def _answered(self, choice: str) -> None:
        if self._run is None or self._page is None:
            return
        self._run = self._run.answer(choice)
        if not self._run.is_done:
            self._page.show_trial(self._run)
            return
        self._page = None
        when = datetime.now().astimezone().isoformat(timespec="seconds")
        self._ranking = self._run.finished(self._names, when)
        self.hidden_changed.emit(False, ())
        self._cancel.setText("Discard")
        self._cancel.setToolTip("Close without keeping the ranking (Esc)")
        self._show(self._result(self._ranking))

    def _result(self, ranking: Ranking) -> QWidget:
        sentence = plain_label(ranking_sentence(ranking), selectable=True)
        sentence.setProperty("heading", True)
        sentence.setAccessibleName("Result")
        lines = [
            f"{number}. {place.name}: {place_words(place, ranking.planned, len(ranking.places))}"
            for number, place in enumerate(ranking.places, 1)
        ]
        places = plain_label("\n".join(lines), selectable=True)
        places.setAccessibleName("Places")
        self._note = TextBox("Note on this run", "What you listened to, and through what", lines=3)
        keep = QPushButton("Keep with the session")
        keep.setToolTip("Stored with the session and printed in its report (Enter)")
        keep.setDefault(True)
        keep.clicked.connect(self._keep)
        page = _column(sentence, places, self._note, None, keep)
        page.setFocusProxy(keep)
        return page

    def _keep(self) -> None:
        if self._ranking is not None and self._note is not None:
            self.ranking_finished.emit(replace(self._ranking, note=self._note.toPlainText().strip()))
        self._run = None
        self.accept()

    def _show(self, page: QWidget) -> None:
        old = self._pages.currentWidget()
        self._pages.addWidget(page)
        self._pages.setCurrentWidget(page)
        page.setFocus()
        if old is not None:
            self._pages.removeWidget(old)
            old.deleteLater()

    def reject(self) -> None:
        """Close without keeping a ranking."""
        self._leave()
        super().reject()

    def closeEvent(self, event: QCloseEvent) -> None:
        """As `reject`."""
        self._leave()
        super().closeEvent(event)

    def _leave(self) -> None:
        run, self._run, self._page = self._run, None, None
        if run is not None and not run.is_done:
            self.hidden_changed.emit(False, ())


def _column(*parts: QWidget | None) -> QWidget:
    """The parts below each other; None is room."""
    page = QWidget()
    column = QVBoxLayout(page)
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(PAD)
    for part in parts:
        if part is None:
            column.addStretch(1)
        else:
            column.addWidget(part)
    return page
