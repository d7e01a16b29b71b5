"""A wheel that scrolls past a control leaves it as it is."""

from __future__ import annotations

import ast
from collections.abc import Callable
from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPoint, QPointF
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractSpinBox, QApplication, QComboBox, QScrollArea, QSlider, QWidget
from pytestqt.qtbot import QtBot
from tests.support.invented_session import session

import lagline.desk
from lagline.desk.dialogs.settings_dialog import SettingsDialog
from lagline.desk.panels.blind_trial import BlindTrialDialog
from lagline.desk.panels.export_dialog import ExportDialog
from lagline.desk.planner.window import PlannerWindow
from lagline.desk.sheet_view import SheetDialog
from lagline.desk.style import dress
from lagline.desk.window import DeskWindow
from lagline.session.plan import Plan
from lagline.session.values import Version

WHEELED = (QComboBox, QAbstractSpinBox, QSlider)


def wheel(over: QWidget, notches: int = -1) -> None:
    """As the system sends it: to the window, at the place of the pointer."""
    top = over.window()
    at = QPointF(over.mapTo(top, over.rect().center()))
    QTest.wheelEvent(top.windowHandle(), at, QPoint(0, 120 * notches))
    QApplication.processEvents()


def said(control: QWidget) -> object:
    if isinstance(control, QComboBox):
        return control.currentIndex()
    return control.value() if isinstance(control, QSlider) else control.text()


def controls(top: QWidget) -> list[QWidget]:
    found = [one for kind in WHEELED for one in top.findChildren(kind)]
    return [one for one in found if one.isVisible() and one.isEnabled() and not one.visibleRegion().isEmpty()]


def two_versions() -> object:
    take = session()
    return replace(take, versions=(*take.versions, Version("v2", "Half way")))


MAKERS: dict[str, tuple[Callable[[], QWidget], int]] = {
    "export": (lambda: ExportDialog(session()), 5),
    "trial": (lambda: BlindTrialDialog(session()), 2),
    "sheet": (lambda: SheetDialog(two_versions()), 0),
}


@pytest.mark.parametrize("name", MAKERS)
def test_no_control_of_a_dialog_changes_under_a_passing_wheel(
    qtbot: QtBot, qapp: QApplication, name: str
) -> None:
    dress(qapp, "light")
    make, least = MAKERS[name]
    dialog = make()
    qtbot.addWidget(dialog)
    dialog.resize(700, 900)
    dialog.show()
    qtbot.waitExposed(dialog)
    unchanged(dialog, least)


def test_no_control_of_the_planner_changes_under_a_passing_wheel(qtbot: QtBot, tmp_path: Path) -> None:
    window = PlannerWindow()
    qtbot.addWidget(window, before_close_func=lambda one: one.store.open(Plan()))
    window.show()
    qtbot.waitExposed(window)
    unchanged(window, 4)


def test_no_control_of_the_desk_changes_under_a_passing_wheel(desk: DeskWindow, qtbot: QtBot) -> None:
    for index in range(desk.parts.side.tabs.count()):
        desk.commands.view.show_tab(index)
        qtbot.wait(20)
        unchanged(desk, 6, but=desk.parts.strip)


def unchanged(top: QWidget, least: int, but: QWidget | None = None) -> None:
    """`but`: where nothing scrolls, so that the wheel can only be meant for the control."""
    top.activateWindow()
    QTest.qWaitForWindowActive(top)
    QTest.qWait(50)
    has_focus = top.focusWidget()
    found = [one for one in controls(top) if one is not has_focus and not (but and but.isAncestorOf(one))]
    assert len(found) >= least
    before = [said(one) for one in found]
    for one in found:
        for notches in (-1, 1, 1):
            wheel(one, notches)
            assert one is not top.focusWidget()
    assert [said(one) for one in found] == before


def test_it_scrolls_the_dialog_instead_and_a_focused_control_takes_it(
    qtbot: QtBot, qapp: QApplication
) -> None:
    dress(qapp, "light")
    dialog = ExportDialog(session())
    qtbot.addWidget(dialog)
    dialog.resize(480, 360)
    dialog.show()
    qtbot.waitExposed(dialog)
    (scroll,) = dialog.findChildren(QScrollArea)
    version = next(one for one in controls(dialog) if isinstance(one, QComboBox))
    wheel(version)
    assert scroll.verticalScrollBar().value() > 0
    scroll.verticalScrollBar().setValue(0)
    dialog.activateWindow()
    version.setFocus()
    qtbot.waitUntil(version.hasFocus)
    before = version.currentIndex()
    wheel(version)
    assert version.currentIndex() == before + 1


def test_the_settings_too(qtbot: QtBot, desk: DeskWindow) -> None:
    dialog = SettingsDialog(desk.parts.settings, 20.0, desk)
    qtbot.addWidget(dialog)
    dialog.show()
    qtbot.waitExposed(dialog)
    unchanged(dialog, 2)


def test_the_desk_makes_none_of_qts_own() -> None:
    """But for the monitor level, which lies where nothing scrolls."""
    folder = Path(lagline.desk.__file__).parent
    own = {"QComboBox", "QSpinBox", "QDoubleSpinBox", "QSlider"}
    found = []
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [node.func] if isinstance(node, ast.Call) else getattr(node, "bases", [])
            found += [path.name for name in names if isinstance(name, ast.Name) and name.id in own]
    assert set(found) == {"boxes.py", "monitor.py"}
    assert found.count("monitor.py") == 1
