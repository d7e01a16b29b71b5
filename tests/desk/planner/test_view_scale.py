"""Metres to pixels and back; no window needed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis.strategies import floats, lists, tuples

from lagline.desk.planner.view_scale import MARGIN_PX, ViewScale

METRES = floats(-50, 50)
SCALE = ViewScale(1.0, -2.0, 90.0, 640.0, 480.0)


@given(METRES, METRES)
def test_there_and_back(x_m: float, y_m: float) -> None:
    assert SCALE.to_m(*SCALE.to_px(x_m, y_m)) == pytest.approx((x_m, y_m), abs=1e-9)


def test_away_is_up_and_right_is_right() -> None:
    x, y = SCALE.to_px(1.0, -2.0)
    assert (x, y) == (320.0, 240.0)
    assert SCALE.to_px(2.0, -2.0)[0] > x
    assert SCALE.to_px(1.0, -1.0)[1] < y


@given(floats(0.5, 2.0), floats(0, 640), floats(0, 480))
def test_zoom_keeps_what_is_under_the_pointer(factor: float, x_px: float, y_px: float) -> None:
    at = SCALE.to_m(x_px, y_px)
    assert SCALE.zoomed(factor, x_px, y_px).to_m(x_px, y_px) == pytest.approx(at, abs=1e-9)


def test_pan_takes_the_floor_along() -> None:
    assert SCALE.panned(30, -12).to_px(0.3, 0.4) == pytest.approx(
        tuple(a + b for a, b in zip(SCALE.to_px(0.3, 0.4), (30, -12), strict=True))
    )


@given(lists(tuples(METRES, METRES), min_size=1, max_size=6))
def test_everything_fits_in_view(points: list[tuple[float, float]]) -> None:
    fitted = SCALE.fitted(points)
    for point in points:
        x, y = fitted.to_px(*point)
        assert MARGIN_PX - 1 <= x <= 640 - MARGIN_PX + 1
        assert MARGIN_PX - 1 <= y <= 480 - MARGIN_PX + 1


def test_lines_of_the_floor_are_not_crowded() -> None:
    for px_per_m in (4.0, 20.0, 90.0, 700.0, 3000.0):
        scale = ViewScale(0.0, 0.0, px_per_m, 640.0, 480.0)
        assert scale.step_m * px_per_m >= 36 or scale.step_m == 100.0
        assert all(0 <= scale.to_px(x, 0)[0] <= 640 for x in scale.lines_m()[0])
