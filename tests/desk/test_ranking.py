"""Several combinations compared blind in a real window: told at the end only, and kept."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QDialog, QLabel, QPushButton
from pytestqt.qtbot import QtBot
from tests.desk.test_board import board, key
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.panels.board import BoardPanel
from lagline.desk.panels.ranking_dialog import RankingDialog
from lagline.desk.window import DeskWindow
from lagline.playback.state import PlayState

__all__ = ["board"]


class MatchedPlayer(FakePlayer):
    """Knows the loudness of all it has been given, and lets time go on while it plays."""

    hidden: tuple[str, ...] = ()

    def set_hidden(self, hidden: bool, version_ids: tuple[str, ...] = ()) -> None:
        super().set_hidden(hidden, version_ids)
        self.hidden = version_ids if hidden else ()

    def state(self) -> PlayState:
        ids = [version.id for version in self.session.versions] if self.session is not None else []
        if self.now.playing:
            self.now = replace(self.now, position=self.now.position + 6_000)
        return replace(self.now, match_db=dict.fromkeys(("original", *ids), 0.0))


@pytest.fixture
def player() -> FakePlayer:
    return MatchedPlayer()


def labels(dialog: QDialog) -> dict[str, str]:
    return {one.accessibleName(): one.text() for one in dialog.findChildren(QLabel)}


def starred(panel: BoardPanel, count: int) -> None:
    for number in range(count):
        panel.table.choose(panel.cells[3 * number])
        key(panel, Qt.Key.Key_3)


def rank(panel: BoardPanel, questions: FakeQuestions, use: Callable[[QDialog], None]) -> None:
    questions.with_dialog = use
    button = next(one for one in panel.findChildren(QPushButton) if one.text() == "Compare blind…")
    assert button.isEnabled()
    button.click()


def answer_all(dialog: RankingDialog, desk: DeskWindow, player: MatchedPlayer, likes: list[str]) -> list[str]:
    """Hear both of every pair and prefer what comes first in `likes`; what the window showed meanwhile."""
    seen = []
    while dialog._page is not None:
        for number in ("1", "2"):
            QTest.keyClick(dialog, number)
            for _ in range(3):
                desk.parts.playing.poll()
                dialog.show_playback(desk.parts.playing.told)
        heard = [dialog._run.version_id(button) for button in ("1", "2")]
        assert player.now.version_id == heard[1]
        seen.append(" ".join(labels(dialog).values()))
        better = Qt.Key.Key_Left if likes.index(heard[0]) < likes.index(heard[1]) else Qt.Key.Key_Right
        QTest.keyClick(dialog, better)
        QTest.keyClick(dialog, Qt.Key.Key_Return)
    return seen


def test_three_with_stars_are_ranked_by_keys_and_the_ranking_is_kept(
    desk: DeskWindow, board: BoardPanel, player: MatchedPlayer, questions: FakeQuestions, qtbot: QtBot
) -> None:
    starred(board, 3)
    qtbot.waitUntil(lambda: len(board.ranked_cells()) == 3)
    ids = [cell.id for cell in board.ranked_cells()]
    likes = [ids[1], ids[2], ids[0]]
    told: list[str] = []

    def use(dialog: QDialog) -> None:
        assert labels(dialog)["Loudness"] == "All are made equally loud."
        next(one for one in dialog.findChildren(QPushButton) if one.text() == "Start").click()
        assert player.hidden == tuple(ids)
        told.extend(answer_all(dialog, desk, player, likes))
        assert player.hidden == ()
        told.append(labels(dialog)["Places"])
        next(one for one in dialog.findChildren(QPushButton) if one.text().startswith("Keep")).click()

    rank(board, questions, use)
    *during, places = told
    assert len(during) == 12
    secrets = ("near", "side", "room", "recorded", "Shifted")
    assert not any(name in text for text in during for name in secrets)
    (ranking,) = desk.parts.store.session.rankings
    assert [place.id for place in ranking.places] == likes
    assert [place.wins for place in ranking.places] == [8, 4, 0]
    assert ranking.probability == 6 / 4096
    assert places.startswith(f"1. {ranking.places[0].name}: 8 of 8 choices")
    assert desk.parts.store.undo_name == "Keep a ranking"


def test_a_run_that_is_left_keeps_nothing_and_shows_everything_again(
    desk: DeskWindow, board: BoardPanel, player: MatchedPlayer, questions: FakeQuestions, qtbot: QtBot
) -> None:
    starred(board, 2)
    qtbot.waitUntil(lambda: len(board.ranked_cells()) == 2)

    def use(dialog: QDialog) -> None:
        next(one for one in dialog.findChildren(QPushButton) if one.text() == "Start").click()
        assert player.hidden
        dialog.reject()

    rank(board, questions, use)
    assert player.hidden == ()
    assert desk.parts.store.session.rankings == ()
    qtbot.waitUntil(lambda: len(player.session.versions) == 15)


def test_with_more_than_eight_in_the_running_it_asks_for_stars(board: BoardPanel, qtbot: QtBot) -> None:
    button = next(one for one in board.findChildren(QPushButton) if one.text() == "Compare blind…")
    assert not button.isEnabled() and "Give stars to 2 to 8" in button.toolTip()
    starred(board, 2)
    qtbot.waitUntil(button.isEnabled)
    board.table.choose(board.cells[0])
    key(board, Qt.Key.Key_Delete)
    qtbot.waitUntil(lambda: not button.isEnabled())


def test_it_starts_only_when_the_loudness_is_known(desk: DeskWindow, take, qtbot: QtBot) -> None:
    dialog = RankingDialog(take, ("v1", "v2"), ("One", "Two"))
    qtbot.addWidget(dialog)
    start = next(one for one in dialog.findChildren(QPushButton) if one.text() == "Start")
    dialog.show_playback(PlayState(levels_known=True, match_db={"v1": 0.0}))
    assert not start.isEnabled()
    dialog.show_playback(PlayState(levels_known=True, match_db={"v1": 0.0, "v2": -1.0}))
    assert start.isEnabled()


def test_what_is_ranked_stays_whatever_the_board_does_meanwhile(
    desk: DeskWindow, board: BoardPanel, player: MatchedPlayer, questions: FakeQuestions, qtbot: QtBot
) -> None:
    starred(board, 3)
    qtbot.waitUntil(lambda: len(board.ranked_cells()) == 3)
    ids = {cell.id for cell in board.ranked_cells()}
    there: list[bool] = []

    def use(dialog: QDialog) -> None:
        next(one for one in dialog.findChildren(QPushButton) if one.text() == "Start").click()
        desk.commands.board.take_board(())
        there.append(ids <= {version.id for version in player.session.versions})

    rank(board, questions, use)
    assert there == [True]
