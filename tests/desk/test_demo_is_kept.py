"""The demo belongs to the program: it is opened to play with and never written over."""

from __future__ import annotations

from pytestqt.qtbot import QtBot

from lagline.desk.window import DeskWindow
from lagline.jobs.demo import demo_folder, demo_session_path
from lagline.session import edits


def test_the_demo_opens_without_a_file_to_save_to(window: DeskWindow, qtbot: QtBot) -> None:
    before = {path: path.stat().st_mtime_ns for path in (demo_folder() / "chapel").iterdir()}
    window.open_paths([demo_session_path()])
    store = window.parts.store
    qtbot.waitUntil(lambda: store.session is not None, timeout=20_000)
    assert store.path is None and not store.is_modified
    lane = store.session.lanes[0].id
    store.apply("Shift", lambda session: edits.nudged(session, lane, 10.0))
    assert store.is_modified
    assert {path: path.stat().st_mtime_ns for path in (demo_folder() / "chapel").iterdir()} == before
