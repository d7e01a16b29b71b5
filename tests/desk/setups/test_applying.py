"""A setup on the open take and further ones, measured by the real analysis process and saved."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QDialog, QPushButton
from tests.support.click_take import write_click_take

from lagline.desk import proposed_place
from lagline.desk.setups.applying import ApplyingSetup
from lagline.desk.setups.save_dialog import SaveSetupDialog
from lagline.desk.setups.texts import lane_rows
from lagline.session.setup import Setup, SetupLane, load_setup, save_setup
from lagline.session.storage import load
from lagline.session.values import Move

# The take of the fixture: room hears the clicks 96 samples after near and 40 after side.
CLICKS = Setup(
    "clicks",
    48_000,
    (SetupLane("near", Move(96.0)), SetupLane("side", Move(10.0)), SetupLane("room", Move())),
    "room",
)


@pytest.fixture
def applying(qtbot, take, questions, setup_questions, tmp_path):
    one = ApplyingSetup(CLICKS, None, take, questions, setup_questions, tmp_path)
    qtbot.addWidget(one.dialog)
    one.dialog.show()
    qtbot.waitExposed(one.dialog)
    yield one
    one.close()


def button(dialog: QDialog, text: str) -> QPushButton:
    return next(one for one in dialog.findChildren(QPushButton) if one.text().replace("&", "") == text)


def measure(qtbot, applying: ApplyingSetup) -> None:
    qtbot.mouseClick(applying.dialog._measure, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: not applying.dialog._is_busy, timeout=60_000)


def verdicts(applying: ApplyingSetup, number: int) -> list[str]:
    return [row.verdict for row in lane_rows(CLICKS, applying.takes[number])]


def test_the_open_take_is_measured_compared_and_edited_on_accepting(qtbot, applying, take) -> None:
    measure(qtbot, applying)
    assert verdicts(applying, 0) == ["✓ agrees", "↔ moved", "◆ anchor"]
    side = next(
        one for one in applying.dialog.findChildren(QComboBox) if one.accessibleName() == "What side uses"
    )
    side.setFocus()
    qtbot.keyClick(side, Qt.Key.Key_Down)
    with qtbot.waitSignal(applying.edit_requested) as asked:
        button(applying.dialog, "Accept").click()
    assert not applying.dialog.isVisible()
    name, edit = asked.args
    assert name == "Apply setup clicks"
    done = edit(take)
    shifts = {lane.name: done.current_version.move(lane.id).shift_samples for lane in done.lanes}
    assert shifts["near"] == 96.0  # the setup's
    assert shifts["side"] == pytest.approx(40.0, abs=0.1)  # what was measured
    assert take.current_version.moves == {}


def test_further_takes_are_measured_one_after_another_and_saved_beside_their_recordings(
    qtbot, applying, questions, tmp_path
) -> None:
    write_click_take(tmp_path / "more" / "b", {"near": 0, "side": 86, "room": 96})
    write_click_take(tmp_path / "more" / "c", {"near": 0, "side": 56, "hall": 96})
    questions.folder_answer = tmp_path / "more"
    button(applying.dialog, "Add folder …").click()
    qtbot.waitUntil(lambda: len(applying.takes) == 3, timeout=10_000)
    qtbot.waitUntil(lambda: applying._job is None)
    button(applying.dialog, "Add folder …").click()
    qtbot.waitUntil(lambda: "on the list already" in applying.dialog._note.text())
    qtbot.waitUntil(lambda: applying._job is None)
    assert len(applying.takes) == 3
    applying.dialog.chosen_requested.emit(0, False)  # leave the open take alone
    applying.dialog.takes.select(2)
    hall = next(
        one
        for one in applying.dialog.findChildren(QComboBox)
        if one.accessibleName() == "Setup’s lane for hall"
    )
    assert hall.currentText() == "none, leave it"
    hall.setFocus()
    qtbot.keyClick(hall, Qt.Key.Key_Up)
    hall_id = applying.takes[2].session.lane_named("hall").id
    assert applying.takes[2].matches[hall_id].known.name == "room"
    measure(qtbot, applying)
    assert applying.takes[0].alignment is None
    assert verdicts(applying, 1) == ["✓ agrees", "◆ anchor", "✓ agrees"]
    assert verdicts(applying, 2) == ["◆ anchor", "✓ agrees", "↔ moved"]
    with qtbot.waitSignal(applying.note, timeout=10_000):
        button(applying.dialog, "Accept").click()
    qtbot.waitUntil(lambda: applying._job is None)
    saved = load(tmp_path / "more" / "b" / "b.lagline")
    assert saved.current_version.move(saved.lane_named("side").id).shift_samples == 10.0
    assert saved.alignment is not None
    assert (tmp_path / "more" / "c" / "c.lagline").is_file()
    assert "saved as b.lagline" in applying.dialog.takes.item(1, 1).text()
    assert button(applying.dialog, "Close")
    assert not button(applying.dialog, "Accept").isEnabled()


def test_a_session_file_that_is_there_stands_in_the_way(qtbot, applying, questions, tmp_path) -> None:
    write_click_take(tmp_path / "b", {"near": 0, "room": 96}, frames=24_000)
    (tmp_path / "b" / "b.lagline").write_text("mine", "utf-8")
    questions.open_answer = [tmp_path / "b" / "near.wav", tmp_path / "b" / "room.wav"]
    button(applying.dialog, "Add recordings …").click()
    qtbot.waitUntil(lambda: len(applying.takes) == 2, timeout=10_000)
    qtbot.waitUntil(lambda: applying._job is None)
    assert "b.lagline" in applying.dialog._note.text()
    assert not button(applying.dialog, "Accept").isEnabled()
    applying.dialog.chosen_requested.emit(1, False)
    assert button(applying.dialog, "Accept").isEnabled()
    assert (tmp_path / "b" / "b.lagline").read_text("utf-8") == "mine"


def test_stopping_keeps_what_was_measured_before(qtbot, applying) -> None:
    measure(qtbot, applying)
    button(applying.dialog, "Measure again").click()
    assert applying.dialog._is_busy
    qtbot.keyClick(applying.dialog, Qt.Key.Key_Escape)
    assert not applying.dialog._is_busy
    assert applying.dialog.isVisible()
    assert applying.takes[0].state == "measured"
    assert "Stopped" in applying.dialog._note.text()


def test_a_take_that_cannot_be_measured_does_not_stop_the_next(
    qtbot, take, questions, setup_questions, tmp_path
) -> None:
    applying = ApplyingSetup(CLICKS, None, None, questions, setup_questions, tmp_path)
    qtbot.addWidget(applying.dialog)
    applying.dialog.show()
    single = write_click_take(tmp_path / "single", {"near": 0}, frames=24_000)
    for session in (single, take):
        questions.open_answer = [lane.source.path for lane in session.lanes]
        before = len(applying.takes)
        button(applying.dialog, "Add recordings …").click()
        qtbot.waitUntil(lambda before=before: len(applying.takes) > before, timeout=10_000)
        qtbot.waitUntil(lambda: applying._job is None)
    measure(qtbot, applying)
    assert [one.state for one in applying.takes] == ["failed", "measured"]
    assert not applying.takes[0].is_chosen
    applying.close()


def test_another_setup_is_held_against_the_same_measurement(
    qtbot, applying, setup_questions, tmp_path
) -> None:
    measure(qtbot, applying)
    setup_questions.setup_answer = tmp_path / "other.lagline-setup"
    button(applying.dialog, "Other setup …").click()
    assert "other.lagline-setup" in applying.dialog._note.text()  # it is not there: said so
    lanes = (SetupLane("near", Move(1.0)), SetupLane("room", Move()))
    save_setup(Setup("other", 48_000, lanes, "room"), setup_questions.setup_answer)
    button(applying.dialog, "Other setup …").click()
    assert "Setup other" in applying.dialog._setup_name.text()
    assert [row.grade for row in lane_rows(applying._setup, applying.takes[0])] == [
        "moved", "not comparable", "anchor",
    ]  # fmt: skip


def test_the_commands_save_a_setup_and_put_it_on_the_take(
    qtbot, desk, questions, setup_questions, tmp_path
) -> None:
    desk.commands.setups._asked = setup_questions
    commands = {name: desk.actions_by_id[name].trigger for name in ("save_setup", "apply_setup")}
    setup_questions.save_answer = tmp_path / "mine.lagline-setup"

    def save(dialog: QDialog) -> None:
        assert isinstance(dialog, SaveSetupDialog)
        qtbot.keyClick(dialog, Qt.Key.Key_Return)

    desk.parts.edits.shift("lane-1", 96.0)
    questions.with_dialog = save
    commands["save_setup"]()
    assert setup_questions.suggested == tmp_path / "take" / "take.lagline-setup"
    assert load_setup(setup_questions.save_answer).lanes[0].move.shift_samples == 96.0
    desk.parts.store.undo()

    def accept(dialog: QDialog) -> None:
        button(dialog, "Accept").click()

    setup_questions.setup_answer = setup_questions.save_answer
    questions.with_dialog = accept
    commands["apply_setup"]()
    session = desk.parts.store.session
    assert session is not None and session.current_version.move("lane-1").shift_samples == 96.0
    assert desk.parts.store.undo_name == "Apply setup take"


def test_a_setup_of_the_demo_goes_to_the_persons_own(
    desk, questions, setup_questions, tmp_path, monkeypatch
) -> None:
    monkeypatch.setattr(proposed_place, "is_demo", lambda folder: folder == tmp_path / "take")
    monkeypatch.setattr(proposed_place, "documents", lambda: tmp_path / "documents")
    desk.commands.setups._asked = setup_questions
    questions.with_dialog = lambda dialog: dialog.save_requested.emit(dialog.setup())
    desk.actions_by_id["save_setup"].trigger()
    assert setup_questions.suggested == tmp_path / "documents" / "take.lagline-setup"
