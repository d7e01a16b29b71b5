"""Streams of blocks for the files of a set: lanes and blends, at the rate of the files."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np
import numpy.typing as npt

from lagline.blend.mix import ClipLike, blend, lane_signal
from lagline.deliver.delivered import Cancelled, Progress
from lagline.deliver.placement import Placement
from lagline.errors import Cancelled as CancelledError
from lagline.media.convert import resampled
from lagline.session.values import Lane, Session, Version
from lagline.units import db_to_gain

FloatArray = npt.NDArray[np.float32]

BLOCK_FRAMES = 1 << 16
MONO_GAIN = np.float32(np.sqrt(0.5))  # a lane panned to the centre comes out as loud as it went in


def lane_blocks(
    session: Session, version: Version, lane: Lane, clips: Mapping[str, ClipLike], where: Placement
) -> Iterator[FloatArray]:
    """One lane shifted and flipped: blocks of shape (frames, 1)."""
    return _at_rate(
        session,
        where,
        1,
        lambda start, frames: lane_signal(session, version, lane, clips, start, frames)[:, None],
    )


def blend_blocks(
    session: Session,
    version: Version,
    clips: Mapping[str, ClipLike],
    where: Placement,
    *,
    gain_db: float = 0.0,
    mono: bool = False,
) -> Iterator[FloatArray]:
    """The blend of a version, `gain_db` louder: blocks of shape (frames, 2), or (frames, 1) in mono."""
    gain = np.float32(db_to_gain(gain_db))

    def render(start: int, frames: int) -> FloatArray:
        block = blend(session, version, clips, start, frames)
        if mono:
            block = (block[:, :1] + block[:, 1:]) * MONO_GAIN
        return block if gain_db == 0.0 else block * gain

    return _at_rate(session, where, 1 if mono else 2, render)


def _at_rate(
    session: Session, where: Placement, channels: int, render: Callable[[int, int], FloatArray]
) -> Iterator[FloatArray]:
    def blocks() -> Iterator[FloatArray]:
        stop = where.start + where.source_frames
        for start in range(where.start, stop, BLOCK_FRAMES):
            yield render(start, min(BLOCK_FRAMES, stop - start))

    if where.rate_hz == session.rate_hz:
        return blocks()
    return resampled(blocks(), session.rate_hz, where.rate_hz, channels, where.frames)


def watched(
    blocks: Iterator[FloatArray], frames: int, progress: Progress, cancelled: Cancelled
) -> Iterator[FloatArray]:
    """The same blocks, with progress 0..1. Raises errors.Cancelled on request."""
    done = 0
    for block in blocks:
        if cancelled():
            raise CancelledError
        yield block
        done += len(block)
        progress(min(1.0, done / max(1, frames)))
