import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import QApplication

from lagline.desk.lanes.ruler import whole_labels
from lagline.desk.lanes.ticks import LEAST_PIXELS, round_step, ticks
from lagline.desk.timeview import TimeView


@given(st.floats(1 / 64, 2e5), st.floats(-1e6, 1e8), st.sampled_from((44_100, 48_000, 96_000)))
def test_labels_never_crowd_and_are_never_missing(per_pixel: float, first: float, rate_hz: int) -> None:
    marks = ticks(TimeView(first, per_pixel), 1_500, rate_hz)
    labelled = [mark for mark in marks if mark.label]
    assert len(marks) < 400
    assert any(0 <= mark.x <= 1_500 for mark in labelled)
    for a, b in itertools.pairwise(labelled):
        assert b.x - a.x >= LEAST_PIXELS * 0.999
        assert a.label != b.label


def test_labels_say_the_time_of_their_place() -> None:
    marks = {mark.label: mark.x for mark in ticks(TimeView(0, 480), 1_000, 48_000) if mark.label}
    assert marks["0:05"] == pytest.approx(500)


def test_close_up_the_ruler_counts_samples() -> None:
    marks = {mark.label: mark.x for mark in ticks(TimeView(48_000, 1 / 16), 1_000, 48_000) if mark.label}
    assert marks["48\N{NARROW NO-BREAK SPACE}010"] == pytest.approx(160)


def test_no_label_is_cut_off_at_an_edge(qapp: QApplication) -> None:
    metrics = QFontMetrics(qapp.font())
    marks = ticks(TimeView(57_242, 1 / 8), 500, 48_000)  # a label would begin 16 pixels left of the view
    assert any(mark.label and mark.x < 0 for mark in marks)
    labels = whole_labels(marks, metrics, 500)
    assert labels
    for x, label in labels:
        assert x >= 0 and x + metrics.horizontalAdvance(label) <= 500


@pytest.mark.parametrize(("least", "step"), ((0.3, 0.5), (1.0, 1.0), (1.1, 2.0), (6.0, 10.0), (0.02, 0.02)))
def test_round_steps(least: float, step: float) -> None:
    assert round_step(least)[0] == pytest.approx(step)
