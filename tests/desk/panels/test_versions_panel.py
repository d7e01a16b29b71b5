"""The versions panel, by mouse and keys, and its texts."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QLineEdit, QPushButton, QSlider, QTableWidget
from tests.support.invented_session import session

from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.notes import NotesPanel
from lagline.desk.panels.text_box import TextBox
from lagline.desk.panels.version_list import MOST_PX, VersionList
from lagline.desk.panels.version_texts import differences, free_version_name, trial_lines, version_summary
from lagline.desk.panels.versions_panel import VersionsPanel
from lagline.session.edits import all_accepted, partly, with_new_version
from lagline.session.values import ORIGINAL, Session, Trial


def two_versions() -> Session:
    now = all_accepted(session())
    half = replace(partly(now.versions[0], 0.5), id="v2", name="Half")
    return replace(now, versions=(*now.versions, half))


@pytest.fixture
def panel(qtbot) -> VersionsPanel:
    panel = VersionsPanel()
    qtbot.addWidget(panel)
    panel.resize(360, 900)
    panel.show_session(two_versions())
    panel.show()
    panel.activateWindow()
    qtbot.waitExposed(panel)
    return panel


def button(panel, text: str) -> QPushButton:
    return next(one for one in panel.findChildren(QPushButton) if one.text() == text)


def the_list(panel) -> VersionList:
    return panel.findChild(VersionList)


def choose(panel, row: int) -> None:
    the_list(panel).setCurrentRow(row)


def test_the_list_names_versions_and_what_they_do(panel) -> None:
    panel.show_heard("original")
    texts = [the_list(panel).item(row).text() for row in range(3)]
    assert texts[0].startswith("▶ Original · heard\nas recorded")
    assert texts[1].startswith("Shifted · worked in\n3 lanes shifted, up to 118.0 samples; 1 flipped")
    assert texts[2].startswith("Half\n3 lanes shifted, up to 59.0 samples")
    panel.show_heard(None)  # a blind trial hides it
    assert "heard" not in the_list(panel).item(0).text()


@pytest.mark.parametrize(
    ("text", "signal", "args"),
    [
        ("Hear", "hear_requested", ["v2"]),
        ("Work in it", "edit_requested", ["v2"]),
        ("Keep a copy", "keep_requested", ["v2", "Half kept"]),
        ("Duplicate", "duplicate_requested", ["v2", "Half copy"]),
        ("Delete", "delete_requested", ["v2"]),
        ("Make", "part_requested", ["v2", 0.5, "Half 50 %"]),
        ("Blind trial …", "trial_requested", ["original", "v2"]),
    ],
)
def test_buttons_ask(qtbot, panel, text, signal, args) -> None:
    choose(panel, 2)
    with qtbot.waitSignal(getattr(panel, signal)) as asked:
        qtbot.mouseClick(button(panel, text), Qt.MouseButton.LeftButton)
    assert asked.args == args


def test_keys_of_the_list(qtbot, panel) -> None:
    choose(panel, 2)
    with qtbot.waitSignal(panel.hear_requested) as asked:
        qtbot.keyClick(the_list(panel), Qt.Key.Key_Return)
    assert asked.args == ["v2"]
    with qtbot.waitSignal(panel.delete_requested) as asked:
        qtbot.keyClick(the_list(panel), Qt.Key.Key_Delete)
    assert asked.args == ["v2"]
    qtbot.keyClick(the_list(panel), Qt.Key.Key_F2)
    name = panel.findChild(QLineEdit)
    assert name.hasFocus()
    qtbot.keyClicks(name, "Closer")
    with qtbot.waitSignal(panel.rename_requested) as asked:
        qtbot.keyClick(name, Qt.Key.Key_Return)
    assert asked.args == ["v2", "Closer"]


def test_the_original_can_be_heard_and_copied_but_not_edited(qtbot, panel) -> None:
    choose(panel, 0)
    assert button(panel, "Hear").isEnabled()
    assert button(panel, "Duplicate").isEnabled()
    for text in ("Work in it", "Delete", "Make"):
        assert not button(panel, text).isEnabled()
    with qtbot.assertNotEmitted(panel.delete_requested):
        qtbot.keyClick(the_list(panel), Qt.Key.Key_Delete)


def test_the_last_version_cannot_be_deleted(panel) -> None:
    panel.show_session(session())
    assert not button(panel, "Delete").isEnabled()


def test_how_much_says_what_it_makes(qtbot, panel) -> None:
    choose(panel, 1)
    slider = panel.findChild(QSlider)
    qtbot.keyClick(slider, Qt.Key.Key_PageUp)
    assert slider.value() == 60
    assert "Largest shift 70.8 of 118.0 samples" in panel._part_text.text()
    with qtbot.waitSignal(panel.part_requested) as asked:
        qtbot.mouseClick(button(panel, "Make"), Qt.MouseButton.LeftButton)
    assert asked.args == ["v1", 0.6, "Shifted 60 %"]


def test_a_note_goes_to_the_version_it_was_typed_at(qtbot, panel) -> None:
    choose(panel, 1)
    note = panel.findChild(TextBox)
    qtbot.keyClicks(note, "dry")
    with qtbot.waitSignal(panel.note_requested) as asked:
        choose(panel, 2)
    assert asked.args == ["v1", "dry"]


def test_typing_a_note_is_not_undone_by_what_is_shown_meanwhile(qtbot, panel) -> None:
    choose(panel, 1)
    note = panel.findChild(TextBox)
    qtbot.keyClicks(note, "wet")
    panel.show_session(replace(two_versions(), name="Renamed meanwhile"))
    assert note.toPlainText() == "wet"


def test_differences_lane_by_lane(panel) -> None:
    choose(panel, 1)
    table = panel.findChild(QTableWidget)
    cells = [table.item(0, column).text() for column in range(3)]
    assert cells == ["Near left", "0.00 → +101.37 ⊖", "+101.37, flipped"]


def test_summaries_and_names() -> None:
    now = two_versions()
    assert version_summary(now, ORIGINAL).startswith("as recorded")
    assert version_summary(session(), replace(now.versions[0], moves={})) == "nothing shifted yet"
    assert free_version_name(now, "Half") == "Half 2"
    assert free_version_name(with_new_version(now, "Half 2"), "half") == "half 3"
    assert differences(now, ORIGINAL, ORIGINAL)[0].difference == ""


def test_notes_are_told_once_when_the_focus_leaves(qtbot) -> None:
    panel = NotesPanel()
    qtbot.addWidget(panel)
    panel.show_session(session())
    box = panel.findChild(TextBox)
    told = []
    panel.notes_requested.connect(told.append)
    qtbot.keyClicks(box, "Try the balcony lower")
    assert told == []
    panel.settle()
    panel.settle()
    assert told == ["Try the balcony lower"]
    panel.show_session(replace(session(), notes="from the file"))
    assert box.toPlainText() == "from the file"


def test_empty_panels_are_switched_off(panel) -> None:
    panel.show_session(None)
    assert the_list(panel).count() == 0
    assert not button(panel, "Hear").isEnabled()


def kept(*pairs: tuple[str, str]) -> tuple[Trial, ...]:
    answers = (True,) * 14 + (False, False)
    return tuple(Trial("abx", pair, 16, answers, 0.0021, "2026-05-02T14:10:00+02:00") for pair in pairs)


def test_a_version_is_not_offered_to_be_compared_with_itself(panel) -> None:
    other = next(one for one in panel.findChildren(Chooser) if one.accessibleName() == "Compare with")

    def offered() -> list[str]:
        return [other.itemText(index) for index in range(other.count())]

    choose(panel, 1)
    assert offered() == ["Original", "Half"] and other.currentText() == "Original"
    assert button(panel, "Blind trial …").isEnabled()
    choose(panel, 0)
    assert offered() == ["Shifted", "Half"] and other.currentText() == "Shifted"
    choose(panel, 2)
    assert offered() == ["Original", "Shifted"]


def test_kept_trials_of_a_version_are_told_as_in_the_report(panel) -> None:
    told = next(
        one for one in panel.findChildren(QLabel) if one.accessibleName() == "Blind trials of this version"
    )
    choose(panel, 1)
    assert not told.isVisible()
    trials = kept(("original", "v1"))
    panel.show_session(replace(two_versions(), trials=trials))
    assert told.isVisible()
    assert told.text() == (
        "1 blind trial:\n2026-05-02 14:10, Original / Shifted, told apart (ABX): 14 of 16 right, "
        "probability 0.0021"
    )
    choose(panel, 2)
    assert not told.isVisible()


def test_of_many_trials_the_latest_are_told() -> None:
    now = replace(two_versions(), trials=kept(*[("original", "v1")] * 4, ("v1", "v2")))
    lines = trial_lines(now, "v1")
    assert lines[0] == "5 blind trials:" and "Shifted / Half" in lines[1]
    assert len(lines) == 5 and lines[-1] == "and 2 more, all in the report"
    assert len(trial_lines(now, "v2")) == 2


def test_the_list_is_as_high_as_its_rows_up_to_a_limit(qtbot, panel) -> None:
    few = the_list(panel).height()
    assert the_list(panel).verticalScrollBar().maximum() == 0
    assert few < the_list(panel).sizeHintForRow(0) * 4
    now = two_versions()
    panel.show_session(
        replace(now, versions=(*now.versions, replace(now.versions[1], id="v3", name="Third")))
    )
    qtbot.waitUntil(lambda: the_list(panel).height() > few)
    many = [replace(now.versions[1], id=f"v{n}", name=f"Try {n}") for n in range(2, 30)]
    panel.show_session(replace(now, versions=(now.versions[0], *many)))
    qtbot.waitUntil(lambda: the_list(panel).height() == MOST_PX)
    assert the_list(panel).verticalScrollBar().maximum() > 0
