"""A double click on a session while the desk runs. The event is macOS's; here it is sent by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QUrl
from PySide6.QtGui import QFileOpenEvent
from PySide6.QtWidgets import QApplication

from lagline.desk import file_opening
from lagline.desk.file_opening import FileOpening
from lagline.session.storage import save


def test_a_file_that_the_system_hands_over_comes_onto_the_desk(qtbot, qapp, window, take, tmp_path) -> None:
    path = tmp_path / "take.lagline"
    save(take, path)
    opening = FileOpening(qapp)
    opening.asked.connect(window.open_paths)
    QApplication.sendEvent(qapp, QFileOpenEvent(str(path)))
    qtbot.waitUntil(lambda: window.parts.store.path == path, timeout=10_000)
    assert [lane.name for lane in window.parts.store.session.lanes] == ["near", "side", "room"]
    qapp.removeEventFilter(opening)


def test_a_web_address_opens_nothing(qapp) -> None:
    opening = FileOpening(qapp)
    asked: list[list[Path]] = []
    opening.asked.connect(asked.append)
    QApplication.sendEvent(qapp, QFileOpenEvent(QUrl("https://example.org/take.lagline")))
    assert asked == []
    qapp.removeEventFilter(opening)


@pytest.mark.parametrize(("system", "hears"), [("darwin", True), ("linux", False), ("win32", False)])
def test_only_where_files_come_as_events_are_events_looked_at(qapp, monkeypatch, system, hears) -> None:
    monkeypatch.setattr(file_opening.sys, "platform", system)
    before = set(qapp.findChildren(FileOpening))
    asked: list[list[Path]] = []
    file_opening.follow_system(qapp, asked.append)
    QApplication.sendEvent(qapp, QFileOpenEvent("/takes/one.lagline"))
    assert asked == ([[Path("/takes/one.lagline")]] if hears else [])
    for opening in set(qapp.findChildren(FileOpening)) - before:
        qapp.removeEventFilter(opening)
