"""The empty desk as a person meets it, and its end: mouse and keys on a real window without a screen."""

from pathlib import Path

from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from pytestqt.qtbot import QtBot
from tests.desk.conftest import wait_until_drawn
from tests.support.fake_desk import FakePlayer, FakeQuestions

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


def test_it_takes_files_dropped_on_it(window: DeskWindow, take: Session, qtbot: QtBot) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(take.lanes[0].source.path.parent))])
    drop = QDropEvent(
        QPointF(300, 300),
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
        window.dropEvent(drop)
    session = window.parts.store.session
    assert session is not None and len(session.lanes) == 3


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
