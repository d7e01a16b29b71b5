"""From a finding to the page of the guide that explains it."""

from __future__ import annotations

from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QToolButton
from tests.support.invented_session import finding

from lagline.desk.guide import guide_commands
from lagline.desk.guide.topics import POLARITY, TROUBLE, TRUST
from lagline.desk.panels.finding_row import FindingRow
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


def row(desk: DeskWindow, number: int) -> FindingRow:
    lane_id = desk.parts.store.session.lanes[number].id
    return next(one for one in desk.findChildren(FindingRow) if one.lane_id == lane_id)


def where(desk: DeskWindow) -> tuple[str, str]:
    browser = desk.commands.guide.window.browser
    return browser.page, browser.textCursor().block().text()


def test_the_question_mark_of_a_finding_opens_its_page(desk, qtbot) -> None:
    measured(desk)
    mark = next(one for one in row(desk, 0).findChildren(QToolButton) if one.text() == "?")
    assert mark.accessibleName() == "Read about the finding of near"
    qtbot.mouseClick(mark, Qt.MouseButton.LeftButton)
    assert where(desk) == (POLARITY.page, POLARITY.heading)


def test_a_click_on_the_sentence_opens_its_page(desk, qtbot) -> None:
    measured(desk)
    session = desk.parts.store.session
    desk.commands.choose_lane(session.lanes[1].id)  # the others don't show theirs
    sentence = session.alignment.finding(session.lanes[1].id).sentence
    label = next(one for one in row(desk, 1).findChildren(QLabel) if one.text() == sentence)
    desk.parts.side.tabs.findings.select_lane(session.lanes[1].id)  # only the chosen row says its sentence
    qtbot.waitUntil(label.isVisible)
    qtbot.mouseClick(label, Qt.MouseButton.LeftButton)
    assert where(desk)[0] == TROUBLE.page


def test_the_anchor_has_nothing_to_explain(desk, qtbot) -> None:
    measured(desk)
    asked = []
    desk.parts.side.tabs.findings.read_requested.connect(asked.append)
    mark = next(one for one in row(desk, 2).findChildren(QToolButton) if one.text() == "?")
    assert mark.isHidden()
    for label in row(desk, 2).findChildren(QLabel):
        if label.isVisible():
            qtbot.mouseClick(label, Qt.MouseButton.LeftButton)
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
