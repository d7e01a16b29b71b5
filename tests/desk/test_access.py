"""Everything on the desk has a name, can be reached by keys, is large enough, and tells its key.

Names and roles: WCAG 2.2, 4.1.2; keyboard: 2.1.1; target size 24 x 24 CSS pixels: 2.5.8 (numbers as given in
the standard; read in third-party copies).
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QAccessible
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractSlider,
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QLabel,
    QLineEdit,
    QScrollBar,
    QTabBar,
    QWidget,
)
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.desk_hands import press

from lagline.desk.style import dress
from lagline.desk.window import DeskWindow

CONTROLS = (QAbstractButton, QAbstractSlider, QAbstractSpinBox, QComboBox, QLineEdit)


def controls(desk: DeskWindow) -> Iterator[QWidget]:
    """Visible controls that are not the inside of another control."""
    own = (desk.parts.strip, desk.parts.lanes, desk.parts.messages, desk.parts.foot, desk.parts.empty)
    for part in own:
        for widget in part.findChildren(QWidget):
            inside = isinstance(widget.parentWidget(), QAbstractSpinBox | QComboBox)
            counts = isinstance(widget, CONTROLS) and not isinstance(widget, QScrollBar | QTabBar)
            if counts and widget.isVisible() and not inside:
                yield widget


def spoken(widget: QWidget) -> str:
    interface = QAccessible.queryAccessibleInterface(widget)
    return interface.text(QAccessible.Text.Name) if interface is not None else ""


def test_every_control_has_a_name_and_a_hint(desk: DeskWindow) -> None:
    found = list(controls(desk))
    assert len(found) > 30
    for control in found:
        assert spoken(control).strip(), control
        assert control.toolTip().strip(), spoken(control)


def test_every_control_is_large_enough(desk: DeskWindow) -> None:
    for control in controls(desk):
        if isinstance(control, QAbstractSlider):
            continue  # the whole slider is the target, its handle is only a mark
        text = f"{spoken(control)}: {control.width()} x {control.height()}"
        assert control.width() >= 24, text
        assert control.height() >= 16, text  # with the spacing exception of 2.5.8 for check boxes
        if not isinstance(control, QAbstractButton) or not control.text():
            assert control.height() >= 24, text


def test_every_control_can_be_reached_by_keys(desk: DeskWindow) -> None:
    for control in controls(desk):
        assert control.focusPolicy() & Qt.FocusPolicy.TabFocus, spoken(control)


def test_painted_parts_have_names(desk: DeskWindow) -> None:
    lanes = desk.parts.lanes
    painted = [lanes.stack, lanes.ruler, lanes.overview, lanes.sum.wave, desk.parts.strip.meter]
    painted += [lanes.stack.row(lane_id).wave for lane_id in lanes.stack.order]
    for widget in painted:
        assert spoken(widget).strip(), widget


def test_state_is_told_in_words(desk: DeskWindow, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "2")
    shifted = desk.parts.strip.switch.buttons[1]
    qtbot.waitUntil(lambda: "heard" in shifted.text())
    assert "heard now" in spoken(shifted)
    press(desk, "T")
    header = desk.parts.lanes.stack.row(desk.parts.lanes.stack.order[0]).header
    assert header.accessibleName() == "Lane near, anchor"


def test_areas_follow_each_other(desk: DeskWindow, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "F6")
    assert desk.parts.side.isAncestorOf(QApplication.focusWidget())
    press(desk, "F6")
    assert desk.parts.strip.isAncestorOf(QApplication.focusWidget())
    press(desk, "F6")
    assert QApplication.focusWidget() is desk.parts.lanes.stack


@pytest.mark.parametrize("theme", ("light", "dark"))
@pytest.mark.parametrize("size", ((640, 360), (1280, 720), (2560, 1440)))
def test_nothing_in_the_strip_is_cut_or_overlaps(
    desk: DeskWindow, qtbot: QtBot, qapp: QApplication, theme: str, size: tuple[int, int]
) -> None:
    dress(qapp, theme)  # type: ignore[arg-type]
    desk.resize(*size)
    qtbot.wait(50)
    strip = desk.parts.strip
    seen = [w for w in strip.findChildren(QWidget) if isinstance(w, (*CONTROLS, QLabel)) and w.isVisible()]
    for widget in seen:
        place = widget.rect().translated(widget.mapTo(strip, widget.rect().topLeft()))
        assert strip.rect().contains(place), (spoken(widget), place)
        for other in seen:
            if other is not widget and not other.isAncestorOf(widget) and not widget.isAncestorOf(other):
                there = other.rect().translated(other.mapTo(strip, other.rect().topLeft()))
                assert not there.intersects(place), (spoken(widget), spoken(other))
