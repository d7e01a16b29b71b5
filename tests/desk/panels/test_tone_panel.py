"""The tone panel and what it measures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox
from tests.support.fake_clips import FakeClip
from tests.support.invented_session import RATE_HZ, session

from lagline.desk.panels.curves import per_octave
from lagline.desk.panels.tone import TonePanel, ToneWish, what_matters
from lagline.desk.panels.tone_job import lined_up, predict_pair, shared_with_anchor, tone_of
from lagline.errors import Cancelled, NotInSession
from lagline.session.edits import (
    accepted,
    all_accepted,
    with_current_version,
    with_gain,
    with_mute,
    with_new_version,
    with_shift,
)
from lagline.session.values import ORIGINAL

FRAMES = 120_000


def clips() -> dict[str, FakeClip]:
    """Noise that "near" hears 101 samples before "room", upside down; the other lanes are silent."""
    source = 0.1 * np.random.default_rng(3).standard_normal(FRAMES + 200)
    lanes = {key: np.zeros(FRAMES) for key in ("pick", "far", "talk")}
    return {
        key: FakeClip(samples)
        for key, samples in {**lanes, "near": -source[101 : FRAMES + 101], "room": source[:FRAMES]}.items()
    }


def whole_sample_session():
    now = session()
    near = replace(now.alignment.finding("near"), arrival_samples=-101.0)
    findings = tuple(near if f.lane_id == "near" else f for f in now.alignment.findings)
    return accepted(replace(now, alignment=replace(now.alignment, findings=findings)), ["room", "near"])


def test_lined_up_lanes_gain_three_decibels_where_the_original_combs() -> None:
    report = tone_of(whole_sample_session(), ("original", "v1"), clips(), 1000, FRAMES - 1000)
    assert report.version("v1").summing_gain_db[5:] == pytest.approx([10 * math.log10(2)] * 26, abs=0.2)
    # -x(t + 101) + x(t): an inverted pair, so its notches lie at k x 48000 / 101 Hz, the first at 0 Hz.
    original = np.array(report.version("original").fine_db) - np.array(report.version("v1").fine_db)
    hertz = np.array(report.fine_hz)
    for notch in (48_000 / 101, 2 * 48_000 / 101):
        near = np.abs(np.log2(hertz / notch)) < 0.3
        assert hertz[near][np.argmin(original[near])] == pytest.approx(notch, rel=0.03)


def test_summing_gain_is_against_the_lanes_as_each_version_balances_them() -> None:
    """A lane far below another gains nothing, and one that is muted is not counted."""
    now = with_new_version(whole_sample_session(), "Other", "v1")
    for edited in (with_gain(now, "near", -60.0), with_mute(now, "near", True)):
        report = tone_of(edited, ("v1", "v2"), clips(), 0, FRAMES)
        gains = {key: np.array(report.version(key).summing_gain_db) for key in ("v1", "v2")}
        heard = np.isfinite(gains["v2"])
        assert np.abs(gains["v2"][heard]).max() < np.abs(gains["v1"][heard]).max() / 2


def test_a_version_of_another_balance_is_told_apart() -> None:
    now = with_gain(with_new_version(whole_sample_session(), "Other", "v1"), "near", -6.0)
    wish = ToneWish("original", "v1", "take", None)
    assert what_matters(now, wish) == what_matters(with_current_version(now, "v1"), wish)
    other = replace(wish, to_id="v2")
    assert what_matters(now, other) != what_matters(with_gain(now, "near", -7.0), other)
    assert what_matters(now, wish) == what_matters(with_gain(now, "near", -7.0), wish)


def test_coherence_is_that_of_the_lined_up_lane_even_before_it_is_accepted() -> None:
    now = whole_sample_session()
    untouched = replace(now, versions=(replace(now.versions[0], moves={}),))
    found = shared_with_anchor(untouched, "near", clips(), 2000, FRAMES - 2000)
    assert np.mean(found.coherence) > 0.99
    assert np.median(np.abs(found.phase_rad)) == pytest.approx(np.pi, abs=0.05)
    assert shared_with_anchor(untouched, "room", clips(), 0, FRAMES) is None
    assert lined_up(untouched, "near").move("near").shift_samples == 101.0
    assert lined_up(untouched, "talk") == untouched.current_version


def test_measuring_can_be_cancelled_and_names_unknown_versions() -> None:
    with pytest.raises(Cancelled):
        tone_of(session(), ("original",), clips(), 0, FRAMES, cancelled=lambda: True)
    with pytest.raises(NotInSession):
        tone_of(session(), ("v9",), clips(), 0, FRAMES)


def test_predicted_pair_of_each_version() -> None:
    now = all_accepted(session())
    before = predict_pair(now, ORIGINAL, "room", "near")
    assert before.delay_samples == pytest.approx(101.37)
    assert before.polarity == -1
    assert before.notches_hz[0] == pytest.approx(48_000 / 101.37)
    after = predict_pair(now, now.current_version, "room", "near")
    assert after.delay_samples == pytest.approx(0.0, abs=1e-9)
    assert after.polarity == 1
    assert predict_pair(now, ORIGINAL, "room", "talk") is None
    assert predict_pair(now, ORIGINAL, "room", "room") is None
    assert predict_pair(session(measured=False), ORIGINAL, "room", "near") is None


def test_averaging_per_octave_keeps_level_and_phase_across_the_turn() -> None:
    hertz = np.linspace(0, 20_000, 4001)
    phase = np.where(np.arange(4001) % 2 == 0, np.pi - 0.1, -np.pi + 0.1)
    thin, level, angle = per_octave(hertz, np.full(4001, 0.7), phase)
    assert len(thin) < 300
    assert level == pytest.approx(0.7)
    assert np.abs(angle[-30:]) == pytest.approx(np.pi, abs=0.11)


@pytest.fixture
def panel(qtbot) -> TonePanel:
    panel = TonePanel()
    qtbot.addWidget(panel)
    panel.resize(420, 480)
    panel.show_session(whole_sample_session())
    panel.show()
    qtbot.waitExposed(panel)
    return panel


def chooser(panel: TonePanel, name: str) -> QComboBox:
    return next(box for box in panel.findChildren(QComboBox) if box.accessibleName() == name)


def test_it_asks_once_when_shown_and_again_when_a_choice_changes(qtbot) -> None:
    panel = TonePanel()
    qtbot.addWidget(panel)
    asked = []
    panel.tone_requested.connect(asked.append)
    panel.show_session(whole_sample_session())
    assert asked == []  # nobody looks
    panel.show()
    qtbot.waitExposed(panel)
    assert asked == [ToneWish("original", "v1", "take", "near")]  # there is no loop
    panel.show_session(replace(whole_sample_session(), name="Renamed"))
    assert len(asked) == 1  # nothing that sounds has changed
    qtbot.keyClick(chooser(panel, "Passage"), Qt.Key.Key_Up)
    assert asked[-1].passage == "view"
    panel.show_session(with_shift(whole_sample_session(), "near", 5.0))
    assert len(asked) == 3
    panel.ask_again()
    assert len(asked) == 4


def test_it_shows_change_spectra_summing_and_predicted_notches(panel) -> None:
    now = whole_sample_session()
    panel.show_report(tone_of(now, ("original", "v1"), clips(), 1000, FRAMES - 1000))
    panel.show_coherence(shared_with_anchor(now, "near", clips(), 1000, FRAMES - 1000))
    assert "Shifted against Original" in panel.change.said
    assert "■ Shifted: +3.0 dB" in panel.summing.said
    assert "Dashed: Original" in panel.spectrum.said
    assert "Mean coherence 1.00" in panel.shared.said
    text = panel._pair_text.text()
    assert "Original: notches at 475 Hz, 950 Hz, 1.43 kHz …, below −40 dB; peaks +6.0 dB" in text
    assert "Shifted: no notches" in text


@pytest.mark.parametrize("versions", [("original", "v1"), ("v1", "original")])
def test_bars_and_fine_curve_stay_within_the_plot(panel, versions: tuple[str, str]) -> None:
    """Two lanes cancel narrowly: the fine curve swings much further than the third octaves."""
    report = tone_of(whole_sample_session(), ("original", "v1"), clips(), 1000, FRAMES - 1000)
    panel.change.show_report(report, *versions, names=versions)
    fine, bands = panel.change._fine, panel.change._change
    assert max(abs(fine)) > 1.3 * max(abs(bands))
    low, high = panel.change.plot.viewRange()[1]
    assert low < min(fine.min(), bands.min()) and max(fine.max(), bands.max()) < high


def test_where_nothing_changes_it_says_so(panel) -> None:
    now = whole_sample_session()
    still = replace(now, versions=(replace(now.versions[0], moves={}),))
    panel.show_report(tone_of(still, ("original", "v1"), clips(), 1000, FRAMES - 1000))
    assert panel.change.said.startswith("Shifted against Original: nothing changes.")


def test_reading_the_curves_by_keys(qtbot, panel) -> None:
    panel.show_report(tone_of(whole_sample_session(), ("original", "v1"), clips(), 1000, FRAMES - 1000))
    panel.tabs.setCurrentWidget(panel.summing)
    qtbot.keyClick(panel.summing, Qt.Key.Key_Right)
    assert "Shifted +3." in panel.summing.said
    assert "difference" in panel.summing.said


def test_too_short_a_passage_says_so_instead_of_showing_high_coherence(panel) -> None:
    now = whole_sample_session()
    panel.show_coherence(shared_with_anchor(now, "near", clips(), 0, 600))
    assert not panel.shared.has_plot
    assert "longer passage" in panel.shared.empty.text()


def test_while_measuring_it_says_so(panel) -> None:
    panel.show_busy(True)
    assert "Measuring" in panel.change.empty.text()
    panel.show_busy(False)
    assert "to see" in panel.change.empty.text()


def test_what_was_measured_of_another_version_is_not_shown_while_measuring(panel) -> None:
    now = whole_sample_session()
    panel.show_report(tone_of(now, ("original", "v1"), clips(), 1000, FRAMES - 1000))
    assert panel.change.is_shown
    panel.show_session(with_shift(now, "near", 5.0))  # asks
    panel.show_busy(True)
    assert not panel.change.is_shown and "Measuring" in panel.change.empty.text()
    panel.show_busy(False)
    panel.show_report(tone_of(now, ("original", "v1"), clips(), 1000, FRAMES - 1000))
    assert panel.change.is_shown
    panel.ask_again()  # the view moved: the same versions
    panel.show_busy(True)
    assert panel.change.is_shown


def test_what_comes_in_is_drawn_once(panel, monkeypatch) -> None:
    now = whole_sample_session()
    report = tone_of(now, ("original", "v1"), clips(), 1000, FRAMES - 1000)
    panel.show_report(report)
    panel.show_session(with_shift(now, "near", 5.0))  # asks
    panel.show_busy(True)
    drawn = []
    monkeypatch.setattr(panel.spectrum, "show_report", lambda given, *_: drawn.append(given))
    panel.show_busy(False)
    panel.show_report(report)
    assert drawn == [report]


def test_after_a_stop_nothing_is_shown_and_coming_back_measures_again(panel) -> None:
    now = whole_sample_session()
    asked = []
    panel.tone_requested.connect(asked.append)
    panel.show_report(tone_of(now, ("original", "v1"), clips(), 1000, FRAMES - 1000))
    panel.show_session(with_shift(now, "near", 5.0))
    panel.show_busy(True)
    panel.show_busy(False)
    panel.show_stopped()
    assert not panel.change.has_plot and len(asked) == 1
    panel.show_session(replace(with_shift(now, "near", 5.0), name="Renamed"))
    assert len(asked) == 1  # what was stopped is not begun again by itself
    panel.hide()
    panel.show()
    assert len(asked) == 2 and asked[1] == asked[0]
    panel.hide()
    panel.show()
    assert len(asked) == 2


def test_a_failure_is_said_and_nothing_of_another_version_is_left(panel) -> None:
    now = whole_sample_session()
    panel.show_report(tone_of(now, ("original", "v1"), clips(), 1000, FRAMES - 1000))
    panel.show_session(with_shift(now, "near", 5.0))
    panel.show_busy(True)
    panel.show_busy(False)
    panel.show_failed("Every lane is silent.")
    assert not panel.change.has_plot
    assert panel._status.isVisible() and panel._status.text() == "Every lane is silent."


def test_the_passage_is_the_loop_once_there_is_one_until_another_is_chosen(qtbot, panel) -> None:
    assert panel.wish().passage == "take"
    looped = replace(whole_sample_session(), loop=(1000, 9000))
    panel.show_session(looped)
    assert panel.wish().passage == "loop"
    qtbot.keyClick(chooser(panel, "Passage"), Qt.Key.Key_Down)
    assert panel.wish().passage == "view"
    panel.show_session(replace(looped, name="Renamed"))
    assert panel.wish().passage == "view"


def test_empty_panel_says_what_to_do(panel) -> None:
    panel.show_session(None)
    for plot in (panel.change, panel.spectrum, panel.summing, panel.shared):
        assert not plot.has_plot
        assert "to see" in plot.empty.text()
    assert panel.wish() is None


def test_a_rate_below_the_usual_keeps_bands_below_half_of_it() -> None:
    now = replace(whole_sample_session(), rate_hz=16_000)
    reduced = {key: FakeClip(clip.samples, 16_000) for key, clip in clips().items()}
    report = tone_of(now, ("v1",), reduced, 0, FRAMES)
    assert report.bands[-1].upper_hz <= 8_000
    assert RATE_HZ == 48_000
