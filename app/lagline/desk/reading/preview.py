"""A first sketch of a recording from short excerpts, drawn until the overview has got that far."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

import numpy as np

from lagline.desk.lanes.raster import FloatArray
from lagline.media.decoder import DECODING_ERRORS, open_sound, silence_broken

EXCERPTS = 300
EXCERPT_FRAMES = 512
LEAST_FRAMES = 8 * EXCERPTS * EXCERPT_FRAMES  # shorter recordings are read whole as quickly


class Growing(Protocol):
    """An overview that is being built; `lagline.media.overview.Overview` is one."""

    @property
    def ready_frames(self) -> int: ...

    def columns(self, first: float, stop: float, count: int) -> tuple[FloatArray, FloatArray]: ...


class Preview:
    """Lowest and highest sample of each excerpt, for one channel. It may miss peaks between excerpts."""

    def __init__(self, frames: float, lows: FloatArray, highs: FloatArray) -> None:
        self.frames = frames
        self._lows, self._highs = lows, highs

    def at_rate(self, file_rate_hz: int, rate_hz: int) -> Preview:
        return Preview(self.frames * rate_hz / file_rate_hz, self._lows, self._highs)

    def columns(self, first: float, stop: float, count: int) -> tuple[FloatArray, FloatArray]:
        """The nearest excerpt of each column; silence outside the recording."""
        middles = first + (stop - first) / count * (np.arange(count) + 0.5)
        inside = (middles >= 0) & (middles < self.frames)
        at = (middles / self.frames * len(self._lows)).astype(np.intp).clip(0, len(self._lows) - 1)
        zero = np.float32(0)
        return np.where(inside, self._lows[at], zero), np.where(inside, self._highs[at], zero)


def preview(path: Path) -> tuple[Preview, ...]:
    """One sketch a channel; empty for a short recording, a compressed one, or one that cannot be read so.

    Compressed formats are left out because a place in them takes long to find.
    """
    try:
        with open_sound(path) as sound:
            frames = sound.frames
            if frames < LEAST_FRAMES or not sound.subtype.startswith(("PCM", "FLOAT", "DOUBLE")):
                return ()
            if sound.format == "FLAC":
                return ()
            block = np.zeros((EXCERPT_FRAMES, sound.channels), np.float32)
            lows = np.zeros((sound.channels, EXCERPTS), np.float32)
            highs = np.zeros_like(lows)
            for number in range(EXCERPTS):
                sound.seek(int((number + 0.5) * frames / EXCERPTS))
                count = sound.read_into(block)
                part = block[: max(count, 1)]
                silence_broken(part)
                lows[:, number], highs[:, number] = part.min(axis=0), part.max(axis=0)
    except DECODING_ERRORS:
        return ()  # the overview says what is wrong with it
    return tuple(Preview(frames, low, high) for low, high in zip(lows, highs, strict=True))


class Sketch:
    """A growing overview where it is there, the preview where it is not. A `ColumnSource`."""

    def __init__(self, rough: Preview, overview: Growing | None = None) -> None:
        self._rough, self._overview = rough, overview

    def columns(self, first: float, stop: float, count: int) -> tuple[FloatArray, FloatArray]:
        lows, highs = self._rough.columns(first, stop, count)
        if self._overview is None:
            return lows, highs
        exact = self._overview.columns(first, stop, count)
        ends = first + (stop - first) / count * np.arange(1, count + 1)
        there = ends <= self._overview.ready_frames
        return np.where(there, exact[0], lows), np.where(there, exact[1], highs)
