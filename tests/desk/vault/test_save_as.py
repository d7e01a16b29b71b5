"""Save as, through the real dialogs: never over another session without a question."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication, QFileDialog, QLineEdit, QMessageBox, QWidget
from pytestqt.qtbot import QtBot

from lagline.desk.questions import Questions
from lagline.session.storage import save
from lagline.session.values import Session


@pytest.fixture(autouse=True)
def our_dialogs(qapp: QApplication) -> None:
    from PySide6.QtCore import Qt

    qapp.setAttribute(Qt.ApplicationAttribute.AA_DontUseNativeDialogs)


class Hand:
    """Types into whatever file dialog comes up and presses buttons of whatever question comes up."""

    def __init__(self, names: list[str], buttons: list[str]) -> None:
        self.names, self.buttons, self.asked = names, buttons, []
        self.is_over = False
        QTimer.singleShot(50, self.act)

    def act(self) -> None:
        if self.is_over:
            return
        QTimer.singleShot(50, self.act)  # now: what follows may open a dialog and wait for its answer
        dialog = QApplication.activeModalWidget()
        if isinstance(dialog, QMessageBox):
            self.asked.append(dialog.text())
            wanted = self.buttons.pop(0)
            next(button for button in dialog.buttons() if button.text().replace("&", "") == wanted).click()
        elif isinstance(dialog, QFileDialog):
            if not self.names:
                dialog.reject()
                return
            line = dialog.findChild(QLineEdit)
            line.setText(self.names.pop(0))
            dialog.accept()


@pytest.fixture
def ask(qtbot: QtBot) -> Callable[[Path, Hand], Path | None]:
    window = QWidget()
    qtbot.addWidget(window)

    def where(suggestion: Path, hand: Hand) -> Path | None:
        found = Questions(window).where_to_save(suggestion)
        hand.is_over = True
        return found

    return where


@pytest.fixture
def other(tmp_path: Path) -> Path:
    save(Session(rate_hz=48_000, lanes=()), tmp_path / "other.lagline")
    return tmp_path / "other.lagline"


def test_a_name_whose_ending_is_added_is_asked_about(ask, other: Path) -> None:  # type: ignore[no-untyped-def]
    hand = Hand(["other"], ["Replace it"])
    assert ask(other.with_name("mine.lagline"), hand) == other
    assert hand.asked == ["other.lagline is in that folder already."]


def test_another_name_can_be_given(ask, other: Path) -> None:  # type: ignore[no-untyped-def]
    hand = Hand(["other", "third"], ["Another name…"])
    assert ask(other.with_name("mine.lagline"), hand) == other.with_name("third.lagline")
    hand = Hand(["other"], ["Another name…"])
    assert ask(other.with_name("mine.lagline"), hand) is None


def test_with_its_ending_the_dialog_itself_asks_once(ask, other: Path) -> None:  # type: ignore[no-untyped-def]
    hand = Hand(["other.lagline"], ["Yes"])
    assert ask(other.with_name("mine.lagline"), hand) == other
    assert len(hand.asked) == 1


def test_a_new_name_is_not_asked_about(ask, other: Path) -> None:  # type: ignore[no-untyped-def]
    hand = Hand(["new"], [])
    assert ask(other.with_name("mine.lagline"), hand) == other.with_name("new.lagline")
