"""What fills the window while a take is on its way to it."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot
from tests.desk.conftest import wait_until_drawn
from tests.support.click_take import write_click_take
from tests.support.desk_hands import session_of
from tests.support.fake_desk import FakeQuestions

from lagline.desk import take_files
from lagline.desk.window import DeskWindow
from lagline.session import edits
from lagline.session.values import Session


@pytest.fixture
def seen(window: DeskWindow, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the window showed, in words, each time lanes were made."""
    told: list[str] = []
    show = window.parts.lanes.show_session
    names = {window.split: "take", window.parts.empty: "start", window.pages.arriving: "arriving"}

    def noted(session: Session | None) -> None:
        told.append(names[window.pages.currentWidget()])
        show(session)

    monkeypatch.setattr(window.parts.lanes, "show_session", noted)
    return told


def test_a_take_is_named_before_its_lanes_are_made(
    window: DeskWindow, take: Session, seen: list[str], qtbot: QtBot
) -> None:
    window.show_take(take)
    assert seen == ["arriving"]
    assert take.name in window.pages.arriving.text()
    assert window.pages.currentWidget() is window.split
    wait_until_drawn(window, qtbot)


def test_an_edit_leaves_the_lanes_in_view(desk: DeskWindow, seen: list[str]) -> None:
    lane_id = session_of(desk).lanes[0].id
    desk.parts.store.apply("Shift", lambda old: edits.with_shift(old, lane_id, 5.0))
    assert seen == ["take"]


def test_another_take_is_not_shown_by_the_lanes_of_the_first(
    desk: DeskWindow, seen: list[str], tmp_path: Path, qtbot: QtBot
) -> None:
    desk.show_take(write_click_take(tmp_path / "other", {"top": 0, "under": 9}))
    assert seen == ["arriving"]
    assert "other" in desk.pages.arriving.text()
    wait_until_drawn(desk, qtbot)


def test_closing_leads_back_to_the_start(desk: DeskWindow, seen: list[str]) -> None:
    desk.parts.store.open(None)
    assert desk.pages.currentWidget() is desk.parts.empty
    assert seen == ["take"]


@pytest.mark.parametrize("fails", (False, True))
def test_slow_opening_has_a_page_and_leads_on_or_back(
    window: DeskWindow,
    take: Session,
    questions: FakeQuestions,
    monkeypatch: pytest.MonkeyPatch,
    qtbot: QtBot,
    fails: bool,
) -> None:
    go_on, read = threading.Event(), take_files.open_take

    def slowly(paths: list[Path]) -> object:
        go_on.wait(30)
        return read([paths[0] / "gone.wav"] if fails else paths)

    monkeypatch.setattr(take_files, "open_take", slowly)
    window.open_paths([take.lanes[0].source.path.parent])
    assert window.pages.currentWidget() is window.parts.empty  # most takes are opened sooner
    qtbot.waitUntil(lambda: window.pages.currentWidget() is window.pages.arriving, timeout=5_000)
    assert window.pages.arriving.text() == "Opening recordings …"
    go_on.set()
    after = window.parts.empty if fails else window.split
    qtbot.waitUntil(lambda: window.pages.currentWidget() is after, timeout=10_000)
    assert ("gone.wav" in window.parts.messages.text) == fails


def test_opening_onto_a_take_leaves_it_in_view_until_the_other_is_there(
    desk: DeskWindow, qtbot: QtBot
) -> None:
    desk.pages.show_busy("Opening recordings")
    qtbot.wait(600)
    assert desk.pages.currentWidget() is desk.split
    desk.pages.show_busy("")
    assert desk.pages.currentWidget() is desk.split
