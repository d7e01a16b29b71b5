"""What is played in which order: from a start on, through the loop, to the end of the take."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from lagline.blend.passage import fade_frames, rise


class Stretch(Struct, frozen=True):
    """A run of programme frames whose session times follow each other."""

    index: int  # first programme frame
    position: int  # its session time
    frames: int


class Programme(Struct, frozen=True):
    """Programme frame 0, 1, 2, ... laid out on session time. All counts are session-rate samples.

    From `start` on; with a loop that lies ahead, round and round it; without, to `end`, where it stops.
    `wrapped`: the pass that `start` lies in began with a jump back, so it fades in like the later ones.
    """

    start: int
    end: int
    loop: tuple[int, int] | None = None
    wrapped: bool = False

    @property
    def is_looped(self) -> bool:
        """Whether it comes round again: it starts before the end of its loop."""
        return self.loop is not None and self.start < self.loop[1]

    @property
    def length(self) -> int | None:
        """Frames until the end; None in a loop, which has none."""
        return None if self.is_looped else max(0, self.end - self.start)

    def position(self, index: int) -> int:
        """Session time of a programme frame."""
        if self.loop is None or not self.is_looped or index < self.loop[1] - self.start:
            return self.start + index
        loop_start, loop_stop = self.loop
        return loop_start + (index - (loop_stop - self.start)) % (loop_stop - loop_start)

    def continued(self, index: int, loop: tuple[int, int] | None, end: int) -> Programme:
        """The programme that goes on from a frame of this one, perhaps with another loop or end."""
        wrapped = self.loop is not None and self.is_looped and index >= self.loop[1] - self.start
        return Programme(self.position(index), end, loop, (wrapped or self.wrapped) and loop == self.loop)

    def stretches(self, index: int, frames: int) -> Iterator[Stretch]:
        """The runs that make up `frames` frames from `index` on, cut at the loop's seams and at the end."""
        stop = index + frames if self.length is None else min(index + frames, self.length)
        while index < stop:
            position = self.position(index)
            count = stop - index
            if self.loop is not None and self.is_looped:
                count = min(count, self.loop[1] - position)
            yield Stretch(index, position, count)
            index += count

    def seam_gain(self, stretch: Stretch, rate_hz: int) -> npt.NDArray[np.float32] | None:
        """Dip over the loop's seam: fades out before its stop and in after its start.

        float32, shape (frames, 1); None where the stretch is away from the seam.
        """
        if self.loop is None or not self.is_looped:
            return None
        fade = fade_frames(rate_hz)
        curve = rise(fade)
        times = np.arange(stretch.position, stretch.position + stretch.frames)
        left = np.clip(self.loop[1] - 1 - times, 0, fade)  # the last frame of a pass is silent
        first_pass = stretch.index < self.loop[1] - self.start and not self.wrapped
        since = np.full_like(times, fade) if first_pass else np.clip(times - self.loop[0], 0, fade)
        if left[-1] == fade and since[0] == fade:
            return None
        gain: npt.NDArray[np.float32] = curve[left] * curve[since]
        return gain
