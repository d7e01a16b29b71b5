"""The thread that listens: nothing makes it deaf."""

from __future__ import annotations

import threading
from typing import Any

import pytest

from lagline.playback import watcher
from lagline.playback.helper import spawn_context
from lagline.playback.watcher import Watcher


def test_an_error_nobody_foresaw_is_logged_and_the_thread_goes_on(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    monkeypatch.setattr(watcher, "PAUSE_S", 0.01)
    looked, again = 0, threading.Event()

    def hear(_: list[Any]) -> None:
        nonlocal looked
        looked += 1
        if looked == 1:
            raise ArithmeticError("out of the blue")
        again.set()

    listening = Watcher(spawn_context(), lambda: ([], 0.01), hear)
    listening.look()
    try:
        assert again.wait(20), "deaf after an error"
    finally:
        listening.close()
    assert "out of the blue" in caplog.text


def test_an_error_does_not_keep_it_from_closing(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(watcher, "PAUSE_S", 600.0)
    failed = threading.Event()

    def hear(_: list[Any]) -> None:
        failed.set()
        raise ArithmeticError("out of the blue")

    listening = Watcher(spawn_context(), lambda: ([], 0.01), hear)
    listening.look()
    assert failed.wait(20)
    closing = threading.Thread(target=listening.close, daemon=True)
    closing.start()
    closing.join(20)
    assert not closing.is_alive()
