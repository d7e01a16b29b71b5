"""What happens to defects nobody caught, and what "Copy details" copies."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication, QPushButton
from pytestqt.qtbot import QtBot

from lagline.desk.faults import Faults
from lagline.desk.message_bar import MessageBar
from lagline.desk.theme import theme_of


@pytest.fixture
def faults(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, qapp: QApplication) -> Iterator[Faults]:
    monkeypatch.setenv("LAGLINE_LOG_DIR", str(tmp_path))
    faults = Faults()
    faults.install()
    yield faults
    faults.remove()


@pytest.fixture
def bar(qtbot: QtBot) -> MessageBar:
    bar = MessageBar()
    qtbot.addWidget(bar)
    return bar


def copy_button(bar: MessageBar) -> QPushButton:
    (button,) = [found for found in bar.findChildren(QPushButton) if found.text() == "Copy details"]
    return button


def test_a_defect_is_shown_logged_and_copied(
    faults: Faults, bar: MessageBar, tmp_path: Path, qapp: QApplication
) -> None:
    faults.told.connect(bar.show_problem)
    try:
        raise ZeroDivisionError("made up")
    except ZeroDivisionError as error:
        sys.excepthook(type(error), error, error.__traceback__)
    assert "ZeroDivisionError: made up" in bar.text
    copy_button(bar).click()
    copied = qapp.clipboard().text()
    assert copied.startswith(bar.text)
    assert "Traceback" in copied and "test_faults.py" in copied
    assert "Traceback" in (tmp_path / "desk.log").read_text("utf-8")


def test_a_defect_on_another_thread_is_shown_too(faults: Faults, bar: MessageBar, qtbot: QtBot) -> None:
    faults.told.connect(bar.show_problem)

    def fail() -> None:
        raise LookupError("made up there")

    thread = threading.Thread(target=fail, name="reader")
    thread.start()
    thread.join()
    qtbot.waitUntil(lambda: "made up there" in bar.text, timeout=2_000)


def test_afterwards_everything_is_as_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LAGLINE_LOG_DIR", str(tmp_path))
    before = sys.excepthook, threading.excepthook
    faults = Faults()
    faults.install()
    faults.remove()
    assert (sys.excepthook, threading.excepthook) == before


def test_notes_offer_no_details(bar: MessageBar) -> None:
    bar.show_note("All is well.")
    assert copy_button(bar).isHidden()
    bar.show_problem("near.wav is missing.")
    assert not copy_button(bar).isHidden()


def test_a_notice_has_no_tick_and_keeps_its_sign_behind_a_problem(bar: MessageBar) -> None:
    theme = theme_of(QApplication.palette())
    bar.show_problem("near.wav is missing.")
    bar.show_notice("Nothing is measured yet.", "measure", "Measure")
    assert theme.danger in bar.styleSheet()
    bar.close_message()
    assert bar.text == "Nothing is measured yet." and not bar.is_problem
    assert theme.ok not in bar.styleSheet() and theme.danger not in bar.styleSheet()
    bar.show_note("Saved.")
    assert theme.ok in bar.styleSheet()


def test_a_note_waits_behind_a_problem(bar: MessageBar) -> None:
    bar.show_problem("near.wav is missing.")
    bar.show_note("Saved.")
    bar.show_note("Measured against far: 3 strong.", "accept_strong", "Accept all strong")
    assert bar.text == "near.wav is missing."
    assert next(one.text() for one in bar.findChildren(QPushButton) if not one.isHidden()) == "Next (1)"
    bar.close_message()
    assert bar.text == "Measured against far: 3 strong." and not bar.is_problem
    assert [one.text() for one in bar.findChildren(QPushButton) if not one.isHidden()] == [
        "Accept all strong"
    ]
    bar.close_message()
    assert not bar.text
