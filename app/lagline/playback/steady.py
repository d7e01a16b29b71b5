"""Clips that never stop the music: what cannot be read is silent, and said once."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from lagline.blend.mix import ClipLike, FloatArray
from lagline.errors import MediaError
from lagline.session.values import Session, Source


class SteadyClip:
    """A clip whose trouble is reported instead of raised.

    failures : reads so far that gave silence for want of the recording.
    """

    def __init__(self, clip: ClipLike, rate_hz: int, name: str, report: Callable[[str], None]) -> None:
        self.rate_hz = rate_hz
        self.failures = 0
        self._clip = clip
        self._name = name
        self._report = report
        self._was_silent = False  # the last read was
        self._missed: tuple[int, int] | None = None  # a stretch that could not be read

    def read(self, start: int, stop: int) -> FloatArray:
        """Silence instead of what cannot be read; otherwise as the clip's own."""
        try:
            samples = self._clip.read(start, stop)
        except (MediaError, OSError) as error:
            if not self._was_silent:
                self._report(f"{self._name} is silent: {error}")
            self._was_silent, self._missed = True, (start, stop)
            self.failures += 1
            return np.zeros(stop - start, np.float32)
        self._was_silent = False
        return samples

    def is_readable_again(self) -> bool:
        """Whether a stretch that could not be read now can; False when there was none."""
        if self._missed is None:
            return False
        before, missed, self._missed = self.failures, self._missed, None
        self.read(*missed)
        return self.failures == before


class SteadyClips:
    """The clips of a session, kept open from edit to edit while the recordings stay the same."""

    def __init__(
        self, open_clips: Callable[[Session], Mapping[str, ClipLike]], report: Callable[[str], None]
    ) -> None:
        self._open_clips = open_clips
        self._report = report
        self._key: tuple[int, dict[str, Source]] | None = None
        self._clips: dict[str, SteadyClip] = {}

    def of(self, session: Session) -> Mapping[str, ClipLike]:
        """By lane id."""
        key = (session.rate_hz, {lane.id: lane.source for lane in session.lanes})
        if key != self._key:
            names = {lane.id: lane.name for lane in session.lanes}
            self._clips = {
                lane_id: SteadyClip(clip, session.rate_hz, names[lane_id], self._report)
                for lane_id, clip in self._open_clips(session).items()
            }
            self._key = key
        return self._clips

    @property
    def failures(self) -> int:
        """Reads of these clips that failed so far."""
        return sum(clip.failures for clip in self._clips.values())

    def is_readable_again(self) -> bool:
        """Whether anything that could not be read now can."""
        return any(clip.is_readable_again() for clip in self._clips.values())
