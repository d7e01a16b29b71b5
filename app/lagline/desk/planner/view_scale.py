"""From metres on the floor to pixels in the drawing: numbers only, no Qt."""

from __future__ import annotations

import math
from collections.abc import Iterable

from msgspec import Struct

LEAST_PX, MOST_PX = 1.0, 3000.0  # a metre is at least and at most so many pixels
STEPS_M = (0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 25.0, 50.0, 100.0)
MARGIN_PX = 70.0


class ViewScale(Struct, frozen=True):
    """`middle_x_m`, `middle_y_m`: what lies in the middle of the drawing. y points up: away from us."""

    middle_x_m: float = 0.0
    middle_y_m: float = 0.0
    px_per_m: float = 80.0
    width_px: float = 400.0
    height_px: float = 300.0

    def to_px(self, x_m: float, y_m: float) -> tuple[float, float]:
        """Pixels from the top left of a place in metres; up is away from us."""
        return (
            self.width_px / 2 + (x_m - self.middle_x_m) * self.px_per_m,
            self.height_px / 2 - (y_m - self.middle_y_m) * self.px_per_m,
        )

    def to_m(self, x_px: float, y_px: float) -> tuple[float, float]:
        """Place in metres of a point in pixels from the top left."""
        return (
            self.middle_x_m + (x_px - self.width_px / 2) / self.px_per_m,
            self.middle_y_m - (y_px - self.height_px / 2) / self.px_per_m,
        )

    def sized(self, width_px: float, height_px: float) -> ViewScale:
        """The same middle and scale in a window of another size, pixels."""
        return ViewScale(self.middle_x_m, self.middle_y_m, self.px_per_m, width_px, height_px)

    def zoomed(self, factor: float, x_px: float, y_px: float) -> ViewScale:
        """The same point stays under the pointer."""
        x_m, y_m = self.to_m(x_px, y_px)
        px_per_m = min(max(self.px_per_m * factor, LEAST_PX), MOST_PX)
        keep = self.px_per_m / px_per_m
        return ViewScale(
            x_m + (self.middle_x_m - x_m) * keep,
            y_m + (self.middle_y_m - y_m) * keep,
            px_per_m,
            self.width_px,
            self.height_px,
        )

    def panned(self, right_px: float, down_px: float) -> ViewScale:
        """Moved so that what is seen goes right and down by so many pixels."""
        return ViewScale(
            self.middle_x_m - right_px / self.px_per_m,
            self.middle_y_m + down_px / self.px_per_m,
            self.px_per_m,
            self.width_px,
            self.height_px,
        )

    def fitted(self, points_m: Iterable[tuple[float, float]], foot_px: float = 0.0) -> ViewScale:
        """All points in view, with a margin; at least half a metre to each side of a single one.

        `foot_px`: kept free at the foot besides the margin, at most a third of the drawing.
        """
        foot_px = min(foot_px, self.height_px / 3)
        points = list(points_m) or [(0.0, 0.0)]
        xs, ys = [x for x, _ in points], [y for _, y in points]
        wide, high = max(max(xs) - min(xs), 1.0), max(max(ys) - min(ys), 1.0)
        room_x, room_y = (
            max(self.width_px - 2 * MARGIN_PX, 50.0),
            max(self.height_px - foot_px - 2 * MARGIN_PX, 50.0),
        )
        px_per_m = min(max(min(room_x / wide, room_y / high), LEAST_PX), MOST_PX)
        middle_x, middle_y = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2
        middle_y -= foot_px / 2 / px_per_m
        return ViewScale(middle_x, middle_y, px_per_m, self.width_px, self.height_px)

    @property
    def step_m(self) -> float:
        """Distance of the lines of the floor: at least 36 pixels apart."""
        return next((step for step in STEPS_M if step * self.px_per_m >= 36), STEPS_M[-1])

    def lines_m(self) -> tuple[list[float], list[float]]:
        """Where the lines of the floor stand, x and y."""
        left, top = self.to_m(0, 0)
        right, bottom = self.to_m(self.width_px, self.height_px)
        return _multiples(left, right, self.step_m), _multiples(bottom, top, self.step_m)


def _multiples(low: float, high: float, step: float) -> list[float]:
    return [step * n for n in range(math.ceil(low / step), math.floor(high / step) + 1)]
