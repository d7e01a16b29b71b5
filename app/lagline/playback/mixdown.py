"""Versions mixed from single lanes as they are heard: of hundreds, each can be switched to at once."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from lagline.blend.mix import ClipLike
from lagline.blend.signals import Signals, signals_of
from lagline.playback.level_track import shares_of
from lagline.session.values import ORIGINAL_ID, Session, Version

MOST_SIGNALS = 64  # rendered ahead; versions that would need more, to keep the moment, keep the clock
FloatArray = npt.NDArray[np.float32]
Parts = tuple[tuple[int, float, float], ...]  # signal, its gain on the left and on the right; none below 0


class Mixdown:
    """How versions are mixed from signals: the arithmetic of `blend`, so the same bits come out.

    parts : of each slot, the signals it is made of, each with its gain on the left and on the right.
    shares : for `LevelTrack`.
    """

    def __init__(self, session: Session, versions: tuple[Version, ...], leads: Mapping[str, int]) -> None:
        self._signals: Signals = signals_of(session, versions, leads, MOST_SIGNALS)
        ids = [version.id for version in versions]
        self.count = len(self._signals.sources)
        self.shares = shares_of(self._signals.weights, ids.index(ORIGINAL_ID) if ORIGINAL_ID in ids else None)
        self.parts: tuple[Parts, ...] = tuple(
            tuple((int(at), float(left[at]), float(right[at])) for at in np.flatnonzero(left + right))
            for left, right in self._signals.weights
        )

    def render(self, clips: Mapping[str, ClipLike], position: int, frames: int) -> list[FloatArray]:
        """A stretch of every signal, each shape (frames,)."""
        return list(self._signals.read(clips, position, frames))


class Scratch:
    """Room for mixing up to so many frames at a time, for one thread."""

    def __init__(self, frames: int) -> None:
        self._part, self._total = np.empty(frames), np.empty(frames)

    def mix(
        self,
        signals: list[FloatArray],
        first: int,
        parts: Parts,
        out: FloatArray,
    ) -> None:
        """Frames of the signals from `first` on, as one slot has them, into `out`, shape (frames, 2)."""
        frames = len(out)
        part, total = self._part[:frames], self._total[:frames]
        for side in (0, 1):
            total.fill(0.0)
            for one in parts:
                np.multiply(
                    signals[one[0]][first : first + frames], one[1 + side], out=part, dtype=np.float64
                )
                np.add(total, part, out=total)
            out[:, side] = total
