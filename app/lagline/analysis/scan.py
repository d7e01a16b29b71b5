"""The first pass: how loud each lane is over time, in blocks, so that memory does not grow with length."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.errors import Cancelled
from lagline.spread import Progress, Stopped, spread_in_parts

Samples = NDArray[np.float32]
Floats = NDArray[np.float64]

HOP_S = 0.005
BLOCK_HOPS = 1024
WORKERS = 2  # reading and numpy let go of the interpreter: two threads are 1.9 times as fast as one


class Readable(Protocol):
    """What analysis needs of a clip (lagline.media.clip.Clip has it)."""

    @property
    def frames(self) -> int:
        """Length in samples."""

    def read(self, start: int, stop: int) -> Samples:
        """Samples `start` to `stop`, shape (stop - start,), with silence outside the recording."""


class Levels(Struct, frozen=True):
    """Level of one lane over the session, one value a hop.

    power : mean square, shape (hops,). bright : mean square of the first difference, which weighs treble
    up. Hop `i` covers session samples `start + i * hop` to `start + (i + 1) * hop`.
    """

    start: int
    hop: int
    power: Samples
    bright: Samples

    @property
    def is_silent(self) -> bool:
        """Nothing above -120 dB full scale anywhere."""
        return not bool(np.any(self.power > 1e-12))


def scan(
    clips: list[Readable],
    places: list[int],
    start: int,
    stop: int,
    rate_hz: int,
    *,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> list[Levels]:
    """Levels of every lane between two session samples.

    Parameters
    ----------
    clips, places : the lanes' audio and the session sample of their first frame.
    start, stop : session samples.
    progress : called with 0..1. cancelled : asked once a block of about 5 s.

    Raises
    ------
    Cancelled
    """
    hop = max(round(HOP_S * rate_hz), 1)
    hops = max((stop - start) // hop, 1)
    blocks = -(-hops // BLOCK_HOPS)

    def one(index: int, part: Progress, stopped: Stopped) -> Levels:
        power = np.zeros(hops, np.float32)
        bright = np.zeros(hops, np.float32)
        last = np.float32(0.0)
        for first in range(0, hops, BLOCK_HOPS):
            if stopped():
                raise Cancelled
            count = min(BLOCK_HOPS, hops - first)
            at = start + first * hop - places[index]
            if at < clips[index].frames and at + count * hop > 0:
                block = clips[index].read(at, at + count * hop)
                power[first : first + count] = _mean_square(block, hop)
                edges = np.empty_like(block)
                edges[0] = block[0] - last
                np.subtract(block[1:], block[:-1], out=edges[1:])
                bright[first : first + count] = _mean_square(edges, hop)
                last = block[-1]
            part((first // BLOCK_HOPS + 1) / blocks)
        return Levels(start=start, hop=hop, power=power, bright=bright)

    lanes = range(len(clips))
    return spread_in_parts(one, lanes, threads=WORKERS, progress=progress, cancelled=cancelled)


def _mean_square(block: Samples, hop: int) -> Samples:
    rows = block.reshape(-1, hop)
    mean: Samples = np.einsum("ij,ij->i", rows, rows) / np.float32(hop)
    return mean
