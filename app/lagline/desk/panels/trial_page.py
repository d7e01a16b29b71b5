"""The page on which a blind trial is answered. Looks the same whatever is heard and however it goes."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from lagline.desk.panels.themed import plain_label
from lagline.desk.theme import PAD
from lagline.playback.paired import PairedRun
from lagline.playback.state import PlayState
from lagline.playback.trial import BUTTONS, BlindTrial, Mode

ANSWER_TEXTS: dict[Mode, tuple[tuple[str, str], ...]] = {
    "abx": (("A", "X is A"), ("B", "X is B")),
    "odd": (("1", "1 is the odd one"), ("2", "2 is the odd one"), ("3", "3 is the odd one")),
    "preference": (("1", "I prefer 1"), ("2", "I prefer 2")),
}

KEYS: dict[int, tuple[str, ...]] = {2: ("Left", "Right"), 3: ("Left", "Down", "Right")}

HEARD_S = 0.2  # what played for less was switched past, not heard


class TrialPage(QWidget):
    """Hear, choose, confirm. Only what has really played counts as heard.

    Receives: `show_playback(PlayState)`; of it only whether and how far time goes on, never what sounds.

    Signals
    -------
    hear_requested(str version_id) : for the player only (`Player.audition`). Sent at every wish, also for
        what is heard already, so that nothing gives away what is what.
    play_requested() : play or stop.
    answered(str choice) : this answer was given; `show_trial` goes on to the next.
    """

    hear_requested = Signal(str)
    play_requested = Signal()
    answered = Signal(str)

    def __init__(self, trial: BlindTrial | PairedRun, rate_hz: int, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._trial = trial
        mode = trial.mode
        self._enough = HEARD_S * rate_hz
        self._played: dict[str, float] = {}  # by label, samples
        self._sounding: str | None = None  # the label asked for last
        self._position: int | None = None  # where it played last
        self._answer: str | None = None
        self._count = plain_label()
        self._count.setProperty("heading", True)
        self._count.setAccessibleName("Trial")
        self._hear = {label: QPushButton(f"Hear {label}") for label in BUTTONS[mode]}
        hear = QHBoxLayout()
        for number, (label, button) in enumerate(self._hear.items(), start=1):
            button.setCheckable(True)
            button.setAutoDefault(False)
            button.setMinimumHeight(44)
            button.setToolTip(f"Hear {label} (key {number})")
            button.clicked.connect(self._hear_clicked)
            hear.addWidget(button)
            self._key(str(number), self._hear_number)
        self._answers = {label: QPushButton(text) for label, text in ANSWER_TEXTS[mode]}
        answers = QHBoxLayout()
        for (label, button), key in zip(self._answers.items(), KEYS[len(self._answers)], strict=True):
            button.setCheckable(True)
            button.setAutoDefault(False)
            button.setToolTip(f"Choose this answer ({key} arrow); Enter gives it")
            button.setProperty("answer", label)
            button.clicked.connect(self._answer_clicked)
            answers.addWidget(button)
            self._key(key, self._answer_key)
        self._hint = plain_label()
        self._hint.setProperty("muted", True)
        self._confirm = QPushButton("Give this answer")
        self._confirm.setToolTip("Give the chosen answer and go on (Enter)")
        self._confirm.setAutoDefault(False)
        self._confirm.clicked.connect(self._give)
        self._play = QPushButton("Play or stop")
        self._play.setToolTip("Play or stop (Space)")
        self._play.setAutoDefault(False)
        self._play.clicked.connect(self.play_requested)
        for key in ("Return", "Enter"):
            self._key(key, self._give)
        self._key("Space", self._ask_play)

        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(PAD)
        column.addWidget(self._count)
        column.addLayout(hear)
        column.addLayout(answers)
        column.addWidget(self._hint)
        column.addStretch(1)
        foot = QHBoxLayout()
        foot.addWidget(self._play)
        foot.addStretch(1)
        foot.addWidget(self._confirm)
        column.addLayout(foot)
        self.show_trial(trial)

    def _key(self, key: str, slot: object) -> None:
        shortcut = QShortcut(QKeySequence(key), self)
        shortcut.setAutoRepeat(False)
        shortcut.setContext(Qt.ShortcutContext.WindowShortcut)
        shortcut.activated.connect(slot)

    def show_trial(self, trial: BlindTrial | PairedRun) -> None:
        """Go on to the present trial of this state."""
        self._trial = trial
        self._played.clear()
        self._sounding = self._position = self._answer = None
        self._count.setText(f"Trial {trial.number} of {trial.planned}")
        for button in (*self._hear.values(), *self._answers.values()):
            button.setChecked(False)
        self._refresh()

    def show_playback(self, told: PlayState) -> None:
        """Time goes on, or stands: what was asked for last has played that much more."""
        before, self._position = self._position, told.position if told.playing else None
        if before is None or self._position is None or self._sounding is None:
            return
        missing = self._missing
        onwards = max(self._position - before, 0)  # at the seam of a loop it goes back
        self._played[self._sounding] = self._played.get(self._sounding, 0.0) + onwards
        if self._missing != missing:
            self._refresh()

    @property
    def _missing(self) -> list[str]:
        return [label for label in self._hear if self._played.get(label, 0.0) < self._enough]

    def _refresh(self) -> None:
        missing = self._missing
        for label, button in self._answers.items():
            button.setEnabled(not missing)
            button.setChecked(label == self._answer)
        self._confirm.setEnabled(self._answer is not None)
        if missing:
            self._hint.setText(f"Hear {' and '.join(missing)} before you answer (Space plays and stops).")
        else:
            self._hint.setText("Listen as often as you like; then choose an answer and give it.")

    def _hear_clicked(self) -> None:
        sender = self.sender()
        for label, button in self._hear.items():
            if button is sender:
                self._listen(label)

    def _hear_number(self) -> None:
        key = self.sender().key().toString()  # type: ignore[attr-defined]
        self._listen(list(self._hear)[int(key) - 1])

    def _listen(self, label: str) -> None:
        self._sounding, self._position = label, None
        for name, button in self._hear.items():
            button.setChecked(name == label)
        self.hear_requested.emit(self._trial.version_id(label))
        self._refresh()

    def _answer_clicked(self) -> None:
        self._choose(str(self.sender().property("answer")))

    def _answer_key(self) -> None:
        keys = [QKeySequence(key) for key in KEYS[len(self._answers)]]
        self._choose(list(self._answers)[keys.index(self.sender().key())])  # type: ignore[attr-defined]

    def _choose(self, label: str) -> None:
        if not self._missing:
            self._answer = label
        self._refresh()

    def _give(self) -> None:
        if self._answer is not None:
            self.answered.emit(self._answer)

    def _ask_play(self) -> None:
        self.play_requested.emit()
