"""Rings of rendered sound between the feeder, which fills them, and the callback, which empties them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from lagline.playback.level_track import LevelTrack
from lagline.playback.mixdown import Mixdown, Scratch
from lagline.playback.programme import Programme
from lagline.playback.views import View
from lagline.session.values import ORIGINAL_ID

FloatArray = npt.NDArray[np.float32]
MOST_MIXED = 4096  # frames of a version mixed at a time
Frames = npt.NDArray[np.float64]


def as_frames(stereo: FloatArray) -> Frames:
    """The same memory, shape (frames, 2) float32, with a frame as one item: for copying, and for that only.

    numpy lets other threads have the interpreter during any operation on more than 500 items, and getting it
    back may take longer than the copy.
    """
    return stereo.view(np.float64)[:, 0]


def weigh(stereo: FloatArray, gain: npt.NDArray[np.floating] | np.float32) -> None:
    """Multiply both sides, shape (frames, 2), by a gain or one a frame; one by one, see `as_frames`."""
    for side in (stereo[:, 0], stereo[:, 1]):
        np.multiply(side, gain, out=side, casting="same_kind")


class Reel:
    """One programme rendered ahead in several versions, on one clock.

    One ring a version, all filled to the same frame; or, with a `mixdown`, one ring a signal, from which a
    version is mixed as it is copied. `written` is moved by the feeder only and only after
    the samples are in place; `index`, in the mixer, by the audio thread only. Neither waits for the other.

    edition : two reels of the same edition hold the same sound of each version at the same session time.
    base : where frame 0 lies on the clock of `levels`, which goes on from the reel this one follows.
    overlap : frames at the beginning in which the sound of that one goes over into this.
    heads : with a mixdown, those frames of the slots that may be heard there, each shape (overlap, 2).
    """

    def __init__(
        self,
        programme: Programme,
        version_ids: tuple[str, ...],
        capacity: int,
        rate_hz: int,
        *,
        edition: int = 0,
        base: int = 0,
        overlap: int = 0,
        mixdown: Mixdown | None = None,
    ) -> None:
        self.programme = programme
        self.version_ids = version_ids
        self.edition = edition
        self.overlap = overlap
        self.slots = {version_id: slot for slot, version_id in enumerate(version_ids)}
        self.capacity = capacity
        self.mixdown = mixdown
        self.heads: dict[int, FloatArray] = {}
        rings = len(version_ids) if mixdown is None else 0
        self._rings = [as_frames(np.zeros((capacity, 2), np.float32)) for _ in range(rings)]
        signals = mixdown.count if mixdown is not None else 0
        self._signals = [np.zeros(capacity, np.float32) for _ in range(signals)]
        self._scratch = Scratch(MOST_MIXED if mixdown is not None else 0)
        shares = mixdown.shares if mixdown is not None else None
        slots, original = len(version_ids), self.slots.get(ORIGINAL_ID)
        self.levels = LevelTrack(slots, original, rate_hz, base, overlap, shares)
        self.written = 0  # programme frames rendered so far

    def offers(self, view: View) -> bool:
        """Whether the view can be heard from this reel."""
        return view.version_id in self.slots and (not view.difference or ORIGINAL_ID in self.slots)

    def room(self, index: int) -> int:
        """Frames that may be written while the audio thread stands at `index`."""
        length = self.programme.length
        room = self.capacity - (self.written - index)
        return room if length is None else min(room, length - self.written)

    def follows(self, view: View) -> bool:
        """Whether the view goes on from the reel before without a break."""
        if self.mixdown is None or not self.overlap:
            return self.offers(view)
        needed = (view.version_id, ORIGINAL_ID) if view.difference else (view.version_id,)
        return all(self.slots.get(one) in self.heads for one in needed)

    def write(self, blocks: list[FloatArray]) -> None:
        """Append the same stretch of every version, each float32, shape (frames, 2); or of every signal."""
        frames = len(blocks[0])
        at = self.written % self.capacity
        head = min(frames, self.capacity - at)
        for signal, block in zip(self._signals, blocks, strict=False):
            signal[at : at + head] = block[:head]
            signal[: frames - head] = block[head:]
        for ring, block in zip(self._rings, blocks, strict=False):
            whole = as_frames(block)
            ring[at : at + head] = whole[:head]
            ring[: frames - head] = whole[head:]
        self.levels.add(blocks)
        self.written += frames

    def copy(self, slot: int, index: int, out: FloatArray, scratch: Scratch | None = None) -> None:
        """Copy programme frames from `index` on into `out`, shape (frames, 2) without gaps.

        With a mixdown MOST_MIXED at most; another thread than that of the audio brings `scratch` of its own.
        """
        ring_at = index % self.capacity
        head = self.capacity - ring_at
        if self.mixdown is not None:
            self._mix(slot, index, out, scratch or self._scratch)
            return
        frames, whole, ring = len(out), as_frames(out), self._rings[slot]
        if frames <= head:
            whole[:] = ring[ring_at : ring_at + frames]
        else:
            whole[:head] = ring[ring_at:]
            whole[head:] = ring[: frames - head]

    def _mix(self, slot: int, index: int, out: FloatArray, scratch: Scratch) -> None:
        assert self.mixdown is not None
        parts, begun = self.mixdown.parts[slot], 0
        if index < self.overlap and slot in self.heads:
            begun = min(len(out), self.overlap - index)
            as_frames(out[:begun])[:] = as_frames(self.heads[slot])[index : index + begun]
        while begun < len(out):
            at = (index + begun) % self.capacity
            count = min(len(out) - begun, self.capacity - at)
            scratch.mix(self._signals, at, parts, out[begun : begun + count])
            begun += count


class Handover:
    """A reel offered to the audio thread.

    base, at : the reel it follows and the frame of that reel at which it takes over, its own frame 0
        standing for that frame; the sound runs on through the splice (the feeder has made the beginning of
        the new reel follow from the old one, for its `overlap`). Refused when the audio thread has passed
        that frame or plays another reel. Both None: go over at once, fading out before and in after.
    token : of the jump this carries out, or 0.
    """

    def __init__(self, reel: Reel, base: Reel | None = None, at: int | None = None, token: int = 0) -> None:
        self.token = token
        self.reel = reel
        self.base = base
        self.at = at
