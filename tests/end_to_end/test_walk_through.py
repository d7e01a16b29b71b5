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
from tests.support.desk_hands import press, session_of, shift_of, wait_for
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


def test_what_mends_a_combination_is_heard_and_its_balance_moves_while_it_plays(
    desk: DeskWindow, questions: FakeQuestions, tmp_path: Path
) -> None:
    take(tmp_path / "take")
    walk = Walk(desk, questions, lambda _: None)
    walk.open(tmp_path / "take")
    walk.line_up()
    press(desk, "Ctrl+5")
    board, playing = desk.parts.side.tabs.board, desk.parts.playing
    wait_for(lambda: board._facts is not None, "the figures")
    wanted = next(one for one in board.cells if (one.name, one.version_id) == ("close + far", "original"))
    board.table.choose(wanted)
    press(desk, "M")
    wait_for(lambda: bool(board.mends.mends), "the least change")
    found = board.mends.mends
    assert {mend.kind for mend in found} >= {"shift", "gain"}
    for mend in found:
        wait_for(lambda mend=mend: playing.state.heard_id == mend.cell.id, mend.kind)
        press(desk, "M")
    press(desk, "Return")
    wait_for(lambda: playing.state.heard_id == wanted.id, "the combination as it was")

    press(desk, "B")
    pad = board.balance.pad
    wait_for(lambda: len(pad._shares) == 2, "the balance")
    meter = desk.commands.board.balancing._meter
    assert meter is not None
    before, shares, undo = session_of(desk), pad._shares, desk.parts.store.undo_name
    for _ in range(10):
        press(desk, "Right")
    assert pad._shares[1] > shares[1] + 0.1
    assert meter.lufs(session_of(desk)) == pytest.approx(meter.lufs(before), abs=0.05)
    assert playing.state.is_playing and playing.state.heard_id == wanted.id
    wait_for(lambda: playing.told.levels_known, "the loudness")
    press(desk, "Ctrl+Z")
    assert session_of(desk).versions == before.versions and desk.parts.store.undo_name == undo
