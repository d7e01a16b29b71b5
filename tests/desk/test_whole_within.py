"""Findings accepted as whole samples where their uncertainty allows it: one setting, told in the row."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QCheckBox
from tests.support.desk_hands import lane_id, shift_of
from tests.support.fake_desk import FakeQuestions

from lagline.desk.dialogs.settings_dialog import SettingsDialog
from lagline.desk.settings import DeskSettings
from lagline.desk.window import DeskWindow
from lagline.session.edits import with_alignment
from lagline.session.findings import Alignment, Finding
from lagline.session.origin_words import placement_words


def switch_on(questions: FakeQuestions, desk: DeskWindow) -> None:
    def use(dialog: SettingsDialog) -> None:
        (box,) = (one for one in dialog.findChildren(QCheckBox) if one.text().startswith("Accept whole"))
        assert not box.isChecked() and box.toolTip()
        box.click()

    questions.with_dialog = use
    desk.commands.view.run("settings")


@pytest.mark.parametrize("is_on", [False, True])
def test_the_setting_rounds_what_is_accepted_or_tried(
    desk: DeskWindow, questions: FakeQuestions, settings: QSettings, is_on: bool
) -> None:
    near, side, room = (lane_id(desk, name) for name in ("near", "side", "room"))
    found = (
        Finding(near, -96.3, 0.5, 1, 0.99, "strong", "heard", 0.9),
        Finding(side, -40.3, 0.1, 1, 0.99, "strong", "heard", 0.9),
        Finding(room, 0.0, 0.0, 1, 1.0, "strong", "anchor", 1.0),
    )
    desk.parts.edits.apply("Measure", lambda old: with_alignment(old, Alignment(room, 48_000, found)))
    if is_on:
        switch_on(questions, desk)
    assert DeskSettings(settings).whole_within is is_on
    desk.parts.edits.accept([near, side])
    assert (shift_of(desk, "near"), shift_of(desk, "side")) == (96.0 if is_on else 96.3, 40.3)
    session = desk.parts.store.session
    assert session is not None
    words = "by finding, as whole" if is_on else "by finding"
    assert placement_words(session.current_version, near) == words
    assert placement_words(session.current_version, side) == "by finding"
