"""Processes that die: noticed, never waited for, and with the reason told."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
from multiprocessing.connection import Connection, wait

import pytest
from tests.support.playback_processes import until

from lagline.playback.helper import Helper, last_words, spawn_context
from lagline.playback.protocol import Failed

# Targets run in the new process, which imports this module.


def echo(connection: Connection) -> None:
    try:
        while True:
            connection.send(connection.recv())
    except EOFError:
        connection.close()


def hang_up_and_stay(connection: Connection) -> None:
    connection.close()
    time.sleep(60)


def fail(connection: Connection) -> None:
    with last_words(connection.send):
        raise ZeroDivisionError("no frames")


def heard_until_dead(helper: Helper) -> list[object]:
    said: list[object] = []
    while helper.is_alive():
        said += helper.heard(wait(helper.sources, 20))
    return said + helper.heard(helper.sources)


def test_what_is_sent_comes_back_and_closing_ends_it():
    helper = Helper(spawn_context(), "lagline test", echo)
    helper.send("hello")
    assert helper.heard(wait(helper.sources, 20)) == ["hello"]
    assert helper.close() == "it ended with code 0"


def test_sending_to_a_dead_process_is_no_error():
    helper = Helper(spawn_context(), "lagline test", echo)
    assert helper.pid is not None
    os.kill(helper.pid, signal.SIGKILL)
    until(lambda: not helper.is_alive())
    for _ in range(3):
        helper.send("anyone?")
    assert "SIGKILL" in helper.close()


def test_a_process_that_hung_up_but_lingers_is_as_good_as_dead():
    """While it still runs, a broken pipe is no error for whoever sends."""
    helper = Helper(spawn_context(), "lagline test", hang_up_and_stay)
    assert helper.heard(wait(helper.sources, 20)) == []
    assert not helper.is_alive()
    helper.send("anyone?")
    helper._process.kill()  # or `close` would wait out its patience
    helper.close()


def test_sending_never_waits_for_a_process_that_is_held_up():
    helper = Helper(spawn_context(), "lagline test", echo)
    helper.send("hello")
    assert helper.heard(wait(helper.sources, 20)) == ["hello"]
    assert helper.pid is not None
    os.kill(helper.pid, signal.SIGSTOP)
    sender = threading.Thread(target=lambda: [helper.send(bytes(10_000)) for _ in range(200)], daemon=True)
    sender.start()
    sender.join(20)
    waited = sender.is_alive()
    os.kill(helper.pid, signal.SIGCONT)
    assert not waited
    heard: list[bytes] = []
    while len(heard) < 200:
        heard += helper.heard(wait(helper.sources, 20))
    assert helper.close() == "it ended with code 0"


def test_a_process_that_stays_held_up_is_ended_by_force(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("lagline.playback.helper.PATIENCE_S", 0.2)
    helper = Helper(spawn_context(), "lagline test", echo)
    assert helper.pid is not None
    os.kill(helper.pid, signal.SIGSTOP)
    for _ in range(200):
        helper.send(bytes(10_000))
    assert "SIGKILL" in helper.close()
    assert not helper._postman.is_alive()


def test_what_cannot_be_pickled_ends_it_and_says_why(caplog: pytest.LogCaptureFixture):
    helper = Helper(spawn_context(), "lagline test", echo)
    helper.send(threading.Lock())
    assert wait(helper.sources, 20), "whoever waits is not woken"
    assert helper.heard(helper.sources) == [] and not helper.is_alive()
    ending = helper.close()
    assert ending.startswith("it could not be told something: TypeError") and "pickle" in ending
    assert "cannot be told something" in caplog.text and "Traceback" in caplog.text


def test_without_a_thread_to_send_there_is_no_process_left(monkeypatch: pytest.MonkeyPatch):
    def refuse(_: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")  # what Python makes of EAGAIN there

    monkeypatch.setattr(threading.Thread, "start", refuse)
    with pytest.raises(OSError, match="can't start new thread"):
        Helper(spawn_context(), "lagline test", echo)
    assert not [child for child in multiprocessing.active_children() if child.name == "lagline test"]


def test_an_error_is_told_before_the_end(capfd: pytest.CaptureFixture[str]):
    helper = Helper(spawn_context(), "lagline test", fail)
    (words,) = heard_until_dead(helper)
    assert isinstance(words, Failed)
    assert words.reason == "ZeroDivisionError: no frames"
    assert "in fail" in words.trace
    assert helper.close() == "it ended with code 1"
    capfd.readouterr()  # Python prints it there too


def test_a_desk_that_is_gone_is_no_error_to_tell():
    told: list[Failed] = []
    with pytest.raises(EOFError), last_words(told.append):
        raise EOFError
    assert not told
