"""Making and changing a loop by hand. No Qt."""

from __future__ import annotations

from typing import Literal

from lagline.desk.timeview import TimeView

EDGE_PIXELS = 6.0
Part = Literal["start", "stop", "middle", "outside"]


class LoopHand:
    """One drag in the loop's band. Positions are pixels along time, loops are session samples."""

    def __init__(self) -> None:
        self._part: Part | None = None
        self._fixed = 0.0  # the end that stays, or where a new loop began
        self._press = 0.0
        self._loop: tuple[int, int] | None = None

    @property
    def is_active(self) -> bool:
        """Whether the loop is being dragged."""
        return self._part is not None

    @staticmethod
    def part_at(x: float, view: TimeView, loop: tuple[int, int] | None) -> Part:
        """What of the loop lies under pixel `x`."""
        if loop is None:
            return "outside"
        a, b = view.x_of(loop[0]), view.x_of(loop[1])
        if abs(x - a) <= EDGE_PIXELS and abs(x - a) <= abs(x - b):
            return "start"
        if abs(x - b) <= EDGE_PIXELS:
            return "stop"
        return "middle" if a < x < b else "outside"

    def press(self, x: float, view: TimeView, loop: tuple[int, int] | None) -> None:
        """Take hold of what lies at `x` pixels: an end of the loop, the loop, or the empty band."""
        self._part = self.part_at(x, view, loop)
        self._loop = loop
        self._press = view.sample_at(x)
        if self._part == "start" and loop is not None:
            self._fixed = loop[1]
        elif self._part == "stop" and loop is not None:
            self._fixed = loop[0]
        else:
            self._fixed = self._press

    def move(self, x: float, view: TimeView) -> tuple[int, int] | None:
        """The loop with the hand at `x`; None while it would be too short to be one."""
        at = view.sample_at(x)
        if self._part == "middle" and self._loop is not None:
            by = round(at - self._press)
            return self._loop[0] + by, self._loop[1] + by
        start, stop = sorted((round(self._fixed), round(at)))
        return (start, stop) if stop - start >= max(2 * view.per_pixel, 16) else None

    def release(self) -> None:
        """Let go."""
        self._part = None
