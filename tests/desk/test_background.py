"""Work off the desk's thread: a defect becomes a sentence, is kept in the log, and the next wish is heard."""

from __future__ import annotations

import logging
import threading

import pytest
from PySide6.QtCore import QCoreApplication, QEvent
from pytestqt.qtbot import QtBot
from shiboken6 import isValid
from tests.support.invented_session import session

from lagline.desk.analysis_thread import AnalysisThread
from lagline.desk.analysis_worker import Failed
from lagline.desk.job import Job
from lagline.desk.panels.latest import LatestTask
from lagline.errors import NothingToHear


def broken(*_: object) -> None:
    raise ZeroDivisionError("made up")


def test_a_job_that_breaks_says_so_and_is_logged(qtbot: QtBot, caplog: pytest.LogCaptureFixture) -> None:
    job = Job("Delivering", broken)
    with qtbot.waitSignal(job.failed) as told, caplog.at_level(logging.ERROR, "lagline"):
        job.start()
    assert told.args == ["Delivering failed (ZeroDivisionError: made up). Nothing was changed."]
    job.wait()
    assert "Delivering failed" in caplog.text and "test_background.py" in caplog.text


@pytest.mark.parametrize("error", [ZeroDivisionError("made up"), NothingToHear()])
def test_a_job_that_breaks_after_it_was_given_up_bothers_nobody(qtbot: QtBot, error: Exception) -> None:
    go_on = threading.Event()

    def late(*_: object) -> None:
        go_on.wait(5)
        raise error

    job = Job("Opening", late, drops_when_stopped=True)
    told: list[str] = []
    job.failed.connect(told.append)
    with qtbot.waitSignal(job.cancelled, timeout=5_000):
        job.start()
        job.cancel()
        go_on.set()
    job.wait()
    assert told == []


def test_a_job_that_is_over_stays_until_whoever_made_it_lets_go(qtbot: QtBot) -> None:
    """Closing the desk waits for every job it keeps: one that was deleted meanwhile ended the program."""
    job = Job("Opening", lambda *_: None)
    with qtbot.waitSignal(job.finished):
        job.start()
    qtbot.wait(20)
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    assert isValid(job)
    assert job.wait()


def test_a_panel_goes_on_after_a_task_that_broke(qtbot: QtBot, caplog: pytest.LogCaptureFixture) -> None:
    task = LatestTask("tone")
    try:
        with qtbot.waitSignal(task.failed) as told:
            task.ask(broken)
        assert "ZeroDivisionError" in told.args[0]
        assert not task.is_busy
        assert "test_background.py" in caplog.text
        with qtbot.waitSignal(task.done) as found:
            task.ask(lambda _cancelled: 7)
        assert found.args == [7]
    finally:
        task.close()


def test_a_defect_of_the_analysis_is_logged_with_its_place(
    qtbot: QtBot, caplog: pytest.LogCaptureFixture
) -> None:
    thread = AnalysisThread()
    with qtbot.waitSignal(thread.failed) as told:
        thread._hear(Failed(0, "Measuring failed (ZeroDivisionError: made up).", "Traceback: align.py"))
    assert told.args == ["Measuring failed (ZeroDivisionError: made up)."]
    assert "align.py" in caplog.text
    thread.close()


def test_an_analysis_that_is_killed_is_told_and_one_that_we_end_is_not(
    qtbot: QtBot, caplog: pytest.LogCaptureFixture
) -> None:
    thread = AnalysisThread()
    try:
        with qtbot.waitSignal(thread.failed, timeout=20_000) as told:
            thread.measure(session(measured=False))
            assert thread._process is not None
            thread._process.kill()
        assert "stopped unexpectedly" in told.args[0]
        assert "ended by itself while measuring" in caplog.text
        caplog.clear()
        thread.warm_up()
        thread.close()
        qtbot.wait(100)
        assert caplog.text == ""
    finally:
        thread.close()
