"""Clips that never stop the music: what cannot be read is silent, and said once."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from lagline.blend.mix import ClipLike, FloatArray
from lagline.errors import MediaError
from lagline.session.values import Session, Source


class SteadyClip:
    """A clip whose trouble is reported instead of raised."""

    def __init__(self, clip: ClipLike, rate_hz: int, name: str, report: Callable[[str], None]) -> None:
        self.rate_hz = rate_hz
        self._clip = clip
        self._name = name
        self._report = report
        self._in_trouble = False

    def read(self, start: int, stop: int) -> FloatArray:
        """Silence instead of what cannot be read; otherwise as the clip's own."""
        try:
            samples = self._clip.read(start, stop)
        except (MediaError, OSError) as error:
            if not self._in_trouble:
                self._in_trouble = True
                self._report(f"{self._name} is silent: {error}")
            return np.zeros(stop - start, np.float32)
        self._in_trouble = False
        return samples


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
