"""The combinations board in a real window: heard, rated, struck out and kept by keys alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QCheckBox, QPushButton
from pytestqt.qtbot import QtBot
from tests.support.click_take import write_click_take
from tests.support.desk_hands import lane_id, press
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.combinations.cells import Cell
from lagline.combinations.mend import change_words
from lagline.desk.panels.board import BoardPanel
from lagline.desk.panels.board_table import whole_clauses
from lagline.desk.panels.cells_dialog import CellsDialog
from lagline.desk.window import DeskWindow
from lagline.session.edits import with_gain, with_new_version, with_shift
from lagline.session.values import Mark, Session


@pytest.fixture
def board(desk: DeskWindow, qtbot: QtBot) -> BoardPanel:
    near = lane_id(desk, "near")
    desk.parts.store.apply("shift", lambda now: with_shift(now, near, 96.0))
    press(desk, "Ctrl+5")
    panel = desk.parts.side.tabs.board
    qtbot.waitUntil(panel.isVisible)
    qtbot.waitUntil(lambda: panel._facts is not None, timeout=20_000)
    panel.table.setFocus()
    return panel


def key(panel: BoardPanel, *keys: Qt.Key) -> None:
    for one in keys:
        QTest.keyClick(panel.table, one)


def suggested(panel: BoardPanel, name: str) -> QPushButton:
    buttons = panel._suggested.findChildren(QPushButton)
    return next(one for one in buttons if one.text().startswith(name))


def cell_of(panel: BoardPanel, name: str, version_id: str) -> Cell:
    return next(cell for cell in panel.cells if (cell.name, cell.version_id) == (name, version_id))


def heard(player: FakePlayer) -> str:
    return player.now.version_id or ""


def test_all_fourteen_cells_are_heard_by_arrow_keys_alone(board: BoardPanel, player: FakePlayer) -> None:
    assert len(board.cells) == 14
    key(board, Qt.Key.Key_Return)
    seen = [heard(player)]
    for row in range(7):
        key(board, Qt.Key.Key_Left if row % 2 == 0 else Qt.Key.Key_Right)
        seen.append(heard(player))
        if row < 6:
            key(board, Qt.Key.Key_Down)
            seen.append(heard(player))
    assert sorted(seen) == sorted(cell.id for cell in board.cells)
    assert player.now.playing and player.session is not None and player.session.loop is not None
    assert board.table.currentItem().text().startswith("▶")


def test_every_cell_is_there_to_hear_and_ready(board: BoardPanel, player: FakePlayer) -> None:
    assert player.session is not None
    there = {version.id: version for version in player.session.versions}
    assert [told for told in player.told if told[0] == "mix"] == [("mix", True)]
    for cell in board.cells:
        sounding = player.session.audible_lanes(there[cell.id])
        assert tuple(lane.id for lane in sounding) == cell.lane_ids


def test_a_click_hears_a_cell(board: BoardPanel, player: FakePlayer, qtbot: QtBot) -> None:
    place = board.table.visualItemRect(board.table.item(3, 0)).center()
    qtbot.mouseClick(board.table.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(place))
    assert heard(player) == board.table.current_cell.id
    assert board.table.current_cell.version_id == "original"


def test_keys_rate_strike_out_and_keep(desk: DeskWindow, board: BoardPanel, qtbot: QtBot) -> None:
    cell = board.table.current_cell
    key(board, Qt.Key.Key_4)
    assert desk.parts.store.session.marks == {cell.id: Mark(4)}
    qtbot.waitUntil(lambda: "4★ " in board.table.currentItem().text())
    key(board, Qt.Key.Key_Delete)
    assert desk.parts.store.session.marks == {cell.id: Mark(4, True)}
    qtbot.waitUntil(lambda: board.table.currentItem().font().strikeOut())
    key(board, Qt.Key.Key_Delete, Qt.Key.Key_0)
    assert desk.parts.store.session.marks == {}
    key(board, Qt.Key.Key_V, Qt.Key.Key_V)
    names = [version.name for version in desk.parts.store.session.versions]
    assert names == ["Shifted", "near, Shifted", "near, Shifted 2"]
    assert desk.parts.store.session.current_version_id == "v1"
    for _ in range(2):
        press(desk, "Ctrl+Z")
    assert len(desk.parts.store.session.versions) == 1


def test_the_keys_are_the_desks_again_elsewhere(
    desk: DeskWindow, board: BoardPanel, player: FakePlayer
) -> None:
    key(board, Qt.Key.Key_Return)
    desk.parts.lanes.stack.setFocus()
    press(desk, "1")
    assert heard(player) == "original"
    assert desk.parts.store.session.marks == {}


def test_leaving_the_board_takes_its_cells_away(
    desk: DeskWindow, board: BoardPanel, player: FakePlayer, qtbot: QtBot
) -> None:
    key(board, Qt.Key.Key_Return)
    press(desk, "Ctrl+4")
    qtbot.waitUntil(lambda: heard(player) == "v1")
    qtbot.waitUntil(lambda: [version.id for version in player.session.versions] == ["v1"])
    press(desk, "Ctrl+5")
    qtbot.waitUntil(lambda: len(player.session.versions) == 15)


def test_words_figures_and_suggestions_are_those_of_the_cell(board: BoardPanel) -> None:
    board.table.choose(board.cells[-2])  # all lanes as recorded: clicks 96 samples apart comb
    words = next(
        one for one in board.children() if getattr(one, "accessibleName", str)().startswith("What this")
    )
    assert words.text().startswith("near + side + room, as recorded: ")
    assert "notch at" in words.text()
    assert "ripple" in board._figures.text() and "LUFS" in board._figures.text()
    buttons = [
        one for one in board._suggested.findChildren(QPushButton) if one.text().startswith("Most even")
    ]
    assert len(buttons) == 1


def test_a_narrow_cell_leaves_out_whole_clauses_and_keeps_what_comes_first() -> None:
    words = "▶ fills 12 dB at 390 Hz; +2.1 dB from 100 to 250 Hz; no notches"
    first = "▶ fills 12 dB at 390 Hz"
    assert whole_clauses(words, len(words), len) == words
    assert whole_clauses(words, len(words) - 1, len) == f"{first}; +2.1 dB from 100 to 250 Hz …"
    assert whole_clauses(words, len(first) + 2, len) == f"{first} …"
    assert whole_clauses(words, 5, len) == first  # the table itself cuts that


def test_what_equal_loudness_takes_is_said(
    desk: DeskWindow, board: BoardPanel, player: FakePlayer, qtbot: QtBot
) -> None:
    assert not board._match.isVisible()
    player.now = replace(player.now, match_db={heard(player): -6.2}, matching=True)
    qtbot.waitUntil(board._match.isVisible)
    assert board._match.text().startswith("Turned down 6.2 dB")
    player.now = replace(player.now, matching=False)
    qtbot.waitUntil(lambda: not board._match.isVisible())


def test_a_suggestion_is_heard_when_clicked(board: BoardPanel, player: FakePlayer, qtbot: QtBot) -> None:
    button = next(
        one for one in board._suggested.findChildren(QPushButton) if one.text().startswith("Most even")
    )
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    assert heard(player) == board.table.current_cell.id
    assert board.table.current_cell.name in button.accessibleName()


def test_the_least_change_is_found_heard_and_kept_by_two_keys(
    desk: DeskWindow, board: BoardPanel, player: FakePlayer, qtbot: QtBot
) -> None:
    near_and_room = cell_of(board, "near + room", "original")
    board.table.choose(near_and_room)
    before = desk.parts.store.session
    key(board, Qt.Key.Key_M)
    qtbot.waitUntil(lambda: bool(board.mends.mends), timeout=20_000)
    found = board.mends.mends
    assert heard(player) == found[0].cell.id
    there = {version.id: version for version in player.session.versions}
    assert [one.cell.id in there for one in found] == [True] * len(found)
    assert [lane.id for lane in player.session.audible_lanes(there[heard(player)])] == list(
        near_and_room.lane_ids
    )
    assert desk.parts.store.session.versions == before.versions  # proposed, not done
    shift = next(at for at, one in enumerate(found) if one.kind == "shift")
    for _ in range(shift):
        key(board, Qt.Key.Key_M)
    assert heard(player) == found[shift].cell.id
    key(board, Qt.Key.Key_K)
    kept = desk.parts.store.session.versions[-1]
    assert kept.name == f"near + room, {change_words(before, found[shift])}"
    assert kept.moves == found[shift].version.moves
    assert [version.id for version in desk.parts.store.session.versions] == ["v1", kept.id]
    key(board, Qt.Key.Key_Return)
    assert heard(player) == near_and_room.id
    press(desk, "Ctrl+Z")
    assert desk.parts.store.session.versions == before.versions


def test_a_lane_alone_has_nothing_to_mend(board: BoardPanel, qtbot: QtBot) -> None:
    board.table.choose(cell_of(board, "near", "v1"))
    key(board, Qt.Key.Key_M, Qt.Key.Key_K)
    qtbot.waitUntil(board.mends.isVisible)
    assert board.mends._text.text() == "near has no notch to mend." and board.mends.mends == ()


def test_what_mends_another_timing_is_shown_no_more(
    desk: DeskWindow, board: BoardPanel, player: FakePlayer, qtbot: QtBot
) -> None:
    board.table.choose(cell_of(board, "near + room", "original"))
    key(board, Qt.Key.Key_M)
    qtbot.waitUntil(lambda: board.mends.isVisible() and not desk.commands.board.mending._task.is_busy)
    assert [one for one in player.session.versions if one.id.startswith("cell gain")]
    desk.parts.store.apply("gain", lambda now: with_gain(now, lane_id(desk, "near"), -3.0))
    qtbot.waitUntil(lambda: not board.mends.isVisible())
    assert not [one for one in player.session.versions if one.id.startswith("cell gain")]


def gains(session: Session) -> list[float]:
    return [session.current_version.balance(lane.id).gain_db for lane in session.lanes]


def test_the_balance_moves_by_keys_and_by_hand_each_as_one_step(
    desk: DeskWindow, board: BoardPanel, player: FakePlayer, qtbot: QtBot
) -> None:
    store = desk.parts.store
    cell = cell_of(board, "near + room", "v1")
    board.table.choose(cell)
    key(board, Qt.Key.Key_Return, Qt.Key.Key_B)
    pad = board.balance.pad
    qtbot.waitUntil(lambda: len(pad._shares) == 2, timeout=20_000)
    assert pad.isVisible() and pad._names == ("near", "room")
    before, shares = store.session, pad._shares
    meter = desk.commands.board.balancing._meter
    for _ in range(5):
        QTest.keyClick(pad, Qt.Key.Key_Left)
    by_keys = store.session
    assert pad._shares[0] > shares[0] + 0.05
    assert gains(by_keys)[0] > gains(before)[0] and gains(by_keys)[2] < gains(before)[2]
    assert gains(by_keys)[1] == gains(before)[1]
    assert meter.lufs(by_keys) == pytest.approx(meter.lufs(before), abs=0.05)
    start, end = pad.handle().toPoint(), pad.corners()[1].toPoint()
    qtbot.mousePress(pad, Qt.MouseButton.LeftButton, pos=start)
    for part in range(1, 6):
        qtbot.mouseMove(pad, start + (end - start) * part / 5)
    qtbot.mouseRelease(pad, Qt.MouseButton.LeftButton, pos=end)
    assert pad._shares[1] > 0.98
    assert meter.lufs(store.session) == pytest.approx(meter.lufs(before), abs=0.05)
    loudest = gains(store.session)[0]
    qtbot.waitUntil(lambda: player.session.version(cell.id).balance("lane-1").gain_db == loudest)
    assert heard(player) == cell.id
    press(desk, "Ctrl+Z")
    assert gains(store.session) == gains(by_keys)
    press(desk, "Ctrl+Z")
    assert gains(store.session) == gains(before)
    QTest.keyClick(pad, Qt.Key.Key_Home)
    assert pad._shares == pytest.approx((0.5, 0.5), abs=1e-6)
    QTest.keyClick(pad, Qt.Key.Key_Escape)
    assert board.table.hasFocus()


def test_three_lanes_are_balanced_on_a_triangle_and_one_not_at_all(board: BoardPanel, qtbot: QtBot) -> None:
    key(board, Qt.Key.Key_B)
    assert not board.balance.pad.isVisible() and "two or three" in board.balance._text.text()
    board.table.choose(cell_of(board, "near + side + room", "original"))
    pad = board.balance.pad
    qtbot.waitUntil(lambda: len(pad._shares) == 3, timeout=20_000)
    top, left, right = pad.corners()
    assert pad.shares_at(top) == pytest.approx((1, 0, 0)) and pad.shares_at(right) == pytest.approx((0, 0, 1))
    assert pad.shares_at((top + left) / 2) == pytest.approx((0.5, 0.5, 0), abs=1e-9)
    QTest.keyClick(pad, Qt.Key.Key_Home)
    shares = pad._shares
    QTest.keyClick(pad, Qt.Key.Key_Up)
    assert pad._shares[0] > shares[0] and pad._shares[1] == pytest.approx(pad._shares[2])


def test_it_is_sorted_as_asked_and_the_cell_stays_the_same(board: BoardPanel) -> None:
    board.table.choose(board.cells[9])
    cell = board.table.current_cell
    for order in ("notch", "ripple", "low", "middle", "high", "crest", "loudness"):
        board._sort.choose(order)
        figure = {one.cell: one for one in board._facts.cells}
        values = [figure[one] for one in board.cells if one.version_id == "v1"]
        assert board.table.current_cell == cell
        ranked = {
            "notch": [one.notches[0].depth_db if one.notches else 0.0 for one in values],
            "ripple": [one.ripple_db for one in values],
            "low": [-one.summing_gain_db[0] for one in values],
            "middle": [-one.summing_gain_db[1] for one in values],
            "high": [-one.summing_gain_db[2] for one in values],
            "crest": [-one.crest_db for one in values],
            "loudness": [-one.loudness_lufs for one in values],
        }[order]
        assert ranked == sorted(ranked)


def test_the_tone_of_a_cell_is_plotted_when_asked_for(board: BoardPanel, qtbot: QtBot) -> None:
    cell = cell_of(board, "near + room", "v1")
    board.table.choose(cell)
    assert not board.plot.isVisible()
    key(board, Qt.Key.Key_P)
    assert board.plot.isVisible() and board._plot.isChecked()
    facts = board._facts.of(cell)
    assert list(board.plot._bars.opts["height"]) == list(facts.tone_db)
    recorded = board._facts.as_recorded(cell)
    assert list(board.plot._line.getData()[1]) == list(recorded.tone_db)
    other = cell_of(board, "near + room", "original")
    board.table.choose(other)
    assert list(board.plot._bars.opts["height"]) == list(recorded.tone_db)
    marks = [mark.value() for mark in board.plot._marks if mark.isVisible()]
    assert 10 ** np.array(marks) == pytest.approx([one.frequency_hz for one in recorded.notches])
    key(board, Qt.Key.Key_P)
    assert not board.plot.isVisible()


def test_any_cells_are_delivered_at_once_equally_loud_with_a_sheet(
    desk: DeskWindow,
    board: BoardPanel,
    questions: FakeQuestions,
    qtbot: QtBot,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    starred = [cell_of(board, "near + room", "v1"), cell_of(board, "near + room", "original")]
    for cell in starred:
        board.table.choose(cell)
        key(board, Qt.Key.Key_3)
    qtbot.waitUntil(lambda: "3★" in board.table.currentItem().text())
    questions.folder_answer = tmp_path / "out"
    seen: list[str] = []

    def use(dialog: CellsDialog) -> None:
        assert dialog.ticked == (starred[1], starred[0])
        item = dialog._list.item(dialog._cells.index(cell_of(board, "side", "v1")))
        item.setCheckState(Qt.CheckState.Checked)
        assert not dialog._deliver.isEnabled()
        dialog._choose.click()
        assert dialog._deliver.isEnabled() and dialog._deliver.text() == "Deliver 3"
        for _ in range(2):  # the second time the files are in the way
            dialog._deliver.click()
            qtbot.waitUntil(lambda: not dialog._is_busy, timeout=30_000)
            seen.append(dialog._said.text())
        dialog.reject()

    monkeypatch.setattr(questions, "show", use)
    board._deliver.click()
    files = sorted((tmp_path / "out").iterdir())
    prints = [path for path in files if path.suffix == ".wav"]
    assert len(prints) == 3 and {path.suffix for path in files} >= {".csv", ".txt"}
    for words in ("near + room, as recorded", "near + room, Shifted", "side, Shifted"):
        assert [path for path in prints if words in path.name], words
    assert f"{len(files)} files written to {tmp_path / 'out'}." in seen[0] and "already" in seen[1]


def test_lanes_left_out_are_in_no_cell(board: BoardPanel, qtbot: QtBot) -> None:
    box = next(one for one in board.findChildren(QCheckBox) if one.text() == "side")
    qtbot.mouseClick(box, Qt.MouseButton.LeftButton, pos=QPoint(8, box.height() // 2))
    assert len(board.cells) == 6
    for other in board.findChildren(QCheckBox):
        other.setChecked(False)
    assert board.cells == () and "Tick 1 to 8" in board._status.text()


def test_several_versions_stand_side_by_side_and_the_engineer_says_which(
    desk: DeskWindow, board: BoardPanel, player: FakePlayer, qtbot: QtBot
) -> None:
    assert not board._timings.isVisible()  # as recorded and one version: both are there
    desk.parts.store.apply("copy", lambda now: with_new_version(now, "Half way", "v1"))
    qtbot.waitUntil(board._timings.isVisible)
    boxes = {box.text(): box for box in board._timing_boxes.values()}
    assert list(boxes) == ["Original", "Shifted", "Half way"]
    assert [box.isChecked() for box in boxes.values()] == [True, False, True]
    qtbot.mouseClick(
        boxes["Shifted"], Qt.MouseButton.LeftButton, pos=QPoint(8, boxes["Shifted"].height() // 2)
    )
    table = board.table
    titles = [table.horizontalHeaderItem(at).text() for at in range(3)]
    assert titles == ["As recorded", "Shifted", "Half way"]
    assert len(board.cells) == 21
    table.setFocus()
    table.choose(board.cells[0])
    seen = []
    for _ in range(2):
        key(board, Qt.Key.Key_Right)
        seen.append(heard(player))
    assert seen == [cell.id for cell in board.cells[1:3]]
    qtbot.waitUntil(lambda: all(table.item(6, at).text() != "…" for at in range(3)), timeout=20_000)
    for box in boxes.values():
        if box.isChecked():
            qtbot.mouseClick(box, Qt.MouseButton.LeftButton, pos=QPoint(8, box.height() // 2))
    assert board.cells == () and board._status.text() == "Tick a timing."


def test_an_edit_is_measured_anew_and_one_seen_before_is_known(
    desk: DeskWindow, board: BoardPanel, qtbot: QtBot
) -> None:
    before, near = board._facts, lane_id(desk, "near")
    desk.parts.store.apply("shift", lambda now: with_shift(now, near, 50.0))
    qtbot.waitUntil(lambda: board._facts != before, timeout=20_000)
    press(desk, "Ctrl+Z")
    qtbot.waitUntil(lambda: board._facts == before)
    assert board._facts is before


def test_a_shift_by_hand_while_a_cell_is_heard_is_heard_in_its_version(
    desk: DeskWindow, board: BoardPanel, player: FakePlayer, qtbot: QtBot
) -> None:
    key(board, Qt.Key.Key_Return)
    desk.parts.edits.shift(lane_id(desk, "near"), 10.0)
    qtbot.waitUntil(lambda: heard(player) == "v1")


def test_solo_does_not_count_on_the_board(
    desk: DeskWindow, board: BoardPanel, player: FakePlayer, qtbot: QtBot
) -> None:
    desk.parts.edits.solo(lane_id(desk, "room"), True)
    qtbot.wait(200)
    assert player.session is not None and not any(lane.solo for lane in player.session.lanes)
    press(desk, "Ctrl+4")
    qtbot.waitUntil(lambda: any(lane.solo for lane in player.session.lanes))


def test_of_a_large_board_every_cell_is_at_hand(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot, tmp_path: Path
) -> None:
    """Eight lanes make 510 cells: all of them are the player's, and going through them changes nothing."""
    desk.show_take(
        write_click_take(tmp_path / "eight", {f"lane {n}": 12 * n for n in range(8)}, frames=24_000)
    )
    qtbot.waitUntil(desk.is_drawn, timeout=20_000)
    press(desk, "Ctrl+5")
    panel = desk.parts.side.tabs.board
    qtbot.waitUntil(lambda: len(panel.cells) == 62, timeout=20_000)
    more = next(one for one in panel.findChildren(QPushButton) if one.text() == "Show all 255")
    qtbot.mouseClick(more, Qt.MouseButton.LeftButton)
    assert len(panel.cells) == 510 and not more.isVisible()
    there = [version.id for version in player.session.versions]
    assert there == ["v1", *(cell.id for cell in panel.cells)]
    panel.table.setFocus()
    key(panel, Qt.Key.Key_Return)
    loaded = player.session
    seen = set()
    for _ in range(30):
        key(panel, Qt.Key.Key_Down)
        assert heard(player) == panel.table.current_cell.id
        seen.add(heard(player))
    panel.table.choose(panel.cells[-1])
    key(panel, Qt.Key.Key_Return)
    assert heard(player) == panel.cells[-1].id
    assert len(seen) == 30 and player.session is loaded
