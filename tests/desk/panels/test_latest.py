"""One background thread for which only the newest wish counts."""

from __future__ import annotations

import threading

import pytest
from tests.support.playback_processes import until

from lagline.desk.panels.latest import LatestTask
from lagline.errors import Cancelled, NothingToHear


def ask_something_slow(task: LatestTask) -> None:
    """It has begun, and goes on until it is told to stop."""
    started = threading.Event()

    def slow(cancelled):
        started.set()
        until(cancelled)
        raise Cancelled

    task.ask(slow)
    assert started.wait(5)


@pytest.fixture
def task(qtbot):
    task = LatestTask("test")
    yield task
    task.close()
    assert not any(thread.name == "test" for thread in threading.enumerate())


def test_a_result_arrives_on_the_thread_of_its_owner(qtbot, task) -> None:
    where = []
    task.done.connect(lambda _: where.append(threading.current_thread()))
    with qtbot.waitSignal(task.done) as done:
        task.ask(lambda _: threading.current_thread().name)
    assert done.args == ["test"]
    assert where == [threading.main_thread()]
    assert not task.is_busy


def test_only_the_newest_wish_is_told(qtbot, task) -> None:
    told = []
    task.done.connect(told.append)
    ask_something_slow(task)
    task.ask(lambda _: "skipped" if task is None else "newest")
    qtbot.waitUntil(lambda: bool(told))
    assert told == ["newest"]


def test_a_result_that_ignores_its_cancelling_is_dropped(qtbot, task) -> None:
    told = []
    task.done.connect(told.append)
    go, gone = threading.Event(), threading.Event()

    def stubborn(_):
        go.wait(5)
        gone.set()
        return "old"

    task.ask(stubborn)
    task.cancel()
    go.set()
    gone.wait(5)
    qtbot.wait(30)
    assert told == []
    assert not task.is_busy


def test_what_goes_wrong_is_a_sentence(qtbot, task) -> None:
    def silent(_):
        raise NothingToHear

    with qtbot.waitSignal(task.failed) as failed:
        task.ask(silent)
    assert "Every lane is silent" in failed.args[0]


def test_closing_ends_a_running_task(qtbot) -> None:
    task = LatestTask("closing")
    ask_something_slow(task)
    task.close()
    assert not any(thread.name == "closing" for thread in threading.enumerate())
    task.ask(lambda _: 1)  # after closing nothing starts any more
    assert not any(thread.name == "closing" for thread in threading.enumerate())
