"""The export dialog and what it foresees."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox, QComboBox, QLineEdit, QProgressBar, QPushButton
from tests.support.invented_session import session

from lagline.deliver.options import DEFAULTS
from lagline.desk.panels.export_dialog import ExportDialog
from lagline.desk.panels.export_plan import ExportWish, export_plan, size_text


@pytest.fixture
def dialog(qtbot, tmp_path: Path) -> ExportDialog:
    dialog = ExportDialog(session(), tmp_path)
    qtbot.addWidget(dialog)
    dialog.show()
    qtbot.waitExposed(dialog)
    return dialog


def button(dialog, text: str) -> QPushButton:
    return next(one for one in dialog.findChildren(QPushButton) if one.text() == text)


def tick(dialog, text: str) -> QCheckBox:
    return next(one for one in dialog.findChildren(QCheckBox) if one.text() == text)


def chooser(dialog, name: str) -> QComboBox:
    return next(one for one in dialog.findChildren(QComboBox) if one.accessibleName() == name)


def field(dialog, name: str) -> QLineEdit:
    return next(one for one in dialog.findChildren(QLineEdit) if one.accessibleName() == name)


def test_enter_asks_for_what_is_chosen(qtbot, dialog, tmp_path) -> None:
    qtbot.keyClick(chooser(dialog, "Depth"), Qt.Key.Key_End)
    qtbot.keyClick(chooser(dialog, "Shifts"), Qt.Key.Key_Down)
    tick(dialog, "Report").click()
    with qtbot.waitSignal(dialog.export_requested) as asked:
        qtbot.keyClick(dialog, Qt.Key.Key_Return)
    options = replace(DEFAULTS, depth="float", whole_samples=True)
    assert asked.args == [ExportWish(tmp_path, "v1", options, True, ("v1", "original"), True, True, False)]


def test_blends_keep_below_full_scale_unless_told_otherwise(qtbot, dialog) -> None:
    peak = chooser(dialog, "Blends")
    assert peak.currentText() == "at most −1 dBTP, turned down alike"
    assert dialog.wish().options.peak_dbtp == -1.0
    qtbot.keyClick(peak, Qt.Key.Key_Down)
    assert peak.currentText() == "as mixed, even where they clip"
    assert dialog.wish().options.peak_dbtp is None
    for text in ("Blend of this version", "Blend of the original"):
        tick(dialog, text).click()
    assert not peak.isEnabled()


def test_lanes_may_share_a_file(qtbot, dialog) -> None:
    layout = chooser(dialog, "Aligned files")
    assert layout.currentText() == "one a lane"
    qtbot.keyClick(layout, Qt.Key.Key_End)
    assert dialog.wish().options.layout == "take"
    text = dialog._preview.text()
    assert "aligned/Chapel, third try - all lanes - Shifted.wav" in text and "Room" not in text
    assert "About 39 MB" in text
    tick(dialog, "Aligned files").click()
    assert not layout.isEnabled()


def test_it_lists_names_and_size(dialog) -> None:
    text = dialog._preview.text()
    assert "Chapel, third try - Near left - Shifted.wav" in text
    assert "aligned/Chapel, third try - Room - Shifted.wav" in text
    assert "Timeline" in text
    assert "Blend of Shifted" in text
    # 5 lanes x 3 bytes and two stereo blends of 24 bits: 27 bytes a frame, 30 s and the shift of 102 samples.
    assert "About 39 MB" in text


def test_files_that_are_there_stand_in_the_way_until_replacing_is_allowed(qtbot, dialog, tmp_path) -> None:
    (tmp_path / "aligned").mkdir()
    (tmp_path / "aligned" / "Chapel, third try - Room - Shifted.wav").write_bytes(b"mine")
    field(dialog, "Folder to write into").textChanged.emit("")
    assert "Room - Shifted.wav would be replaced" in dialog._objection.text()
    assert not button(dialog, "Deliver").isEnabled()
    tick(dialog, "Replace files that are there").click()
    assert button(dialog, "Deliver").isEnabled()
    with qtbot.waitSignal(dialog.export_requested) as asked:
        qtbot.mouseClick(button(dialog, "Deliver"), Qt.MouseButton.LeftButton)
    assert asked.args[0].options.overwrite


def test_a_wrong_name_template_is_said_while_typing(qtbot, dialog) -> None:
    names = field(dialog, "File names")
    names.clear()
    qtbot.keyClicks(names, "{lane} {colour}")
    assert not button(dialog, "Deliver").isEnabled()
    assert dialog._objection.text()
    names.setText("{n:02d} {lane}")
    assert "01 Near left.wav" in dialog._preview.text()
    assert button(dialog, "Deliver").isEnabled()


def test_nothing_chosen_cannot_be_written(dialog) -> None:
    for text in ("Aligned files", "Blend of this version", "Blend of the original", "Delay sheet", "Report"):
        tick(dialog, text).click()
    assert "Nothing is chosen" in dialog._objection.text()
    assert not button(dialog, "Deliver").isEnabled()


def test_without_a_folder_it_asks_for_one(qtbot, dialog, tmp_path) -> None:
    field(dialog, "Folder to write into").clear()
    assert "Choose a folder" in dialog._objection.text()
    with qtbot.waitSignal(dialog.folder_requested) as asked:
        qtbot.mouseClick(button(dialog, "Choose …"), Qt.MouseButton.LeftButton)
    assert asked.args == [None]
    dialog.show_folder(tmp_path / "new")
    assert button(dialog, "Deliver").isEnabled()


def test_while_writing_escape_stops_it_and_nothing_can_be_changed(qtbot, dialog) -> None:
    dialog.show_progress(0.5)
    assert dialog.findChild(QProgressBar).isVisible()
    assert not chooser(dialog, "Depth").isEnabled()
    with qtbot.waitSignal(dialog.cancel_requested):
        qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    assert dialog.isVisible()
    with qtbot.waitSignal(dialog.cancel_requested):
        dialog.close()
    assert dialog.isVisible()
    dialog.show_failed("out could not be written (disk full).")
    assert "disk full" in dialog._objection.text()
    assert button(dialog, "Deliver").isEnabled()
    dialog.show_progress(1.0)
    dialog.show_finished("6 files written.")
    assert "6 files" in dialog._objection.text()
    qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    assert not dialog.isVisible()


def test_a_file_as_folder_and_a_full_disk_are_refused(tmp_path, monkeypatch) -> None:
    file = tmp_path / "a.txt"
    file.write_text("x")
    wish = ExportWish(file, "v1", DEFAULTS)
    assert "is a file" in export_plan(session(), wish).objection
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": 10})())
    plan = export_plan(session(), replace(wish, folder=tmp_path / "deep" / "er"))
    assert plan.free_bytes == 10
    assert "are needed" in plan.objection


@pytest.mark.parametrize("name", ["x" * 300, "nul\0in it"])
def test_a_folder_no_disk_can_hold_is_looked_at_without_a_fall(tmp_path, name) -> None:
    plan = export_plan(session(), ExportWish(tmp_path / name, "v1", DEFAULTS))
    assert plan.existing == () and plan.files
    assert plan.free_bytes is not None  # of the folder above


def test_sizes() -> None:
    assert [size_text(n) for n in (0, 3, 2_400_000, 1_340_000_000)] == ["0 MB", "1 MB", "2 MB", "1.3 GB"]
