"""Every panel: names for assistive technology, targets large enough, tooltips, and no jump of the width."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSlider,
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QLineEdit,
    QPlainTextEdit,
    QScrollBar,
    QTabBar,
    QTabWidget,
    QWidget,
)
from tests.support.invented_session import session

from lagline.desk.panels.blind_trial import BlindTrialDialog
from lagline.desk.panels.closeup import CloseUpPanel
from lagline.desk.panels.device_dialog import DeviceDialog
from lagline.desk.panels.evidence import EvidencePanel
from lagline.desk.panels.export_dialog import ExportDialog
from lagline.desk.panels.findings_panel import FindingsPanel
from lagline.desk.panels.health_rows import HealthRow
from lagline.desk.panels.health_table import HealthDialog
from lagline.desk.panels.notes import NotesPanel
from lagline.desk.panels.plot_pane import PlotPane
from lagline.desk.panels.tone import TonePanel
from lagline.desk.panels.versions_panel import VersionsPanel
from lagline.desk.setups.apply_dialog import ApplySetupDialog
from lagline.desk.setups.save_dialog import SaveSetupDialog
from lagline.desk.setups.takes import measured, on_setup
from lagline.desk.sheet_view import SheetDialog
from lagline.desk.style import dress
from lagline.session.setup import setup_of

CONTROLS = (
    QAbstractButton, QAbstractSlider, QAbstractSpinBox, QComboBox, QLineEdit, QPlainTextEdit,
    QAbstractItemView, PlotPane,
)  # fmt: skip


def shown(panel: QWidget) -> QWidget:
    panel.show_session(session())  # type: ignore[attr-defined]
    return panel


def evidence() -> QWidget:
    panel = EvidencePanel()
    panel.show_lane("near")
    return shown(panel)


def setup_on_take() -> QWidget:
    found = session()
    setup = setup_of(found, found.current_version, "Chapel")
    dialog = ApplySetupDialog()
    dialog.show_setup(setup)
    dialog.show_takes([measured(on_setup(setup, found, on_desk=True), found.alignment)])
    return dialog


PANELS: dict[str, Callable[[], QWidget]] = {
    "findings": lambda: shown(FindingsPanel()),
    "evidence": evidence,
    "close-up": lambda: shown(CloseUpPanel()),
    "tone": lambda: shown(TonePanel()),
    "versions": lambda: shown(VersionsPanel()),
    "notes": lambda: shown(NotesPanel()),
    "export": lambda: ExportDialog(session(), Path("/takes")),
    "health": lambda: HealthDialog((HealthRow("Near", "near.wav", "48 kHz", ("Clipped.",), (), "near"),)),
    "device": DeviceDialog,
    "trial": lambda: BlindTrialDialog(session()),
    "apply setup": setup_on_take,
    "save setup": lambda: SaveSetupDialog(session()),
    "delay sheet": lambda: SheetDialog(session()),
}


@pytest.fixture(params=PANELS)
def panel(request, qtbot, qapp) -> QWidget:
    dress(qapp, "light")
    panel = PANELS[request.param]()
    qtbot.addWidget(panel)
    panel.resize(320, 700)
    panel.show()
    qtbot.waitExposed(panel)
    qtbot.wait(20)
    return panel


def controls(panel: QWidget) -> list[QWidget]:
    found = [
        one
        for one in panel.findChildren(QWidget)
        if isinstance(one, CONTROLS) and one.isVisibleTo(panel) and not isinstance(one, QScrollBar)
    ]
    inside = [one for one in found if isinstance(one.parent(), (QAbstractSpinBox, QComboBox))]
    return [
        one
        for one in found
        if one not in inside and one.focusPolicy() != Qt.FocusPolicy.NoFocus and one.objectName() != "qt_edit"
    ]


def test_every_control_has_a_name(panel) -> None:
    found = controls(panel)
    assert found
    nameless = [
        one
        for one in found
        if not (one.accessibleName() or (isinstance(one, QAbstractButton) and one.text()))
    ]
    assert nameless == []


def test_every_control_says_its_use_in_a_tooltip(panel) -> None:
    silent = [
        one
        for one in controls(panel)
        if not one.toolTip()
        and not isinstance(one, (QTabBar, QAbstractItemView))
        and not (isinstance(one, QAbstractButton) and len(one.text()) > 12)
        and one.property("text") not in ("Close", "&Close")
    ]
    assert silent == []


def test_targets_are_24_px_or_more(panel) -> None:
    # WCAG 2.2, 2.5.8 (AA): targets of at least 24 by 24 CSS px, or spaced as far apart.
    small = [
        (one, one.size())
        for one in controls(panel)
        if isinstance(one, QAbstractButton)
        and one.metaObject().className() in ("QPushButton", "QToolButton")
        and min(one.width(), one.height()) < 24
    ]
    assert small == []


def test_it_fits_a_side_panel_of_320_px(panel) -> None:
    is_dialog = bool(panel.windowTitle())  # it has a window of its own, which must fit half a small screen
    assert panel.minimumSizeHint().width() <= (640 if is_dialog else 320)
    assert panel.minimumSizeHint().height() <= 600


def test_tab_reaches_a_control_and_goes_on(qtbot, panel) -> None:
    panel.activateWindow()
    qtbot.waitUntil(panel.isActiveWindow)
    seen = []
    for _ in range(40):
        qtbot.keyClick(QApplication.focusWidget() or panel, Qt.Key.Key_Tab)
        focused = QApplication.focusWidget()
        if focused is not None and focused not in seen:
            seen.append(focused)
    reachable = [one for one in controls(panel) if one.isEnabled()]
    buttons = [one for one in reachable if isinstance(one, QAbstractButton)]
    assert len(seen) >= min(len(reachable), 2)
    radios = [one for one in buttons if one.metaObject().className() == "QRadioButton"]
    missed = [one for one in buttons if one not in seen and one not in radios]
    assert missed == []


@pytest.mark.parametrize("name", PANELS)
def test_a_change_of_theme_is_followed(qtbot, qapp, name) -> None:
    panel = PANELS[name]()
    qtbot.addWidget(panel)
    panel.resize(400, 600)
    panel.show()
    qtbot.waitExposed(panel)
    try:
        pictures = []
        for theme in ("light", "dark"):
            dress(qapp, theme)
            qtbot.wait(20)
            image = panel.grab().toImage()
            dark = sum(
                image.pixelColor(x, y).lightness() < 100
                for x in range(2, image.width(), 7)
                for y in range(2, image.height(), 7)
            )
            pictures.append(dark / ((image.width() // 7) * (image.height() // 7)))
        assert pictures[0] < 0.25
        assert pictures[1] > 0.6
    finally:
        dress(qapp, "light")


def test_tabs_have_tooltips(panel) -> None:
    for tabs in panel.findChildren(QTabWidget):
        assert all(tabs.tabToolTip(index) for index in range(tabs.count()))
