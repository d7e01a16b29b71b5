"""Which message is shown: the newest of what went wrong, and nothing that no longer holds."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QPushButton
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus

from lagline.desk import message_bar
from lagline.desk.lanes.number_boxes import ShiftBox
from lagline.desk.message_bar import MessageBar
from lagline.desk.window import DeskWindow


@pytest.fixture
def bar(qtbot: QtBot) -> MessageBar:
    bar = MessageBar()
    qtbot.addWidget(bar)
    return bar


def offered(bar: MessageBar) -> list[str]:
    buttons = [one.text() for one in bar.findChildren(QPushButton) if not one.isHidden()]
    return [text for text in buttons if text != "Copy details"]


def test_the_newest_problem_is_shown_and_older_ones_come_after_it(bar: MessageBar) -> None:
    for text in ("first", "second", "third"):
        bar.show_problem(text)
    assert bar.text == "third" and offered(bar) == ["Next (2)"]
    bar.close_message()
    assert bar.text == "second" and offered(bar) == ["Next (1)"]
    bar.close_message()
    assert bar.text == "first" and offered(bar) == []
    bar.close_message()
    assert bar.text == "" and bar.isHidden()


def test_a_problem_told_again_comes_forward_and_waits_only_once(bar: MessageBar) -> None:
    for text in ("first", "second", "first", "first"):
        bar.show_problem(text)
    assert bar.text == "first" and offered(bar) == ["Next (1)"]


def test_a_refusal_leaves_wherever_it_waits_and_a_problem_stays(bar: MessageBar) -> None:
    bar.show_refusal("That is no shift.")
    bar.show_problem("near.wav is missing.")
    bar.show_refusal("Choose two lanes.")
    bar.forget_refusals()
    assert bar.text == "near.wav is missing." and offered(bar) == []
    bar.close_message()
    assert bar.text == ""


def test_an_answer_comes_before_a_problem_and_the_problem_comes_back(bar: MessageBar) -> None:
    bar.show_problem("near.wav is missing.")
    bar.show_note("Saved.")
    bar.show_answer("Nothing to accept.", "measure", "Measure")
    assert bar.text == "Nothing to accept." and offered(bar) == ["Measure"]
    bar.show_note("Saved again.")
    assert bar.text == "Nothing to accept."
    bar.close_message()
    assert bar.text == "near.wav is missing." and bar.is_problem
    bar.close_message()
    assert bar.text == "Saved again."


@pytest.mark.parametrize(
    ("show", "sign"), [("show_note", "done"), ("show_notice", "info"), ("show_problem", "warning")]
)
def test_only_what_went_well_has_a_tick(
    bar: MessageBar, monkeypatch: pytest.MonkeyPatch, show: str, sign: str
) -> None:
    drawn: list[str] = []
    real = message_bar.icon

    def noted(name, *arguments):
        drawn.append(name)
        return real(name, *arguments)

    monkeypatch.setattr(message_bar, "icon", noted)
    getattr(bar, show)("Something.")
    assert {"done", "info", "warning"} & set(drawn) == {sign}


def test_opening_an_empty_folder_is_seen_over_an_older_problem(
    desk: DeskWindow, tmp_path: Path, qtbot: QtBot
) -> None:
    desk.parts.messages.show_problem("near.wav is missing.")
    (tmp_path / "nothing").mkdir()
    with qtbot.waitSignal(desk.parts.files.problem):
        desk.open_paths([tmp_path / "nothing"])
    assert "nothing" in desk.parts.messages.text


@pytest.mark.parametrize("typed", ["12", "0"])
def test_a_refused_shift_is_forgotten_once_a_good_one_was_typed(
    desk: DeskWindow, qtbot: QtBot, typed: str
) -> None:
    stack = desk.parts.lanes.stack
    box = stack.row(stack.order[0]).header.findChild(ShiftBox)
    assert box is not None
    type_shift(box, "1e9", qtbot)
    assert "is not understood" in desk.parts.messages.text
    type_shift(box, typed, qtbot)
    assert desk.parts.messages.text == ""


def type_shift(box: ShiftBox, text: str, qtbot: QtBot) -> None:
    focus(box, qtbot)
    box.selectAll()
    QTest.keyClicks(box, text)
    QTest.keyClick(box, Qt.Key.Key_Return)
