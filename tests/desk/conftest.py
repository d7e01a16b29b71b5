"""Every desk test: settings and cache of its own, no thread or process left behind."""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QSettings, QThread
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot
from tests.support.click_take import write_click_take
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.style import dress
from lagline.desk.window import DeskWindow
from lagline.session.values import Session


@pytest.fixture(autouse=True)
def no_thread_is_left(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Fails a test that leaves a thread or a process running, and says which."""
    started: list[QThread] = []
    start = QThread.start

    def noted(self: QThread, *arguments: object) -> None:
        started.append(self)
        start(self, *arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(QThread, "start", noted)
    before = set(threading.enumerate())
    yield
    left = [thread for thread in started if _is_running(thread)]
    assert not left, f"QThreads left running: {[type(thread).__name__ for thread in left]}"
    threads = [t.name for t in threading.enumerate() if t not in before and not t.name.startswith("Dummy")]
    assert not threads, f"threads left running: {threads}"
    processes = [process.name for process in multiprocessing.active_children()]
    assert not processes, f"processes left running: {processes}"


def _is_running(thread: QThread) -> bool:
    try:
        return thread.isRunning()
    except RuntimeError:  # already deleted by Qt
        return False


@pytest.fixture
def settings(tmp_path: Path) -> QSettings:
    return QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)


@pytest.fixture
def questions(qapp: QApplication) -> FakeQuestions:
    return FakeQuestions()


@pytest.fixture
def player() -> FakePlayer:
    return FakePlayer()


@pytest.fixture
def window(
    qtbot: QtBot, settings: QSettings, player: FakePlayer, questions: FakeQuestions, qapp: QApplication
) -> Iterator[DeskWindow]:
    """A desk of 1280 x 800 without a take."""
    dress(qapp, "dark")
    window = DeskWindow(player, settings, questions)
    window.parts.settings.caution_read = True
    window.resize(1280, 800)
    window.show()
    qtbot.waitExposed(window)
    yield window
    questions.unsaved_answer = "discard"
    window.close()
    window.deleteLater()
    qapp.sendPostedEvents(None, 0)


@pytest.fixture
def take(tmp_path: Path) -> Session:
    """Two seconds of three lanes: "room" hears four clicks 96 samples after "near" and 40 after "side"."""
    return write_click_take(tmp_path / "take", {"near": 0, "side": 56, "room": 96})


@pytest.fixture
def desk(window: DeskWindow, take: Session, qtbot: QtBot) -> DeskWindow:
    """A desk with the take on it, drawn."""
    window.show_take(take)
    wait_until_drawn(window, qtbot)
    return window


def wait_until_drawn(window: DeskWindow, qtbot: QtBot) -> None:
    qtbot.waitUntil(window.is_drawn, timeout=20_000)
    qtbot.wait(30)


def focus(widget: QWidget, qtbot: QtBot) -> None:
    widget.window().activateWindow()
    widget.setFocus()
    qtbot.waitUntil(widget.hasFocus, timeout=2_000)
