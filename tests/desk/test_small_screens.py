"""Everything can be reached on a small screen."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, QSize
from PySide6.QtWidgets import QApplication, QDialog, QLabel, QPushButton, QScrollArea, QVBoxLayout
from pytestqt.qtbot import QtBot
from tests.support.invented_session import session

from lagline.desk.dialogs import fitting
from lagline.desk.dialogs.caution import Caution
from lagline.desk.dialogs.fitting import fit
from lagline.desk.empty_desk import EmptyDesk
from lagline.desk.panels.blind_trial import BlindTrialDialog
from lagline.desk.panels.export_dialog import ExportDialog
from lagline.desk.style import dress
from lagline.desk.welcome.welcome_dialog import WelcomeDialog
from lagline.desk.window import DeskWindow


class Screen:
    def __init__(self, width: int, height: int) -> None:
        self._size = QSize(width, height)

    def availableSize(self) -> QSize:
        return self._size


@pytest.mark.parametrize("size", ((1280, 720), (640, 360)))
@pytest.mark.parametrize(
    "make",
    (
        Caution,
        lambda: WelcomeDialog("samples", None),
        lambda: ExportDialog(session()),
        lambda: BlindTrialDialog(session()),
    ),
    ids=("caution", "welcome", "export", "trial"),
)
def test_dialogs_are_never_larger_than_the_screen(
    qtbot: QtBot, qapp: QApplication, make, size: tuple[int, int]
) -> None:
    dress(qapp, "light")
    dialog = make()
    qtbot.addWidget(dialog)
    dialog.screen = lambda: Screen(*size)  # the test's own screen is larger
    fit(dialog)
    dialog.show()
    qtbot.waitExposed(dialog)
    assert dialog.width() <= size[0]
    assert dialog.height() <= size[1] - fitting.TITLE_PX


def cut_labels(dialog: QDialog) -> list[str]:
    labels = (label for label in dialog.findChildren(QLabel) if label.text() and label.isVisible())
    return [one.text() for one in labels if one.height() < one.heightForWidth(one.width())]


@pytest.mark.parametrize("size", ((1280, 720), (1366, 768), (683, 384), (640, 360)))
def test_the_caution_is_read_whole_above_the_desk(
    desk: DeskWindow, qtbot: QtBot, size: tuple[int, int]
) -> None:
    """As it is opened: below the window, where Qt gives a dialog no size to begin with. 683 x 384 is
    1366 x 768 at 200 %."""
    dialog = Caution(desk)
    dialog.screen = lambda: Screen(*size)
    fit(dialog)
    dialog.show()
    qtbot.waitExposed(dialog)
    assert not cut_labels(dialog)
    (scroll,) = dialog.findChildren(QScrollArea)
    assert scroll.horizontalScrollBar().maximum() == 0
    assert dialog.rect().contains(dialog.findChild(QPushButton).geometry().bottomRight())
    if size[1] >= 720:
        assert scroll.verticalScrollBar().maximum() == 0
    dialog.resize(dialog.minimumSize())
    qtbot.wait(20)
    assert not cut_labels(dialog)
    dialog.close()
    dialog.deleteLater()


def test_a_dialog_of_wrapped_texts_gets_the_height_of_its_lines(desk: DeskWindow, qtbot: QtBot) -> None:
    dialog = QDialog(desk)
    column = QVBoxLayout(dialog)
    for _ in range(4):
        label = QLabel("Long or loud listening can damage hearing for good. " * 4)
        label.setWordWrap(True)
        column.addWidget(label)
    dialog.setMinimumWidth(300)
    fit(dialog)
    dialog.show()
    qtbot.waitExposed(dialog)
    assert not cut_labels(dialog)
    dialog.close()
    dialog.deleteLater()


def test_what_does_not_fit_can_be_scrolled_to(qtbot: QtBot) -> None:
    dialog = QDialog()
    qtbot.addWidget(dialog)
    column = QVBoxLayout(dialog)
    for number in range(40):
        column.addWidget(QLabel(f"line {number}"))
    last = QPushButton("Close")
    column.addWidget(last)
    dialog.screen = lambda: Screen(640, 360)
    fit(dialog)
    dialog.show()
    qtbot.waitExposed(dialog)
    (scroll,) = dialog.findChildren(QScrollArea)
    scroll.ensureWidgetVisible(last)
    qtbot.wait(20)
    at = last.mapTo(dialog, last.rect().center())
    assert dialog.rect().contains(at) and dialog.childAt(at) is last


def test_the_empty_desk_scrolls_instead_of_laying_texts_over_each_other(qtbot: QtBot) -> None:
    desk = EmptyDesk()
    qtbot.addWidget(desk)
    desk.resize(640, 250)
    desk.show()
    qtbot.waitExposed(desk)
    for label in desk.findChildren(QLabel):
        if label.text() and label.isVisible():
            assert label.height() >= label.heightForWidth(label.width()) - 1, label.text()


@pytest.mark.parametrize("size", ((1280, 720), (640, 360)))
def test_the_desk_itself_fits(desk: DeskWindow, qtbot: QtBot, size: tuple[int, int]) -> None:
    desk.resize(*size)
    qtbot.wait(50)
    assert (desk.width(), desk.height()) == size
    for part in (desk.parts.strip, desk.parts.lanes, desk.parts.lanes.sum, desk.parts.foot):
        assert desk.rect().contains(part.mapTo(desk, part.rect().bottomRight())), part


@pytest.mark.parametrize(("size", "scrolls"), (((1280, 680), False), ((640, 360), True)))
def test_the_panel_gives_its_plots_room_and_scrolls_where_there_is_none(
    desk: DeskWindow, qtbot: QtBot, size: tuple[int, int], scrolls: bool
) -> None:
    desk.resize(*size)
    desk.commands.view.show_tab(2)
    qtbot.waitUntil(lambda: desk.parts.side.tabs.tone.change.has_plot, timeout=20_000)
    qtbot.wait(50)
    scroll = desk.parts.side.findChild(QScrollArea)
    assert scroll is not None
    assert (scroll.verticalScrollBar().maximum() > 0) == scrolls
    assert scroll.widget().width() <= scroll.viewport().width()
    assert desk.parts.side.tabs.tone.change.plot.height() > 40


@pytest.mark.parametrize("size", ((640, 360), (700, 400), (800, 500), (1280, 720)))
@pytest.mark.parametrize("has_panel", (False, True))
def test_ruler_lanes_and_sum_are_one_view_of_time(
    desk: DeskWindow, qtbot: QtBot, size: tuple[int, int], has_panel: bool
) -> None:
    """They begin at the same place and are equally wide, so that one playhead stands in all of them."""
    desk.resize(*size)
    lanes, side = desk.parts.lanes, desk.parts.side
    side.setVisible(has_panel)
    waves = [lanes.stack.row(lane_id).wave for lane_id in lanes.stack.order]

    def places() -> set[tuple[int, int]]:
        parts = (lanes.ruler, lanes.sum.wave, *waves)
        return {(one.mapTo(desk, QPoint()).x(), one.width()) for one in parts}

    qtbot.waitUntil(lambda: len(places()) == 1)
    ((left, width),) = places()
    assert desk.parts.times.width == width > 0
    assert left + width <= (side.mapTo(desk, QPoint()).x() if has_panel else desk.width())
