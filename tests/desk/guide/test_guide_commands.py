"""From a finding to the page of the guide that explains it."""

from __future__ import annotations

from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QToolButton
from tests.support.invented_session import finding

from lagline.desk.guide import guide_commands
from lagline.desk.guide.topics import POLARITY, TRUST
from lagline.desk.window import DeskWindow
from lagline.session.findings import Alignment


def measured(desk: DeskWindow) -> None:
    """Findings of all kinds for the lanes near, side and room."""
    near, side, room = desk.parts.store.session.lanes
    found = (
        replace(finding(near.id, near.name, -96.0, -1, "strong"), first_sound_samples=None),
        finding(side.id, side.name, None, None, "none"),
        finding(room.id, room.name, 0.0, 1, "strong"),
    )
    session = replace(desk.parts.store.session, anchor_id=room.id)
    desk.show_take(replace(session, alignment=Alignment(room.id, session.rate_hz, found, (), 0.0, ())))
    desk.parts.side.build()
    desk.parts.side.show_session(desk.parts.store.session)


def where(desk: DeskWindow) -> tuple[str, str]:
    browser = desk.commands.guide.window.browser
    return browser.page, browser.textCursor().block().text()


def test_the_question_mark_of_a_finding_opens_its_page(desk, qtbot) -> None:
    measured(desk)
    detail = desk.parts.side.tabs.findings.detail
    desk.commands.choose_lane(desk.parts.store.session.lanes[0].id)
    mark = next(one for one in detail.findChildren(QToolButton) if one.text() == "?")
    assert mark.accessibleName() == "Read about the finding of near"
    qtbot.mouseClick(mark, Qt.MouseButton.LeftButton)
    assert where(desk) == (POLARITY.page, POLARITY.heading)


def test_the_anchor_has_nothing_to_explain(desk, qtbot) -> None:
    measured(desk)
    asked = []
    desk.parts.side.tabs.findings.read_requested.connect(asked.append)
    detail = desk.parts.side.tabs.findings.detail
    desk.commands.choose_lane(desk.parts.store.session.lanes[2].id)
    mark = next(one for one in detail.findChildren(QToolButton) if one.text() == "?")
    assert not mark.isEnabled()
    qtbot.mouseClick(mark, Qt.MouseButton.LeftButton)
    assert asked == []


def test_keys_open_the_guide_and_the_page_about_the_chosen_lane(desk, qtbot) -> None:
    measured(desk)
    QTest.keyClick(desk, Qt.Key.Key_F1, Qt.KeyboardModifier.ShiftModifier)
    qtbot.waitUntil(lambda: desk.commands.guide.window is not None)
    assert where(desk)[0] == "README.md"
    desk.commands.choose_lane(desk.parts.store.session.lanes[0].id)
    desk.actions_by_id["guide_finding"].trigger()
    assert where(desk) == (POLARITY.page, POLARITY.heading)
    assert TRUST.page == POLARITY.page


def test_before_a_measurement_it_tells_how_to_measure(desk) -> None:
    desk.actions_by_id["guide_finding"].trigger()
    assert where(desk)[0] == "first-take.md"


def test_without_a_guide_it_says_so(desk, monkeypatch) -> None:
    monkeypatch.setattr(guide_commands, "guide_folder", lambda: None)
    desk.actions_by_id["guide"].trigger()
    assert desk.parts.messages.text == guide_commands.NO_GUIDE
    assert desk.commands.guide.window is None


def test_it_closes_with_the_desk(desk) -> None:
    desk.actions_by_id["guide"].trigger()
    guide = desk.commands.guide.window
    assert guide.isVisible()
    desk.close()
    assert desk.commands.guide.window is None
    assert not guide.isVisible()
