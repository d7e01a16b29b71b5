"""A message that stands there costs nothing: dressing it doesn't ask for dressing again."""

from __future__ import annotations

from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from lagline.desk import message_bar
from lagline.desk.message_bar import MessageBar
from lagline.desk.style import dress
from lagline.desk.theme import DARK


def test_a_message_is_dressed_a_few_times_and_then_rests(qtbot: QtBot, monkeypatch) -> None:
    drawn: list[str] = []
    real = message_bar.icon

    def counted(name, *arguments):
        drawn.append(name)
        return real(name, *arguments)

    monkeypatch.setattr(message_bar, "icon", counted)
    bar = MessageBar()
    qtbot.addWidget(bar)
    bar.show_problem("near.wav is missing.")
    for _ in range(50):
        QApplication.processEvents()
    assert 0 < len(drawn) < 10


def test_a_message_after_a_change_of_theme_wears_the_new_colours(qtbot: QtBot, qapp: QApplication) -> None:
    dress(qapp, "light")
    bar = MessageBar()
    qtbot.addWidget(bar)
    bar.show_problem("near.wav is missing.")
    bar.close_message()
    dress(qapp, "dark")
    bar.show_note("11 files written.")
    assert DARK.raised in bar.styleSheet()
