"""From three files to the print of the combination that was chosen, by keys alone, on the real engine.

`tests/benchmarks/walk_through.py` goes the same way and prints how long it takes.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from tests.support.close_far_line import FAR_M, NEAR_M, RATE_HZ, SPEED_M_S, Walk, take
from tests.support.desk_hands import session_of, shift_of
from tests.support.fake_desk import FakeQuestions

from lagline.desk.style import dress
from lagline.desk.window import DeskWindow
from lagline.playback.player import Player

pytestmark = pytest.mark.slow
KEYS = 22  # told in the guide


@pytest.fixture
def questions() -> FakeQuestions:
    return FakeQuestions()


@pytest.fixture
def desk(qtbot: QtBot, qapp: QApplication, tmp_path: Path, questions: FakeQuestions) -> Iterator[DeskWindow]:
    dress(qapp, "light")
    settings = QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)
    window = DeskWindow(Player(), settings, questions)
    window.parts.settings.caution_read = True
    window.resize(1280, 800)
    window.show()
    qtbot.waitExposed(window)
    window.activateWindow()
    yield window
    questions.unsaved_answer = "discard"
    window.close()
    window.deleteLater()
    qapp.sendPostedEvents(None, 0)


def test_close_far_and_line_from_the_files_to_the_print(
    desk: DeskWindow, questions: FakeQuestions, tmp_path: Path
) -> None:
    take(tmp_path / "take")
    walk = Walk(desk, questions, lambda _: None)
    walk.open(tmp_path / "take")
    walk.line_up()
    per_metre = RATE_HZ / SPEED_M_S
    assert shift_of(desk, "close") == pytest.approx((FAR_M - NEAR_M) * per_metre, abs=0.5)
    assert shift_of(desk, "line") == pytest.approx(FAR_M * per_metre, abs=0.5)
    walk.hear_all(dwell_ms=50)
    board = desk.parts.side.tabs.board
    assert len(walk.heard) == 14 and {*walk.heard} == {*board.cells}
    chosen = walk.choose(stars=5)
    kept = session_of(desk).versions[-1]
    assert kept.name == f"{chosen.name}, Shifted"
    walk.hand_over(tmp_path / "out")
    prints = [path.name for path in (tmp_path / "out").glob("*.wav")]
    assert len(prints) == 1 and chosen.name in prints[0]
    assert walk.keys == KEYS
