"""A close microphone, a far one and a direct line; and the way through the desk with them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QDialog, QLineEdit
from tests.support.desk_hands import press, session_of, type_text, wait_for
from tests.support.fake_desk import FakeQuestions

from lagline.combinations.cells import Cell
from lagline.desk.window import DeskWindow

RATE_HZ = 48_000
SPEED_M_S = 343.2  # in air of 20 degrees C, ISO 9613-1
NEAR_M, FAR_M = 0.30, 0.75


def plucked(seconds: float) -> np.ndarray:
    """Plucked strings after K. Karplus and A. Strong (1983): bursts of noise in loops that average."""
    rng = np.random.default_rng(4)
    out = np.zeros(round(seconds * RATE_HZ))
    for start_s in np.arange(0.3, seconds - 1.0, 0.37):
        period = int(rng.integers(150, 500))
        loop = rng.standard_normal(period)
        note = np.empty(RATE_HZ)
        for at in range(0, RATE_HZ, period):
            note[at : at + period] = loop[: len(note[at : at + period])]
            loop = 0.996 * 0.5 * (loop + np.roll(loop, 1))
        first = round(start_s * RATE_HZ)
        out[first : first + RATE_HZ] += 0.05 * note[: len(out) - first]
    return out


def take(folder: Path) -> list[Path]:
    """The close microphone hears the string 0.30 m away, the far one 0.75 m away, the line at once."""
    folder.mkdir()
    sound, paths = plucked(8.0), []
    spectrum = np.fft.rfft(sound)
    turns = -2j * np.pi * np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    rng = np.random.default_rng(5)
    for name, metres, level in (("close", NEAR_M, 1.0), ("far", FAR_M, 0.8), ("line", 0.0, 0.9)):
        late = np.fft.irfft(spectrum * np.exp(turns * metres / SPEED_M_S), len(sound))
        paths.append(folder / f"{name}.wav")
        noise = 1e-4 * rng.standard_normal(len(sound))
        soundfile.write(paths[-1], level * late + noise, RATE_HZ, subtype="PCM_24")
    return paths


class Walk:
    """The job from the files to the prints, by keys; `told(what)` after each part of it.

    keys : how many were pressed. heard : the cells, in the order in which they sounded.
    """

    def __init__(self, desk: DeskWindow, questions: FakeQuestions, told: Callable[[str], None]) -> None:
        self._desk, self._questions, self._told = desk, questions, told
        self._board = desk.parts.side.tabs.board
        self.keys = 0
        self.heard: list[Cell] = []

    def key(self, *names: str) -> None:
        """Press these, one after the other."""
        for name in names:
            self.keys += 1
            press(self._desk, name)

    def open(self, folder: Path) -> None:
        """As `lagline FOLDER` does."""
        self._desk.parts.files.open([folder])
        wait_for(lambda: self._desk.parts.store.session is not None and self._desk.is_drawn(), "the take")
        self._told("opened")

    def line_up(self) -> None:
        """Measure, and accept what is strong and usable."""
        self.key("Ctrl+M")
        measuring = self._desk.parts.measuring
        wait_for(lambda: session_of(self._desk).alignment is not None and not measuring.is_busy, "findings")
        self._told("measured")
        self.key("Ctrl+Shift+Return")
        self._told("lined up")

    def hear_all(self, dwell_ms: int) -> None:
        """Every cell of the board, row by row."""
        self.key("Ctrl+5")
        wait_for(lambda: self._board.table.hasFocus(), "the board")
        self.key("Return")
        rows = self._board.table.rowCount()
        self._listen(dwell_ms)
        for row in range(rows):
            self.key("Left" if row % 2 == 0 else "Right")
            self._listen(dwell_ms)
            if row < rows - 1:
                self.key("Down")
                self._listen(dwell_ms)
        self._told("heard all")

    def _listen(self, dwell_ms: int) -> None:
        cell, playing = self._board.table.current_cell, self._desk.parts.playing
        assert cell is not None
        wait_for(lambda: playing.state.is_playing and playing.state.heard_id == cell.id, cell.name)
        at = playing.state.position_samples
        wait_for(lambda: playing.state.position_samples != at, "the playhead")
        QTest.qWait(dwell_ms)
        self.heard.append(cell)

    def choose(self, stars: int) -> Cell:
        """Once more the same lanes lined up; rate that cell, keep it as a version."""
        self.key("Right")
        self._listen(0)
        self.heard.pop()
        wait_for(lambda: self._board._facts is not None, "the figures")
        self.key(str(stars), "V")
        cell = self._board.table.current_cell
        assert cell is not None
        wait_for(lambda: "★" in self._board.table.currentItem().text(), "the stars")
        self._told("chosen")
        return cell

    def hand_over(self, out: Path) -> None:
        """Deliver the cells with stars."""

        def deliver(dialog: QDialog) -> None:
            assert isinstance(QApplication.focusWidget(), QLineEdit)
            type_text(str(out))
            self._told("about to deliver")
            self.keys += 1
            QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
            wait_for(lambda: "written to" in dialog._said.text(), "the files")
            self._told("delivered")

        self._questions.with_dialog = deliver
        self.key("D")
