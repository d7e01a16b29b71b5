"""The row of the sum shows what the session says of it, though a drag doesn't draw it anew."""

from __future__ import annotations

from msgspec.structs import replace
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from tests.support.sessions import session

from lagline.desk.lanes.sum_row import SumRow
from lagline.desk.lanes.wave_data import WaveData
from lagline.desk.style import dress
from lagline.desk.theme import DARK, LIGHT
from lagline.desk.timeview import TimeViewModel
from lagline.session.edits import nudged, with_loop, with_version
from lagline.session.values import ORIGINAL_ID


def row_of(qtbot: QtBot) -> SumRow:
    row = SumRow(WaveData(lambda _lane, _start, _stop: None), TimeViewModel())
    qtbot.addWidget(row)
    return row


def test_it_follows_the_loop_and_the_names_of_versions(qtbot: QtBot) -> None:
    row, take = row_of(qtbot), session()
    row.show_session(take)
    row.show_session(with_loop(take, (100, 900)))
    assert row.wave.look is not None and row.wave.look.loop == (100, 900)
    row.show_session(with_version(take, replace(take.current_version, name="Close")))
    assert "Close" in row._detail.text()


def test_it_follows_the_theme(qtbot: QtBot, qapp: QApplication) -> None:
    row = row_of(qtbot)
    row.show_session(session())
    for name, theme in (("light", LIGHT), ("dark", DARK)):
        dress(qapp, name)
        qapp.processEvents()
        assert row.wave.look is not None and row.wave.look.colour == theme.version(ORIGINAL_ID)


def test_a_drag_leaves_it_as_it_is(qtbot: QtBot) -> None:
    row, take = row_of(qtbot), session()
    row.show_session(take)
    look = row.wave.look
    row.show_session(nudged(take, "near", 5))
    assert row.wave.look is look
