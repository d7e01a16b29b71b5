"""The close-up: its data without a window, its panel by mouse and keys."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox, QPushButton
from tests.support.invented_session import RATE_HZ, session
from tests.support.readers import reader

from lagline.desk.panels.closeup import CloseUpPanel
from lagline.desk.panels.closeup_data import close_up, seek_attack, span_ms_for, strong_attacks
from lagline.errors import Cancelled
from lagline.session.edits import all_accepted, with_alignment
from lagline.session.values import Lane, Session, Version

STROKES = (20_000, 70_000, 500_000)  # the last lies two stretches further on
DELAYS = {"near": 19, "pick": 2, "far": 75, "room": 120}


class ArrayClip:
    rate_hz = RATE_HZ

    def __init__(self, samples: np.ndarray) -> None:
        self.read = reader(samples.astype(np.float32))


def take() -> tuple[Session, dict[str, ArrayClip]]:
    """Every lane hears the strokes after its delay; Near left upside down; Talkback is silent."""
    time = np.arange(RATE_HZ // 4) / RATE_HZ
    stroke = np.exp(-time * 40) * np.sin(2 * np.pi * 900 * time + 0.5)
    rng = np.random.default_rng(1)
    clips = {"talk": ArrayClip(np.zeros(600_000))}
    for lane_id, delay in DELAYS.items():
        samples = 1e-4 * rng.standard_normal(600_000)
        for start in STROKES:
            samples[start + delay : start + delay + len(stroke)] += stroke * (-1 if lane_id == "near" else 1)
        clips[lane_id] = ArrayClip(samples)
    now = session()
    lanes = tuple(_long(lane) for lane in now.lanes)
    findings = tuple(
        replace(finding, arrival_samples=float(DELAYS[finding.lane_id] - DELAYS["room"]), polarity=1)
        if finding.lane_id in DELAYS
        else finding
        for finding in now.alignment.findings
    )
    findings = tuple(replace(f, polarity=-1) if f.lane_id == "near" else f for f in findings)
    now = replace(now, lanes=lanes)
    return all_accepted(with_alignment(now, replace(now.alignment, findings=findings))), clips


def _long(lane: Lane) -> Lane:
    return replace(lane, source=replace(lane.source, frames=600_000))


def test_attacks_are_found_forwards_and_backwards_across_long_silence() -> None:
    now, clips = take()
    assert seek_attack(now, clips, 0, 1) == pytest.approx(STROKES[0] + 2, abs=3)
    assert seek_attack(now, clips, 30_000, 1) == pytest.approx(STROKES[1] + 2, abs=3)
    assert seek_attack(now, clips, 80_000, 1) == pytest.approx(STROKES[2] + 2, abs=3)
    assert seek_attack(now, clips, 590_000, 1) is None
    assert seek_attack(now, clips, 590_000, -1) == pytest.approx(STROKES[2] + 2, abs=3)
    assert seek_attack(now, clips, STROKES[2], -1) == pytest.approx(STROKES[1] + 2, abs=3)
    assert seek_attack(now, clips, 5_000, -1) is None


def test_stepping_from_an_attack_does_not_find_it_again() -> None:
    now, clips = take()
    first = seek_attack(now, clips, 0, 1)
    assert seek_attack(now, clips, first, 1) == pytest.approx(STROKES[1] + 2, abs=3)


def test_seeking_can_be_stopped_and_wants_a_direction() -> None:
    now, clips = take()
    with pytest.raises(Cancelled):
        seek_attack(now, clips, 0, 1, cancelled=lambda: True)
    with pytest.raises(ValueError, match="forwards"):
        seek_attack(now, clips, 0, 0)


def test_silence_has_no_attack() -> None:
    now, clips = take()
    assert strong_attacks(now, dict.fromkeys(clips, clips["talk"]), 0, 100_000) == ()


def test_after_lies_on_top_of_each_other_and_before_does_not() -> None:
    now, clips = take()
    data = close_up(now, now.current_version, clips, STROKES[0], 20.0)
    rows = {lane_id: row for row, lane_id in enumerate(data.lane_ids)}
    near, room = rows["near"], rows["room"]
    assert np.abs(data.after[near] - data.after[room]).max() < 0.01
    assert np.abs(data.before[near] - data.before[room]).max() > 0.5
    assert np.abs(data.before[rows["talk"]]).max() == 0
    assert np.abs(data.after[room]).max() == pytest.approx(1.0, abs=0.01)


def test_time_zero_is_the_attack() -> None:
    now, clips = take()
    data = close_up(now, now.current_version, clips, STROKES[0], 20.0)
    times = data.times_ms()
    assert times[STROKES[0] - data.start] == 0.0
    assert len(times) == data.frames == 960
    # "pick" hears it 2 samples after the stroke: it is silent before and sounds after.
    pick = data.before[data.lane_ids.index("pick")]
    assert np.abs(pick[: STROKES[0] + 2 - data.start]).max() < 0.01
    assert np.abs(pick[STROKES[0] + 4 - data.start :]).max() > 0.5


def test_both_plots_begin_where_the_first_lane_begins() -> None:
    """Though accepting moves every lane by more than a narrow close-up shows."""
    now, clips = take()
    data = close_up(now, now.current_version, clips, STROKES[0] + 2, 2.0)
    assert data.after_by == DELAYS["room"] - DELAYS["pick"] > data.frames
    zero = STROKES[0] + 2 - data.start
    for lanes in (data.before, data.after):
        sounding = np.abs(lanes).max(axis=0) > 0.02
        assert not sounding[: zero - 2].any() and sounding[zero : zero + 4].any()


def test_it_says_what_zero_is_above_and_below(panel) -> None:
    assert "Above, 0 ms is where the first lane begins to move; below, 2.46 ms later" in panel.plot.said
    now, clips = take()
    panel.show_close_up(close_up(now, Version("o", "As it was", {}), clips, STROKES[0] + 2, 20.0))
    assert "below, the same moment" in panel.plot.said


def test_with_a_take_the_empty_close_up_names_its_button(qtbot) -> None:
    panel = CloseUpPanel()
    qtbot.addWidget(panel)
    panel.show_session(session())
    text = panel.plot.empty.text()
    assert button(panel, "Next attack").text() in text and "Open a take" not in text


def test_a_close_up_before_the_take_is_silence_not_an_error() -> None:
    now, clips = take()
    data = close_up(now, now.current_version, clips, -10_000, 5.0)
    assert not data.before.any()
    with pytest.raises(ValueError, match="longer"):
        close_up(now, now.current_version, clips, 0, 0.0)


def test_the_stretch_shown_fits_the_shifts() -> None:
    now, _ = take()
    assert span_ms_for(now) == pytest.approx(8)  # 3 x 118 samples at 48 kHz, rounded up
    assert span_ms_for(session(measured=False)) >= 6


@pytest.fixture
def panel(qtbot) -> CloseUpPanel:
    panel = CloseUpPanel()
    qtbot.addWidget(panel)
    panel.resize(500, 420)
    now, clips = take()
    panel.show_session(now)
    panel.show_close_up(close_up(now, now.current_version, clips, STROKES[0] + 2, 20.0))
    panel.show()
    qtbot.waitExposed(panel)
    return panel


def button(panel, name: str) -> QPushButton:
    return next(one for one in panel.findChildren(QPushButton) if one.accessibleName() == name)


def test_buttons_ask_for_the_next_and_previous_attack(qtbot, panel) -> None:
    for name, direction in (("Next attack", 1), ("Previous attack", -1)):
        with qtbot.waitSignal(panel.attack_step_requested) as asked:
            qtbot.mouseClick(button(panel, name), Qt.MouseButton.LeftButton)
        assert asked.args == [direction]


def test_more_and_less_time(qtbot, panel) -> None:
    with qtbot.waitSignal(panel.span_requested) as asked:
        qtbot.mouseClick(button(panel, "Show less time"), Qt.MouseButton.LeftButton)
    assert asked.args == [pytest.approx(10.0)]


def test_unticking_a_lane_takes_its_curves_away(qtbot, panel) -> None:
    assert panel.plot.drawn_lanes == 5
    box = next(one for one in panel.findChildren(QCheckBox) if one.text() == "Balcony")
    box.click()
    assert panel.plot.drawn_lanes == 4


def test_pointing_at_a_lane_lets_it_stand_out(qtbot, panel) -> None:
    box = next(one for one in panel.findChildren(QCheckBox) if one.text() == "Balcony")

    def inks() -> list[str]:
        return [curve.opts["pen"].color().name() for curve in panel.plot._curves[0]]

    before = inks()
    panel.activateWindow()
    qtbot.waitUntil(panel.isActiveWindow)
    box.setFocus()
    assert inks().count(panel.theme.text.lower()) == 1
    assert inks()[2] == panel.theme.text.lower()
    box.clearFocus()
    assert inks() == before


def test_zoomed_in_far_enough_single_samples_are_dotted(panel) -> None:
    assert not panel.plot.is_dotted
    panel.plot.plot.setXRange(0, 1, padding=0)  # 48 samples
    assert panel.plot.is_dotted


def test_keys_move_the_cursor_by_samples(qtbot, panel) -> None:
    qtbot.keyClick(panel.plot, Qt.Key.Key_Home)
    qtbot.keyClick(panel.plot, Qt.Key.Key_Right)
    qtbot.keyClick(panel.plot, Qt.Key.Key_Right, Qt.KeyboardModifier.ControlModifier)
    assert "+11.0 samples from the attack" in panel.plot.said


def test_empty_close_up_says_what_to_do(panel) -> None:
    panel.show_session(None)
    assert not panel.plot.has_plot
    assert "Open a take, then press Attack ▶" in panel.plot.empty.text()
    assert not button(panel, "Next attack").isEnabled()
