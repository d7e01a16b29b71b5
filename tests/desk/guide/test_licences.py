"""The page of licences opens offline from About and the Help menu, and every text behind it can be read."""

from __future__ import annotations

import re

import pytest
from PySide6.QtCore import Qt, QTimer, QUrl
from PySide6.QtWidgets import QApplication, QMessageBox

from lagline.desk.guide import guide_commands
from lagline.desk.guide.topics import CONTENTS, CONTENTS_TOPIC, licences_folder
from lagline.desk.window import DeskWindow


def page() -> str:
    folder = licences_folder()
    assert folder is not None
    return (folder / CONTENTS).read_text("utf-8")


def test_about_leads_to_the_licences(desk: DeskWindow, qtbot) -> None:
    said: list[str] = []

    def press() -> None:
        box = QApplication.activeModalWidget()
        assert isinstance(box, QMessageBox)
        said.append(box.informativeText())
        button = next(one for one in box.buttons() if one.text() == "Licences")
        qtbot.mouseClick(button, Qt.MouseButton.LeftButton)

    QTimer.singleShot(0, press)
    desk.actions_by_id["about"].trigger()
    assert "LGPL" in said[0] and "MIT" in said[0]
    window = desk.commands.guide.licences
    assert window.isVisible() and window.windowTitle() == "Licences"
    assert "Qt" in window.browser.toPlainText()


def test_every_text_can_be_read_and_led_back_from(desk: DeskWindow, qtbot) -> None:
    desk.actions_by_id["licences"].trigger()
    window = desk.commands.guide.licences
    browser = window.browser
    links = sorted(set(re.findall(r"\((texts/[^)]+)\)", page())))
    assert len(links) > 25
    for link in links:
        window.show_topic(CONTENTS_TOPIC)
        browser.anchorClicked.emit(QUrl(link))
        assert browser.page == link.partition("/")[2]
        assert len(browser.toPlainText()) > 150, link
    qtbot.mouseClick(window.back, Qt.MouseButton.LeftButton)
    assert browser.page == CONTENTS


def test_qt_is_named_with_its_licence_and_how_to_replace_it() -> None:
    qt = page().partition("## Qt, and how to replace it")[2].partition("##")[0]
    assert "Lesser General Public License" in qt and "texts/LGPL-3.txt" in qt and "texts/GPL-3.txt" in qt
    assert "_internal/PySide6" in qt and "site-packages" in qt


def test_a_copy_without_them_says_so(desk: DeskWindow, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guide_commands, "licences_folder", lambda: None)
    desk.actions_by_id["licences"].trigger()
    assert desk.commands.guide.licences is None
    assert desk.parts.messages.text == guide_commands.NO_LICENCES
