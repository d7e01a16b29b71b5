"""Turns a hand on a lane's waveform into shifts of that lane."""

from __future__ import annotations

from PySide6.QtCore import QObject, Signal

from lagline.desk.lanes.drag import LaneDrag
from lagline.desk.lanes.looks import shift_targets
from lagline.desk.timeview import TimeViewModel
from lagline.session.values import Session
from lagline.units import ms_to_samples

MOST_MS = 0.5  # that a pixel moves a lane: over a whole take a twitch of the hand is no second


class DragHand(QObject):
    """One drag at a time; every move asks for a shift, all of one drag under the same group.

    Where the view is so wide that a pixel is more than MOST_MS, the lane moves slower than the hand.
    """

    shift_asked = Signal(str, float, str)  # lane id, shift in samples, undo group
    ended = Signal(str)

    def __init__(self, times: TimeViewModel, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._times = times
        self._drag: LaneDrag | None = None
        self._count = 0
        self._most_per_pixel = 0.0
        self.has_magnet = True

    def start(self, session: Session, lane_id: str, x: float) -> None:
        """Take hold of a lane at `x` pixels."""
        self._count += 1
        shift = session.current_version.move(lane_id).shift_samples
        self._drag = LaneDrag(x, shift, shift_targets(session, lane_id))
        self._most_per_pixel = ms_to_samples(MOST_MS, session.rate_hz)

    @property
    def is_slowed(self) -> bool:
        """Whether the view is too wide for the lane to go with the hand."""
        return self._times.view.per_pixel > self._most_per_pixel

    def move(self, lane_id: str, x: float, fine: bool, free: bool) -> None:
        """Move the lane with the hand; `fine` slows it down, `free` turns snapping round."""
        if self._drag is not None:
            per_pixel = min(self._times.view.per_pixel, self._most_per_pixel)
            # The modifier turns round what the setting says of the magnet.
            shift = self._drag.moved(x, per_pixel, fine=fine, free=free == self.has_magnet)
            self.shift_asked.emit(lane_id, shift, f"drag {self._count}")

    def end(self, lane_id: str) -> None:
        """Let go; the drag becomes one step of the history."""
        if self._drag is not None:
            self._drag = None
            self.ended.emit(lane_id)
