"""The planner, driven as a person does: drags, keys, typed figures, files."""

from __future__ import annotations

import math
import re
from itertools import combinations
from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPoint, Qt
from PySide6.QtPrintSupport import QPrinter
from PySide6.QtWidgets import (
    QApplication,
    QComboBox,
    QDoubleSpinBox,
    QLabel,
    QLineEdit,
    QPushButton,
    QTableWidget,
    QWidget,
)
from tests.support.invented_session import session

from lagline.desk.planner import lanes_table as columns
from lagline.desk.planner.plan_drawing import MARK_PX
from lagline.desk.planner.print_page import plan_document, plan_picture
from lagline.desk.planner.window import PlannerWindow
from lagline.desk.theme import LIGHT
from lagline.jobs.plan import arrivals
from lagline.session.plan import Plan, PlannedLane, load_plan, save_plan
from lagline.session.setup import load_setup

PLAN = Plan(
    name="Hall",
    source_m=(0.0, 0.0, 1.0),
    lanes=(
        PlannedLane("Near", (0.0, 0.5, 1.0)),
        PlannedLane("Far", (1.0, 4.0, 2.0)),
        PlannedLane("Loose", distance_m=2.0),
        PlannedLane("Line", latency_ms=3.0, polarity=-1),
    ),
)


class Answers:
    """Stands in for the file dialogs."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.unsaved_answer, self.asked = folder, "stay", 0

    def plan_to_open(self) -> Path | None:
        return self.folder / "other.lagline-plan"

    def where_to_save_plan(self, name: str) -> Path | None:
        return self.folder / f"{name}.lagline-plan"

    def where_to_save_setup(self, name: str) -> Path | None:
        return self.folder / f"{name}.lagline-setup"

    def printer(self) -> QPrinter | None:
        printer = QPrinter()
        printer.setOutputFormat(QPrinter.OutputFormat.PdfFormat)
        printer.setOutputFileName(str(self.folder / "plan.pdf"))
        return printer

    def unsaved(self, name: str) -> str:
        self.asked += 1
        return self.unsaved_answer


@pytest.fixture
def window(qtbot, tmp_path):
    window = PlannerWindow(LIGHT)
    window.files = Answers(tmp_path)
    window.store.open(PLAN)
    qtbot.addWidget(window, before_close_func=lambda w: w.store.open(PLAN))
    window.resize(1280, 800)
    window.show()
    qtbot.waitExposed(window)
    window.view.show_all()
    return window


def typed(window: PlannerWindow, name: str, column: int, text: str) -> None:
    row = 0 if name == "" else 1 + [lane.name for lane in window.store.plan.lanes].index(name)
    window.lanes.item(row, column).setText(text)


def drag(qtbot, window: PlannerWindow, name: str, by: QPoint, steps: int = 4) -> None:
    at = window.view.marker_px(name).toPoint()
    qtbot.mousePress(window.view, Qt.MouseButton.LeftButton, pos=at)
    for step in range(1, steps + 1):
        qtbot.mouseMove(window.view, at + by * step / steps)
    qtbot.mouseRelease(window.view, Qt.MouseButton.LeftButton, pos=at + by)


def test_dragging_a_microphone_moves_it_and_is_one_step_back(qtbot, window) -> None:
    before = window.arrivals.as_text()
    drag(qtbot, window, "Far", QPoint(40, 60))
    x, y, z = window.store.plan.lane("Far").place_m
    assert x > 1.2
    assert y < 3.8
    assert z == 2.0, "height is kept"
    assert window.arrivals.as_text() != before
    assert window.lanes.chosen_name == "Far"
    assert window.store.undo_name == "Move Far"
    window.store.undo()
    assert window.store.plan == PLAN


def test_dragging_the_source_changes_every_distance(qtbot, window) -> None:
    drag(qtbot, window, "", QPoint(-50, 0))
    assert window.store.plan.source_m[0] < -0.1
    assert [lane.place_m for lane in window.store.plan.lanes] == [lane.place_m for lane in PLAN.lanes]
    assert "Move the source" in window.store.undo_name


def test_a_lane_without_a_place_keeps_to_its_circle(qtbot, window) -> None:
    drag(qtbot, window, "Loose", QPoint(0, -60))
    lane = window.store.plan.lane("Loose")
    assert lane.place_m is None
    assert lane.distance_m > 2.2


def test_arrow_keys_move_what_is_chosen(qtbot, window) -> None:
    window.view.setFocus()
    window.view.choose("Near")
    qtbot.keyClick(window.view, Qt.Key.Key_Up)
    assert window.store.plan.lane("Near").place_m == pytest.approx((0.0, 0.6, 1.0))
    qtbot.keyClick(window.view, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert window.store.plan.lane("Near").place_m == pytest.approx((0.01, 0.6, 1.0))
    qtbot.keyClick(window.view, Qt.Key.Key_Left, Qt.KeyboardModifier.ControlModifier)
    assert window.store.plan.lane("Near").place_m == pytest.approx((-0.99, 0.6, 1.0))
    qtbot.keyClick(window.view, Qt.Key.Key_PageDown)
    assert window.view.chosen_name == window.lanes.chosen_name == "Far"
    qtbot.keyClick(window.view, Qt.Key.Key_Home)


def test_keys_leave_a_direct_line_where_it_is(qtbot, window) -> None:
    window.view.choose("Line")
    qtbot.keyClick(window.view, Qt.Key.Key_Up)
    assert window.store.plan == PLAN
    assert "direct line" in window.view.accessibleDescription()


def test_wheel_and_pan_change_the_view_only(qtbot, window) -> None:
    at = window.view.marker_px("Far")
    qtbot.mousePress(window.view, Qt.MouseButton.LeftButton, pos=QPoint(30, 30))
    qtbot.mouseMove(window.view, QPoint(90, 50))
    qtbot.mouseRelease(window.view, Qt.MouseButton.LeftButton, pos=QPoint(90, 50))
    moved = window.view.marker_px("Far") - at
    assert (moved.x(), moved.y()) == pytest.approx((60, 20), abs=1e-6)
    assert window.store.plan == PLAN


def test_a_typed_distance_moves_along_the_line_and_takes_units(window) -> None:
    typed(window, "Near", columns.DISTANCE, "3 ft")
    assert window.store.plan.lane("Near").place_m == pytest.approx((0.0, 0.9144, 1.0))
    typed(window, "Loose", columns.DISTANCE, "250 cm")
    assert window.store.plan.lane("Loose").distance_m == 2.5
    typed(window, "Line", columns.LATENCY, "4,5 ms")
    typed(window, "Far", columns.LEVEL, "-6")
    typed(window, "", columns.UP, "1.4")
    plan = window.store.plan
    assert (plan.lane("Line").latency_ms, plan.lane("Far").level_db, plan.source_m[2]) == (4.5, -6.0, 1.4)


def test_the_inverted_box_flips(window) -> None:
    window.lanes.item(1, columns.INVERTED).setCheckState(Qt.CheckState.Checked)
    assert window.store.plan.lane("Near").polarity == -1


@pytest.mark.parametrize(
    ("name", "column", "text", "said"),
    [
        ("Near", columns.DISTANCE, "far away", "is not understood"),
        ("Near", columns.DISTANCE, "-2", "not negative"),
        ("Near", columns.NAME, "far", "name of its own"),
        ("Near", columns.NAME, " ", "needs a name"),
        ("Line", columns.LATENCY, "long", "is not understood"),
        ("Far", columns.RIGHT, "99999999", "farther away than sound"),
    ],
)
def test_nonsense_is_said_and_the_old_value_stands_again(window, name, column, text, said) -> None:
    typed(window, name, column, text)
    assert said in window.messages.text
    assert window.store.plan == PLAN
    row = 1 + [lane.name for lane in PLAN.lanes].index(name)
    assert window.lanes.item(row, column).text() != text


def test_air_rate_and_anchor(qtbot, window) -> None:
    spins = {box.accessibleName(): box for box in window.air.findChildren(QDoubleSpinBox)}
    combos = {box.accessibleName(): box for box in window.air.findChildren(QComboBox)}
    spins["Air"].setValue(30.0)
    spins["Humidity"].setValue(100.0)
    assert "351.47 m/s" in texts(window)  # Cramer 1993 at 30 degrees C, 100 %
    combos["Rate"].setCurrentIndex(combos["Rate"].findData(96_000))
    combos["Rate"].activated.emit(combos["Rate"].currentIndex())
    combos["Against"].setCurrentIndex(combos["Against"].findData("Near"))
    combos["Against"].activated.emit(combos["Against"].currentIndex())
    assert (window.store.plan.rate_hz, window.store.plan.anchor) == (96_000, "Near")
    assert "Near (anchor)" in window.arrivals.as_text()
    name = next(box for box in window.air.findChildren(QLineEdit) if box.accessibleName() == "Plan")
    name.setText("Big hall")
    name.editingFinished.emit()
    assert window.store.plan.name == "Big hall"


def texts(window: PlannerWindow) -> str:
    return " | ".join(label.text() for label in window.findChildren(QLabel))


def test_lanes_come_and_go(window) -> None:
    window.add_microphone()
    window.add_microphone()
    window.add_direct_line()
    assert [lane.name for lane in window.store.plan.lanes][4:] == [
        "Microphone",
        "Microphone 2",
        "Direct line",
    ]
    assert window.lanes.chosen_name == "Direct line"
    window.remove_lane()
    assert "Direct line" not in [lane.name for lane in window.store.plan.lanes]
    window.lanes.choose("")
    window.remove_lane()
    assert "source stays" in window.messages.text


def test_new_microphones_stand_beside_each_other_in_sight(window) -> None:
    for _ in range(6):
        window.add_microphone()
    names = [lane.name for lane in window.store.plan.lanes if lane.place_m is not None]
    places = [window.view.marker_px(name) for name in names]
    for one, other in combinations(places, 2):
        assert math.hypot(one.x() - other.x(), one.y() - other.y()) > 2 * MARK_PX
    assert all(window.view.rect().contains(at.toPoint()) for at in places)


def test_the_list_of_direct_lines_lies_below_every_mark(window) -> None:
    window.store.open(
        Plan(lanes=(PlannedLane("Near", (0.3, 0.4, 1.0)), PlannedLane("Far", (-0.5, 3.0, 1.6))))
    )
    for _ in range(6):
        window.add_direct_line()
    view = window.view
    drawn = view.grab().toImage()
    colour = view.theme.lane(2)  # of the first direct line, the topmost of the list
    tops = [y for y in range(view.height()) if drawn.pixelColor(15, y).name() == colour.lower()]
    assert tops and view.marker_px("").y() + MARK_PX < tops[0]


def test_an_emptied_plan_says_what_would_be_there(window) -> None:
    window.store.open(Plan())
    window.tabs.setCurrentWidget(window.notches)
    window.tabs.setCurrentWidget(window.blend)
    assert "Add two lanes" in window.blend.empty.text()
    assert not window.blend.has_plot
    assert any("Add two lanes" in text for text in window.notches.answer_texts())


def test_tables_hold_the_figures_of_the_plan(window) -> None:
    rows = {row.name: row for row in arrivals(PLAN)}
    text = window.arrivals.as_text()
    assert f"{rows['Far'].heard_ms:.3f} ms" in text
    assert "direct line" in text
    window.tabs.setCurrentWidget(window.pairs)
    assert "Near, Far" in window.pairs.as_text()
    assert "kept; ripple of" in window.pairs.as_text()


def test_moving_for_a_notch_puts_it_there(window) -> None:
    window.tabs.setCurrentWidget(window.notches)
    window.notches.ask("Far", "Near", 100.0)
    button = next(one for one in window.notches.findChildren(QPushButton) if one.text() == "Move it there")
    button.click()
    window.tabs.setCurrentWidget(window.pairs)
    far = [line for line in window.pairs.as_text().splitlines() if line.startswith("Near, Far")]
    assert "\t100 Hz, 300 Hz, 500 Hz" in far[0]
    window.tabs.setCurrentWidget(window.notches)
    window.notches.ask("Line", "Near", 100.0)
    assert any("direct line" in text for text in window.notches.answer_texts())


def test_the_blend_is_walked_by_keys(qtbot, window) -> None:
    window.tabs.setCurrentWidget(window.blend)
    window.blend.setFocus()
    qtbot.keyClick(window.blend, Qt.Key.Key_Up)
    first = window.blend.said
    assert "Hz: −" in first
    qtbot.keyClick(window.blend, Qt.Key.Key_Up)
    assert window.blend.said != first
    for key in (Qt.Key.Key_Down, Qt.Key.Key_Right, Qt.Key.Key_Home, Qt.Key.Key_End):
        qtbot.keyClick(window.blend, key)


def test_the_tape_stands_beside_the_findings(window) -> None:
    panel = window.tape
    window.tabs.setCurrentWidget(panel)
    assert "No take on the desk" in panel.said()
    window.show_session(session(measured=False))
    assert "not measured" in panel.said()
    window.show_session(session())
    assert "does not know these lanes" in panel.said()
    panel.lanes_requested.emit()
    assert [lane.name for lane in window.store.plan.lanes] == [lane.name for lane in session().lanes]
    assert "−101.4" in panel.table.as_text()
    assert "Near left" in panel.said()
    window.show_session(None)
    assert "No take" in panel.said()


def test_save_open_and_the_question_about_unsaved_work(window, tmp_path: Path) -> None:
    typed(window, "Near", columns.DISTANCE, "0.7")
    assert window.isWindowModified()
    window.ask_open()
    assert window.files.asked == 1
    assert window.save()
    assert not window.isWindowModified()
    assert load_plan(tmp_path / "Hall.lagline-plan") == window.store.plan
    save_plan(replace(PLAN, name="Other"), tmp_path / "other.lagline-plan")
    window.ask_open()
    assert window.store.plan.name == "Other"
    (tmp_path / "other.lagline-plan").write_text("{")
    window.ask_open()
    assert "other.lagline-plan" in window.messages.text
    assert window.store.plan.name == "Other", "what was open stays"
    window.messages.close_message()
    window.add_microphone()
    window.files.unsaved_answer = "stay"
    assert not window.close()
    window.files.unsaved_answer = "discard"
    window.ask_new()
    assert window.store.plan.name == "New plan"


def test_a_folder_that_is_not_there_is_said(window, tmp_path: Path) -> None:
    window.files.folder = tmp_path / "gone"
    assert not window.save()
    assert "could not be written" in window.messages.text


def test_the_setup_is_what_lines_the_plan_up(qtbot, window, tmp_path: Path) -> None:
    with qtbot.waitSignal(window.setup_saved):
        window.save_setup()
    setup = load_setup(tmp_path / "Hall.lagline-setup")
    rows = {row.name: row.arrival_samples for row in arrivals(PLAN)}
    assert {lane.name: lane.move.shift_samples for lane in setup.lanes} == {
        name: 0.0 - value for name, value in rows.items()
    }


def test_it_prints(window, tmp_path: Path) -> None:
    window.ask_print()
    assert (tmp_path / "plan.pdf").read_bytes().startswith(b"%PDF")
    text = plan_document(window.store.plan).toPlainText()
    for word in ("Hall", "Near, Far", "Line", "Straight ways"):
        assert word in text
    image = plan_picture(PLAN, 300, 200, 1)
    colours = {image.pixelColor(x, y).name() for x in range(300) for y in range(200)}
    assert LIGHT.lane(0).lower() in colours
    assert len(colours) > 8


def test_every_control_has_a_name(window) -> None:
    for kind in (QComboBox, QDoubleSpinBox):
        for control in window.findChildren(kind):
            assert control.accessibleName(), control
    for widget in (window.view, window.lanes, window.arrivals, window.pairs, window.blend):
        assert widget.accessibleName()


def test_taking_hold_beside_the_middle_makes_no_jump(qtbot, window) -> None:
    at = window.view.marker_px("Far").toPoint() + QPoint(8, -5)
    qtbot.mousePress(window.view, Qt.MouseButton.LeftButton, pos=at)
    qtbot.mouseMove(window.view, at + QPoint(1, 0))
    qtbot.mouseRelease(window.view, Qt.MouseButton.LeftButton, pos=at + QPoint(1, 0))
    assert window.store.plan.lane("Far").place_m == pytest.approx((1.0, 4.0, 2.0), abs=0.03)


def test_it_opens_within_the_screen(qtbot) -> None:
    window = PlannerWindow()
    qtbot.addWidget(window)
    room = window.screen().availableSize()
    assert window.width() <= room.width()
    assert window.height() <= room.height()


def test_every_tab_fits_a_small_screen(qtbot, window) -> None:
    """1280 x 720 less the frame: nothing needs scrolling sideways, the lanes can be typed into."""
    window.resize(1280, 680)
    qtbot.waitUntil(lambda: window.width() == 1280)
    assert window.minimumSizeHint().height() <= 680
    for number in range(window.tabs.count()):
        window.tabs.setCurrentIndex(number)
        qtbot.wait(20)
        for table in window.findChildren(QTableWidget):
            if table.isVisible():
                assert table.horizontalScrollBar().maximum() == 0, table.accessibleName()
        assert window.lanes.height() >= 170


def test_on_the_smallest_screen_everything_is_reached_by_scrolling_down(qtbot, window) -> None:
    """1280 x 720 at 200 %: the floor above, the figures below."""
    window.resize(640, 320)
    qtbot.waitUntil(lambda: (window.width(), window.height()) == (640, 320))
    for number in range(window.tabs.count()):
        window.tabs.setCurrentIndex(number)
        qtbot.wait(20)
        assert window.scroll_area.horizontalScrollBar().maximum() == 0
        everything = window.scroll_area.widget().rect()
        for control in window.tabs.currentWidget().findChildren(QWidget):
            if control.isVisible() and control.focusPolicy() != Qt.FocusPolicy.NoFocus:
                corner = control.mapTo(window.scroll_area.widget(), control.rect().bottomRight())
                assert everything.contains(corner), control.accessibleName()
    window.tabs.setCurrentWidget(window.notches)
    first, last = window.view, window.notches.findChildren(QComboBox)[0]
    assert last.visibleRegion().isEmpty()
    window.activateWindow()
    first.setFocus()
    qtbot.waitUntil(first.hasFocus)
    for _ in range(40):  # the keys bring what they reach into view
        qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Tab)
        assert not QApplication.focusWidget().visibleRegion().isEmpty()
        if last.hasFocus():
            break
    assert last.hasFocus()
    window.resize(1240, 640)
    qtbot.waitUntil(lambda: window.view.width() < window.view.parent().width())  # beside the figures again


def test_pairs_say_at_which_levels(window) -> None:
    window.tabs.setCurrentWidget(window.pairs)
    said = " ".join(label.text() for label in window.pairs.findChildren(QLabel))
    assert "at its level of the table above" in said
    assert "against the louder one alone" in said


@pytest.mark.parametrize("width", [330, 510, 900])
def test_the_printed_drawing_fits_its_paper(width: int) -> None:
    """A5, A4 and A3 within margins, in points: a drawing wider than that loses its right edge."""
    document = plan_document(PLAN, width)
    document.setDocumentMargin(0)
    document.setTextWidth(width)
    pictures = re.findall(r'<img [^>]*width="(\d+)"', document.toHtml())
    assert len(pictures) == 1
    assert 0.5 * width < int(pictures[0]) <= width


def test_empty_tabs_say_what_would_be_there(window) -> None:
    window.store.open(Plan(name="Nothing yet"))
    for tab, word in (
        (window.arrivals, "Add a microphone or a direct line"),
        (window.pairs, "Add two lanes"),
    ):
        window.tabs.setCurrentWidget(tab)
        assert tab.empty.isVisible()
        assert word in tab.empty.text()
        assert not tab.table.isVisible()
    window.store.open(PLAN)
    window.tabs.setCurrentWidget(window.pairs)
    assert window.pairs.table.isVisible()
    assert not window.pairs.empty.isVisible()
