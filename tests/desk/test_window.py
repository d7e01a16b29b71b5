"""The empty desk as a person meets it, and its end: mouse and keys on a real window without a screen."""

from pathlib import Path

import pytest
from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from pytestqt.qtbot import QtBot
from tests.desk.conftest import wait_until_drawn
from tests.support.desk_hands import PLAIN
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.questions import Dropped
from lagline.desk.window import DeskWindow
from lagline.session.values import Session


def test_an_empty_desk_explains_itself(window: DeskWindow) -> None:
    assert window.pages.currentWidget() is window.parts.empty
    assert not window.parts.strip.play.isEnabled()
    assert not window.actions_by_id["save"].isEnabled()
    assert window.actions_by_id["open"].isEnabled()


def test_it_opens_what_is_chosen(
    window: DeskWindow, take: Session, questions: FakeQuestions, qtbot: QtBot
) -> None:
    questions.open_answer = [lane.source.path for lane in take.lanes]
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.parts.empty.open.click()
    wait_until_drawn(window, qtbot)
    assert window.pages.currentWidget() is window.split
    stack = window.parts.lanes.stack
    names = [stack.row(lane_id).header.accessibleName() for lane_id in stack.order]
    assert names == ["Lane near", "Lane side", "Lane room"]


def drop_of(
    *paths: Path, actions: Qt.DropAction = Qt.DropAction.CopyAction, keys: Qt.KeyboardModifier = PLAIN
) -> tuple[QDropEvent, QMimeData]:
    """The event, and what it holds but does not keep alive."""
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    return QDropEvent(QPointF(300, 300), actions, data, Qt.MouseButton.LeftButton, keys), data


def test_it_takes_files_dropped_on_it(window: DeskWindow, take: Session, qtbot: QtBot) -> None:
    drop, _data = drop_of(take.lanes[0].source.path.parent)
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.dropEvent(drop)
    session = window.parts.store.session
    assert session is not None and len(session.lanes) == 3


@pytest.mark.parametrize("copy", [Qt.DropAction.CopyAction, Qt.DropAction.IgnoreAction])
def test_a_drop_never_takes_files_away_from_where_they_are(
    window: DeskWindow, take: Session, copy: Qt.DropAction, qtbot: QtBot
) -> None:
    actions, shift = copy | Qt.DropAction.MoveAction, Qt.KeyboardModifier.ShiftModifier
    drop, _data = drop_of(take.lanes[0].source.path, actions=actions, keys=shift)
    assert drop.proposedAction() == Qt.DropAction.MoveAction
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.dropEvent(drop)
    assert drop.dropAction() == copy


@pytest.mark.parametrize(("answer", "lanes"), [("add", 4), ("open", 1), ("leave", 3)])
def test_recordings_dropped_on_a_take_may_belong_to_it(
    desk: DeskWindow, take: Session, questions: FakeQuestions, qtbot: QtBot, answer: Dropped, lanes: int
) -> None:
    questions.dropped_answer = answer
    drop, _data = drop_of(take.lanes[0].source.path)
    if answer == "leave":
        desk.dropEvent(drop)
        qtbot.waitUntil(lambda: "dropped" in questions.asked, timeout=5_000)
    else:
        with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
            desk.dropEvent(drop)
    session = desk.parts.store.session
    assert session is not None and len(session.lanes) == lanes
    assert ("in it twice" in desk.parts.messages.text) == (answer == "add")


def test_it_says_what_it_cannot_read_and_opens_the_rest(
    window: DeskWindow, take: Session, qtbot: QtBot
) -> None:
    broken = take.lanes[0].source.path.with_name("broken.wav")
    broken.write_bytes(b"no sound at all")
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.open_paths([broken.parent])
    qtbot.waitUntil(lambda: "broken.wav" in window.parts.messages.text)
    session = window.parts.store.session
    assert session is not None and len(session.lanes) == 3


def test_it_says_when_nothing_can_be_read(window: DeskWindow, tmp_path: Path, qtbot: QtBot) -> None:
    window.open_paths([tmp_path / "gone.wav"])
    qtbot.waitUntil(lambda: "gone.wav is missing" in window.parts.messages.text, timeout=10_000)
    assert window.parts.store.session is None


def test_closing_ends_the_player(window: DeskWindow, player: FakePlayer) -> None:
    window.close()
    assert player.is_closed


def test_the_question_about_a_drop_names_the_take_as_the_title_bar_does(
    desk: DeskWindow, take: Session, questions: FakeQuestions, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def dropped(_names: list[str], name: str) -> Dropped:
        asked.append(name)
        return "leave"

    monkeypatch.setattr(questions, "dropped", dropped)
    desk.parts.store.mark_saved(tmp_path / "mychapel.lagline")
    desk.parts.files.take_dropped([take.lanes[0].source.path])
    assert asked == ["mychapel"]
