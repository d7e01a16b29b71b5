"""The delivery's form on the desk: where it proposes to write, what it opens with, and how it ends."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import QCheckBox, QDialog, QLineEdit, QPushButton
from pytestqt.qtbot import QtBot
from tests.support.desk_hands import session_of
from tests.support.fake_desk import FakeQuestions

from lagline.desk.panels.export_dialog import ExportDialog
from lagline.desk.window import DeskWindow


def opened(desk: DeskWindow, questions: FakeQuestions, monkeypatch: pytest.MonkeyPatch) -> ExportDialog:
    """The form, shown and left open."""
    forms: list[QDialog] = []

    def show(form: QDialog) -> None:
        forms.append(form)
        form.show()

    monkeypatch.setattr(questions, "show", show)
    desk.actions_by_id["export"].trigger()
    (form,) = forms
    assert isinstance(form, ExportDialog)
    desk.commands.dialogs._export_dialog = form  # as while it is shown
    return form


def folder_of(form: ExportDialog) -> Path:
    return Path(form.findChildren(QLineEdit)[0].text())


def button(form: ExportDialog, text: str) -> QPushButton:
    return next(one for one in form.findChildren(QPushButton) if one.text() == text)


def test_it_opens_ready_to_write_beside_the_recordings(
    desk: DeskWindow, questions: FakeQuestions, monkeypatch: pytest.MonkeyPatch
) -> None:
    form = opened(desk, questions, monkeypatch)
    session = session_of(desk)
    assert folder_of(form) == session.lanes[0].source.path.parent / f"{session.name} delivered"
    assert button(form, "Deliver").isEnabled() and not form._objection.isVisible()
    assert form.findChildren(QLineEdit)[0].selectedText() == str(folder_of(form)), "typing replaces it"
    original = next(one for one in form.findChildren(QCheckBox) if one.text() == "Blend of the original")
    assert original.isChecked(), "as the command line delivers"
    form.close()


def test_what_was_written_can_be_looked_at_and_the_next_take_goes_beside_it(
    desk: DeskWindow, questions: FakeQuestions, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, qtbot: QtBot
) -> None:
    shown: list[str] = []
    monkeypatch.setattr(QDesktopServices, "openUrl", lambda url: shown.append(url.toLocalFile()))
    form = opened(desk, questions, monkeypatch)
    assert not button(form, "Open the folder").isVisible()
    out = tmp_path / "client" / "first"
    form.show_folder(out)
    button(form, "Deliver").click()
    qtbot.waitUntil(lambda: button(form, "Open the folder").isVisible(), timeout=60_000)
    qtbot.waitUntil(lambda: not desk.commands.dialogs.is_exporting, timeout=10_000)
    button(form, "Open the folder").click()
    assert shown == [str(out)] and any(out.glob("*blend*"))
    form.close()
    form = opened(desk, questions, monkeypatch)
    assert folder_of(form) == out, "the same take goes where it went"
    form.close()
    desk.commands.dialogs._delivered.clear()  # another take
    form = opened(desk, questions, monkeypatch)
    assert folder_of(form) == out.parent / f"{session_of(desk).name} delivered"
    form.close()


def test_a_loop_that_decides_the_match_is_told_before_anything_is_written(
    desk: DeskWindow, questions: FakeQuestions, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.commands.listen.take_loop((24_000, 72_000), "")
    form = opened(desk, questions, monkeypatch)
    assert "Blends are matched over the loop only, 0:00.50 to 0:01.50." in form._preview.text()
    next(one for one in form.findChildren(QCheckBox) if one.text() == "Blends at equal loudness").click()
    assert "loop" not in form._preview.text()
    form.close()
