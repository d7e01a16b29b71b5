"""The evidence plots, driven by mouse and keys."""

from __future__ import annotations

import sys
from itertools import combinations

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtWidgets import QApplication
from tests.support.invented_session import session
from tests.support.readers import reader

from lagline.analysis.notches import pair_comb
from lagline.analysis.tone import measure_tone
from lagline.desk.panels.evidence import EvidencePanel
from lagline.desk.panels.plot_pane import PlotPane
from lagline.desk.theme import DARK, LIGHT, palette_of
from lagline.session.findings import RunnerUp
from lagline.session.values import Move


@pytest.fixture
def panel(qtbot) -> EvidencePanel:
    panel = EvidencePanel()
    qtbot.addWidget(panel)
    panel.resize(640, 360)
    panel.show_session(session())
    panel.show_lane("near")
    panel.show()
    panel.activateWindow()
    qtbot.waitExposed(panel)
    return panel


def on_plot(pane: PlotPane, x: float, y: float) -> QPoint:
    """Where plot coordinates are, in pixels of the plot's viewport."""
    box = pane.plot.getPlotItem().getViewBox()
    return pane.plot.mapFromScene(box.mapViewToScene(QPointF(x, y)))


def click(qtbot, pane: PlotPane, x: float, y: float, modifier=Qt.KeyboardModifier.NoModifier) -> None:
    at = on_plot(pane, x, y)
    qtbot.mouseMove(pane.plot.viewport(), at)
    qtbot.mouseClick(pane.plot.viewport(), Qt.MouseButton.LeftButton, modifier, at)


def test_click_near_a_peak_puts_the_lane_on_the_peak(qtbot, panel) -> None:
    pixel = panel.match.per_pixel()[0]
    with qtbot.waitSignal(panel.place_requested) as asked:
        click(qtbot, panel.match, -101.37 + 3 * pixel, 0.3)
    lane_id, arrival = asked.args
    assert lane_id == "near"
    assert arrival == pytest.approx(-101.37, abs=0.1)


def test_click_with_shift_puts_the_lane_exactly_there(qtbot, panel) -> None:
    with qtbot.waitSignal(panel.place_requested) as asked:
        click(qtbot, panel.match, -90.0, 0.3, Qt.KeyboardModifier.ShiftModifier)
    assert asked.args[1] == pytest.approx(-90.0, abs=panel.match.per_pixel()[0])


def test_keys_walk_the_curve_and_enter_puts_the_lane_there(qtbot, panel) -> None:
    pane = panel.match
    pane.setFocus()
    qtbot.keyClick(pane, Qt.Key.Key_Home)
    assert "−101.37 samples" in pane.said
    assert "fits flipped" in pane.said
    qtbot.keyClick(pane, Qt.Key.Key_Right)
    qtbot.keyClick(pane, Qt.Key.Key_Right, Qt.KeyboardModifier.ControlModifier)
    qtbot.keyClick(pane, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    with qtbot.waitSignal(panel.place_requested) as asked:
        qtbot.keyClick(pane, Qt.Key.Key_Return)
    assert asked.args[1] == pytest.approx(-101.37 + 1 + 10 - 0.1)
    assert pane.accessibleDescription() == pane.said


def test_up_and_down_go_from_peak_to_peak(qtbot, panel) -> None:
    pane = panel.match
    qtbot.keyClick(pane, Qt.Key.Key_Home)
    qtbot.keyClick(pane, Qt.Key.Key_Up)
    there = float(pane.cursor_line.value())
    curve = np.abs(np.interp([there - 0.5, there, there + 0.5], pane._x, pane._y))
    assert there > -101
    assert curve[1] >= curve.min()
    qtbot.keyClick(pane, Qt.Key.Key_Down)
    assert float(pane.cursor_line.value()) == pytest.approx(-101.37, abs=0.2)


def test_click_on_a_dot_goes_to_that_passage(qtbot, panel) -> None:
    panel.tabs.setCurrentWidget(panel.over_time)
    pane = panel.over_time
    with qtbot.waitSignal(panel.passage_hovered), qtbot.waitSignal(panel.passage_requested) as asked:
        click(qtbot, pane, pane._time[7], pane._arrival[7])
    assert asked.args == [pytest.approx(pane._time[7])]
    assert "samples" in pane.said


@pytest.mark.parametrize("name", ["match", "over_time", "coherence"])
def test_cross_hair_and_figures_leave_with_the_pointer(qtbot, panel, name: str) -> None:
    pane: PlotPane = getattr(panel, name)
    panel.tabs.setCurrentWidget(pane)
    qtbot.wait(50)
    assert pane.has_plot
    summary = pane.said
    (low, high), (bottom, top) = pane.plot.getPlotItem().getViewBox().viewRange()
    pane._mouse_moved(
        pane.plot.getPlotItem()
        .getViewBox()
        .mapViewToScene(QPointF(0.3 * low + 0.7 * high, 0.5 * (bottom + top)))
    )
    assert pane.cursor_line.isVisible()
    QApplication.sendEvent(pane, QEvent(QEvent.Type.Leave))
    assert not pane.cursor_line.isVisible() and pane.said == summary


def test_a_hovered_passage_is_left_when_the_plot_is_hidden_or_shows_another(qtbot, panel) -> None:
    panel.tabs.setCurrentWidget(panel.over_time)
    pane = panel.over_time
    told = []
    panel.passage_hovered.connect(told.append)
    last = pytest.approx(pane._time[7])
    pane.put_cursor(pane._time[7])
    assert told == [last]
    panel.tabs.setCurrentWidget(panel.match)
    assert told == [last, None]
    panel.tabs.setCurrentWidget(pane)
    pane.put_cursor(pane._time[7])
    panel.show_session(replace(session(), name="Renamed"))  # of the same finding: the cursor is still on it
    panel.hide()
    assert told == [last, None, last, None]
    panel.show()
    pane.put_cursor(pane._time[7])
    panel.show_session(session(measured=False))
    assert told == [last, None, last, None, last, None]


def test_click_beside_every_dot_goes_nowhere(qtbot, panel) -> None:
    panel.tabs.setCurrentWidget(panel.over_time)
    pane = panel.over_time
    with qtbot.assertNotEmitted(panel.passage_requested):
        click(qtbot, pane, pane._time[7], float(np.mean([pane._arrival.min(), pane._arrival.max()])))


def test_keys_walk_the_passages(qtbot, panel) -> None:
    panel.tabs.setCurrentWidget(panel.over_time)
    pane = panel.over_time
    qtbot.keyClick(pane, Qt.Key.Key_Home)
    qtbot.keyClick(pane, Qt.Key.Key_Right)
    with qtbot.waitSignal(panel.passage_requested) as asked:
        qtbot.keyClick(pane, Qt.Key.Key_Return)
    assert asked.args == [pytest.approx(pane._time[1])]


def test_coherence_reads_out_under_the_cursor(qtbot, panel) -> None:
    panel.tabs.setCurrentWidget(panel.coherence)
    assert "180 Hz to 7.4 kHz decided the arrival" in panel.coherence.said
    qtbot.keyClick(panel.coherence, Qt.Key.Key_Right)
    assert "coherence 0." in panel.coherence.said
    assert "°" in panel.coherence.said


def test_tone_change_names_the_largest_change_and_the_first_notch(qtbot, panel) -> None:
    source = 0.1 * np.random.default_rng(1).standard_normal(96_000)
    late = np.concatenate((np.zeros(48), source[:-48]))
    report = measure_tone(
        {"original": reader((source + late)[:, None]), "v1": reader(2 * source[:, None])},
        {"a": reader(source), "b": reader(late)},
        0,
        96_000,
        48_000,
    )
    panel.tabs.setCurrentWidget(panel.tone)
    panel.tone.show_report(report, before=pair_comb(48, 48_000))
    assert "most at 500 Hz" in panel.tone.said
    assert "First notch dotted, before: 500 Hz" in panel.tone.said
    qtbot.keyClick(panel.tone, Qt.Key.Key_Left)
    assert "800 Hz third octave" in panel.tone.said


@pytest.mark.parametrize("name", ["match", "over_time", "coherence", "tone"])
def test_without_findings_each_plot_says_what_would_be_here_and_what_to_do(panel, name) -> None:
    panel.show_session(session(measured=False))
    panel.tone.show_report(None)
    pane = getattr(panel, name)
    assert not pane.has_plot
    assert "to see" in pane.empty.text()
    assert any(verb in pane.empty.text() for verb in ("Measure", "Line up"))


def test_the_anchor_is_named_as_such(panel) -> None:
    panel.show_lane("room")
    assert panel._title.text() == "Room is the anchor: choose another lane"


def test_an_edit_keeps_zoom_and_cursor(qtbot, panel) -> None:
    pane = panel.match
    pane.plot.setXRange(-150, -50, padding=0)
    qtbot.keyClick(pane, Qt.Key.Key_Home)
    now = session()
    panel.show_session(replace(now, versions=(replace(now.versions[0], moves={}),), alignment=now.alignment))
    before = pane.plot.viewRange()[0]
    panel.show_session(replace(panel._session, name="Another name"))
    assert pane.plot.viewRange()[0] == before


def test_it_begins_with_the_candidates_in_view_and_end_shows_all(qtbot, panel) -> None:
    pane = panel.match
    low, high = pane.plot.viewRange()[0]
    assert pane._x[0] < low < -121.6  # the earliest runner-up
    assert -53 < high < pane._x[-1]  # the latest one
    qtbot.keyClick(pane, Qt.Key.Key_End)
    assert pane.plot.viewRange()[0] == pytest.approx([pane._x[0], pane._x[-1]])


def test_zoom_stays_inside_the_data(panel) -> None:
    pane = panel.match
    pane.plot.setXRange(-5000, 5000, padding=0)
    low, high = pane.plot.viewRange()[0]
    assert low >= pane._x[0] - 1e-6
    assert high <= pane._x[-1] + 1e-6


def test_names_of_close_candidates_do_not_lie_on_each_other(qtbot, panel) -> None:
    now = session()
    near = now.alignment.finding("near")
    close = tuple(RunnerUp(-101.37 + by, -1, 0.5) for by in (1.5, 3.0, 4.5, 40.0))
    findings = tuple(replace(near, runners_up=close) if f is near else f for f in now.alignment.findings)
    panel.show_session(replace(now, alignment=replace(now.alignment, findings=findings)))
    panel.match.plot.setXRange(-240, 60, padding=0)
    qtbot.wait(50)
    boxes = panel.match.label_boxes
    assert boxes[0][0] == "finding" and "4" in [text for text, _ in boxes]
    for (a, one), (b, other) in combinations(boxes, 2):
        assert not one.adjusted(3, 3, -3, -3).intersects(other.adjusted(3, 3, -3, -3)), (a, b)
    panel.match.plot.setXRange(-103, -95, padding=0)
    qtbot.wait(50)
    assert {"finding", "1", "2", "3"} <= {text for text, _ in panel.match.label_boxes}


def crowded(panel, shift: float) -> None:
    """A tall finding with runners-up on both sides of it, three within a few samples; lane at `shift`."""
    now = session()
    near = now.alignment.finding("near")
    lags = np.arange(-2800, 1200) * 0.5
    curve = 0.02 * np.sin(lags)
    heights = {-790.0: 0.65, -885.0: 0.45, -787.5: -0.25, -792.5: -0.26, -790.5: 0.45, -1352.5: 0.22}
    for at, height in heights.items():
        curve[np.searchsorted(lags, at)] += height
    finding = replace(
        near,
        arrival_samples=-790.0,
        first_sound_samples=-790.5,
        runners_up=tuple(RunnerUp(at, 1 if y > 0 else -1, abs(y)) for at, y in list(heights.items())[1:]),
        evidence=replace(near.evidence, curve=tuple(curve.tolist()), curve_start_samples=float(lags[0])),
    )
    findings = tuple(finding if f is near else f for f in now.alignment.findings)
    version = replace(now.versions[0], moves={"near": Move(shift)})
    panel.show_session(replace(now, versions=(version,), alignment=replace(now.alignment, findings=findings)))


@pytest.mark.parametrize("size", ((390, 340), (640, 360), (900, 600)))
@pytest.mark.parametrize("shift", (0.0, 790.0))
def test_no_line_runs_through_a_name_and_every_candidate_has_one(qtbot, panel, shift, size) -> None:
    crowded(panel, shift)
    panel.resize(*size)
    qtbot.wait(50)
    pane = panel.match
    boxes = pane.label_boxes
    assert {text for text, _ in boxes} == {"finding", "1", "2", "3", "4", "5", "now"}
    for (a, one), (b, other) in combinations(boxes, 2):
        assert not one.intersects(other), (a, b)
    view = pane.plot.getPlotItem().getViewBox()
    for line in (pane._now, pane._first_sound):
        x = view.mapViewToScene(QPointF(float(line.value()), 0)).x()
        assert not [text for text, box in boxes if box.left() < x < box.right()]
    for number, (x, y, text) in enumerate(pane._marks):
        middle = boxes[number][1].center()
        mark = view.mapViewToScene(QPointF(x, y))
        assert abs(middle.y() - mark.y()) < 20 and abs(middle.x() - mark.x()) < 40, text


def test_a_lane_out_of_sight_is_pointed_to(qtbot, panel) -> None:
    crowded(panel, 61_573.0)
    qtbot.wait(50)
    pane = panel.match

    def now() -> tuple[str, float]:
        ((text, box),) = [one for one in pane.label_boxes if "now" in one[0]]
        return text, box.center().x() - pane.plot.getPlotItem().getViewBox().sceneBoundingRect().center().x()

    text, side = now()
    assert text == "◀ now" and side < 0
    crowded(panel, -61_573.0)
    text, side = now()
    assert text == "now ▶" and side > 0


def test_the_anchor_is_said_to_be_the_anchor_and_not_to_be_unmeasured(panel) -> None:
    take = session()
    anchor = take.lane(take.alignment.anchor_id)
    for pane in (panel.match, panel.over_time, panel.coherence):
        panel.tabs.setCurrentWidget(pane)
        panel.show_lane(anchor.id)
        assert not pane.is_shown
        assert f"{anchor.name} is the anchor" in pane.empty.text()
        assert "Choose one of them" in pane.empty.text() and "Measure the take" not in pane.empty.text()
        panel.show_session(replace(take, alignment=None))  # before any measurement it is as any other
        assert "Measure the take" in pane.empty.text()
        panel.show_session(take)
        panel.show_lane("near")
        assert pane.is_shown


@pytest.mark.parametrize("name", ("match", "over_time", "coherence", "tone"))
def test_a_plot_squeezed_to_nothing_takes_another_theme(qtbot, panel, name) -> None:
    """As on a screen of 640 by 360 with the panel open."""
    pane = getattr(panel, name)
    panel.tabs.setCurrentWidget(pane)
    pane.make_ready()
    pane.plot.setFixedHeight(0)
    qtbot.wait(20)
    view = pane.plot.getPlotItem().getViewBox()
    assert view.childGroup.sceneTransform().determinant() != 0.0  # else nothing has a place
    for theme in (DARK, LIGHT):
        pane.setPalette(palette_of(theme))
        assert pane.theme is theme
    pane.plot.setMaximumHeight(1000)
    pane.plot.setMinimumHeight(200)
    qtbot.wait(20)
    if name == "match":
        pane.redraw(pane.theme)
        assert pane.label_boxes


def test_an_error_in_taking_another_theme_is_told_and_ends_nothing(qtbot, panel, monkeypatch) -> None:
    told = []
    monkeypatch.setattr(sys, "excepthook", lambda kind, *_: told.append(kind))
    monkeypatch.setattr(panel.match, "redraw", lambda _theme: 1 / 0)
    panel.match.setPalette(palette_of(DARK))
    panel.match.setPalette(palette_of(LIGHT))
    assert told and set(told) == {ZeroDivisionError}
