"""Tone is shown of what is on the desk; what was asked of another version, passage or take is not."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot
from tests.desk.conftest import wait_until_drawn
from tests.support.click_take import write_click_take

from lagline.analysis.tone import ToneReport
from lagline.desk.panels import tone_job
from lagline.desk.window import DeskWindow
from lagline.errors import Cancelled
from lagline.media.clip import Clip
from lagline.session.values import Session

TONE, FINDINGS, CLOSE_UP = "tab_3", "tab_1", "tab_2"


class Gate:
    """Holds measurements up until they may end, and notes those that were not given up meanwhile."""

    def __init__(self) -> None:
        self.open = threading.Event()
        self.open.set()
        self.measured: list[tuple[tuple[str, ...], int, int]] = []


@pytest.fixture
def gate(monkeypatch: pytest.MonkeyPatch) -> Iterator[Gate]:
    gate, measure = Gate(), tone_job.tone_of

    def held(
        session: Session,
        versions: tuple[str, ...],
        clips: Mapping[str, Clip],
        start: int,
        stop: int,
        *,
        cancelled: Callable[[], bool],
    ) -> ToneReport:
        report = measure(session, versions, clips, start, stop, cancelled=cancelled)
        gate.open.wait(30)
        if cancelled():
            raise Cancelled
        gate.measured.append((versions, start, stop))
        return report

    monkeypatch.setattr(tone_job, "tone_of", held)
    yield gate
    gate.open.set()


def look(desk: DeskWindow, tab: str) -> None:
    desk.commands.view.run(tab)


def shift(desk: DeskWindow, samples: float, qtbot: QtBot) -> None:
    desk.parts.edits.shift("lane-1", samples)
    qtbot.waitUntil(lambda: not desk._panel_timer.isActive())  # the panels know of it


def wait_measured(gate: Gate, desk: DeskWindow, count: int, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: len(gate.measured) == count and not desk.parts.foot.task, timeout=20_000)


def test_a_report_of_the_session_before_an_edit_is_not_shown(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    tone = desk.parts.side.tabs.tone
    gate.open.clear()
    look(desk, TONE)
    qtbot.waitUntil(lambda: desk.parts.foot.task != "" or tone.wish() is not None)
    look(desk, FINDINGS)
    shift(desk, 96.0, qtbot)
    gate.open.set()
    wait_measured(gate, desk, 1, qtbot)
    assert not tone.change.has_plot
    look(desk, TONE)
    wait_measured(gate, desk, 2, qtbot)
    assert tone.change.has_plot


def test_another_take_with_lanes_of_the_same_names_is_measured_anew(
    desk: DeskWindow, gate: Gate, tmp_path: Path, qtbot: QtBot
) -> None:
    look(desk, TONE)
    wait_measured(gate, desk, 1, qtbot)
    desk.show_take(write_click_take(tmp_path / "second" / "take", {"near": 0, "side": 56, "room": 96}))
    wait_until_drawn(desk, qtbot)
    look(desk, TONE)  # the findings are in front again
    wait_measured(gate, desk, 2, qtbot)


def test_what_the_evidence_asks_for_does_not_land_in_the_panel(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    tabs = desk.parts.side.tabs
    shift(desk, 96.0, qtbot)
    look(desk, TONE)
    wait_measured(gate, desk, 1, qtbot)
    tabs.tone._to.choose("original")  # original against itself: no change anywhere
    wait_measured(gate, desk, 2, qtbot)
    assert tabs.tone.change._change == pytest.approx(0.0)
    look(desk, FINDINGS)
    shift(desk, 20.0, qtbot)
    tabs.evidence.tabs.setCurrentWidget(tabs.evidence.tone)
    wait_measured(gate, desk, 3, qtbot)
    assert abs(tabs.evidence.tone._change).max() > 1.0
    assert tabs.tone.change._change == pytest.approx(0.0)
    tabs.evidence.tabs.setCurrentWidget(tabs.evidence.match)
    tabs.evidence.tabs.setCurrentWidget(tabs.evidence.tone)
    look(desk, TONE)
    assert not desk.parts.foot.task  # both are known already
    assert tabs.tone.change._change == pytest.approx(0.0)


def test_a_request_of_the_panel_that_gave_way_is_made_again(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    tabs = desk.parts.side.tabs
    gate.open.clear()
    look(desk, TONE)
    tabs.tone._passage.choose("view")
    look(desk, FINDINGS)
    tabs.evidence.tabs.setCurrentWidget(tabs.evidence.tone)
    gate.open.set()
    qtbot.waitUntil(lambda: tabs.evidence.tone.has_plot and not desk.parts.foot.task, timeout=20_000)
    assert not tabs.tone.change.has_plot
    look(desk, TONE)
    qtbot.waitUntil(lambda: tabs.tone.change.has_plot and not desk.parts.foot.task, timeout=20_000)


def test_the_evidence_follows_an_edit_once_the_hand_rests(desk: DeskWindow, gate: Gate, qtbot: QtBot) -> None:
    tabs = desk.parts.side.tabs
    shift(desk, 96.0, qtbot)
    look(desk, FINDINGS)
    tabs.evidence.tabs.setCurrentWidget(tabs.evidence.tone)
    wait_measured(gate, desk, 1, qtbot)
    before = tabs.evidence.tone._change.copy()
    desk.parts.edits.shift("lane-1", 20.0)
    qtbot.waitUntil(lambda: tabs.evidence.tone._is_waiting, timeout=5_000)
    wait_measured(gate, desk, 2, qtbot)
    assert not tabs.evidence.tone._is_waiting
    assert abs(tabs.evidence.tone._change - before).max() > 0.5


def test_a_view_moved_while_nobody_looked_is_measured_on_coming_back(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    look(desk, TONE)
    desk.parts.side.tabs.tone._passage.choose("view")
    qtbot.waitUntil(lambda: not desk.parts.foot.task, timeout=20_000)
    count = len(gate.measured)
    look(desk, FINDINGS)
    look(desk, TONE)
    qtbot.wait(50)
    assert len(gate.measured) == count and not desk.parts.foot.task  # the view is the same
    look(desk, FINDINGS)
    desk.parts.times.show_range(10_000, 60_000)
    look(desk, TONE)
    wait_measured(gate, desk, count + 1, qtbot)
    first, last = desk.parts.times.seen
    assert gate.measured[-1][1:] == (round(first), round(last)) and last < 80_000


def show_in_evidence(desk: DeskWindow, gate: Gate, qtbot: QtBot) -> None:
    """Draw the tone plot among the evidence, of a shifted lane."""
    evidence = desk.parts.side.tabs.evidence
    shift(desk, 96.0, qtbot)
    look(desk, FINDINGS)
    evidence.tabs.setCurrentWidget(evidence.tone)
    wait_measured(gate, desk, 1, qtbot)
    assert evidence.tone.has_plot


def test_the_evidence_follows_the_choice_of_another_version_in_a_loop(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    pane, edits = desk.parts.side.tabs.evidence.tone, desk.parts.edits
    edits.loop((10_000, 80_000))
    show_in_evidence(desk, gate, qtbot)
    edits.keep_version("original", "As it was")
    edits.choose_version("v2")
    wait_measured(gate, desk, 2, qtbot)
    assert gate.measured[-1] == (("original", "v2"), 10_000, 80_000)
    assert pane._change == pytest.approx(0.0) and not pane._is_waiting


def test_the_evidence_asks_after_an_edit_though_the_panel_asked_last(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    tabs = desk.parts.side.tabs
    desk.parts.edits.loop((10_000, 80_000))
    show_in_evidence(desk, gate, qtbot)
    look(desk, TONE)
    tabs.tone._to.choose("original")  # its tone stays the same when another version is edited
    qtbot.waitUntil(lambda: tabs.tone.change.has_plot and not desk.parts.foot.task, timeout=20_000)
    count = len(gate.measured)
    look(desk, FINDINGS)
    shift(desk, 20.0, qtbot)
    wait_measured(gate, desk, count + 1, qtbot)
    assert tabs.evidence.tone.has_plot and not tabs.evidence.tone._is_waiting


def test_an_edit_made_behind_another_tab_is_measured_on_coming_back(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    pane = desk.parts.side.tabs.evidence.tone
    show_in_evidence(desk, gate, qtbot)
    before = pane._change.copy()
    look(desk, CLOSE_UP)
    shift(desk, 20.0, qtbot)
    qtbot.wait(400)
    assert len(gate.measured) == 1 and not desk.parts.foot.task  # nobody looks
    look(desk, FINDINGS)
    wait_measured(gate, desk, 2, qtbot)
    assert not pane._is_waiting and abs(pane._change - before).max() > 0.5
    look(desk, CLOSE_UP)
    look(desk, FINDINGS)
    assert not desk.parts.foot.task  # nothing has changed


def test_the_evidence_asks_after_the_edit_that_follows_a_stop(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    pane = desk.parts.side.tabs.evidence.tone
    show_in_evidence(desk, gate, qtbot)
    gate.open.clear()
    desk.parts.edits.shift("lane-1", 20.0)
    qtbot.waitUntil(lambda: desk.parts.foot.task != "", timeout=5_000)
    desk.commands.stop(desk.parts.foot.task)
    gate.open.set()
    assert not pane.has_plot and not pane._is_waiting
    desk.parts.edits.notes("Stopped.")
    qtbot.wait(500)
    assert len(gate.measured) == 1 and not pane._is_waiting  # stopped is stopped
    shift(desk, 30.0, qtbot)
    wait_measured(gate, desk, 2, qtbot)
    assert pane.has_plot and not pane._is_waiting


def test_the_evidence_says_itself_why_it_has_nothing(
    desk: DeskWindow, monkeypatch: pytest.MonkeyPatch, gate: Gate, qtbot: QtBot
) -> None:
    tabs = desk.parts.side.tabs
    show_in_evidence(desk, gate, qtbot)

    def failing(*_arguments: object, **_named: object) -> ToneReport:
        raise ValueError("the passage is silent.")

    with monkeypatch.context() as patch:
        patch.setattr(tone_job, "tone_of", failing)
        shift(desk, 20.0, qtbot)
        qtbot.waitUntil(lambda: "The passage is silent." in tabs.evidence.tone._empty_texts, timeout=5_000)
    assert not tabs.evidence.tone.has_plot and not tabs.evidence.tone._is_waiting
    assert "silent" not in tabs.tone._status.text()
    shift(desk, 30.0, qtbot)
    wait_measured(gate, desk, 2, qtbot)
    assert tabs.evidence.tone.has_plot


def test_the_evidence_is_asked_for_anew_when_a_hidden_side_panel_comes_back(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    tabs = desk.parts.side.tabs
    look(desk, FINDINGS)
    tabs.evidence.tabs.setCurrentWidget(tabs.evidence.tone)
    wait_measured(gate, desk, 1, qtbot)
    desk.parts.side.hide()
    shift(desk, 96.0, qtbot)
    desk.parts.side.show()
    wait_measured(gate, desk, 2, qtbot)
    assert abs(tabs.evidence.tone._change).max() > 1.0


def measured_view_beside_the_evidence(desk: DeskWindow, gate: Gate, qtbot: QtBot) -> None:
    """The panel has the view, and then the evidence asked for the take."""
    tabs = desk.parts.side.tabs
    shift(desk, 96.0, qtbot)
    view = tabs.tone._passage.findData("view")
    tabs.tone._passage.setCurrentIndex(view)
    tabs.tone._passage.activated.emit(view)  # by hand: it stays chosen
    look(desk, TONE)
    wait_measured(gate, desk, 1, qtbot)
    look(desk, FINDINGS)
    tabs.evidence.tabs.setCurrentWidget(tabs.evidence.tone)
    wait_measured(gate, desk, 2, qtbot)


def test_a_view_that_moved_while_the_evidence_was_looked_at_is_measured_anew(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    measured_view_beside_the_evidence(desk, gate, qtbot)
    desk.parts.times.show_range(0, 5_000)
    look(desk, TONE)
    wait_measured(gate, desk, 3, qtbot)
    assert gate.measured[-1][2] - gate.measured[-1][1] < 6_000


def test_a_view_that_moves_in_front_of_the_panel_is_measured_anew_though_the_evidence_asked_last(
    desk: DeskWindow, gate: Gate, qtbot: QtBot
) -> None:
    measured_view_beside_the_evidence(desk, gate, qtbot)
    look(desk, TONE)
    assert not desk.parts.foot.task
    desk.parts.times.show_range(0, 5_000)
    wait_measured(gate, desk, 3, qtbot)
    assert gate.measured[-1][2] - gate.measured[-1][1] < 6_000
