"""The sampler chunk ("smpl") of a WAV file: its loops, moved with the sound.

Layout of Microsoft's and IBM's Multimedia Programming Interface of 1994 (from memory): nine fields of 32
bits, of which the third is the length of a sample in ns, the eighth the number of loops and the ninth the
bytes behind them; then 24 bytes a loop: id, kind, first sample, last sample, fraction, times.
"""

from __future__ import annotations

import struct

_HEAD, _LOOP = struct.Struct("<9I"), struct.Struct("<6I")


def moved_loops(smpl: bytes, by_samples: float, ratio: float, wanted_hz: int, frames: int) -> bytes | None:
    """The chunk for a file in which each sample n of the old one lies at `n * ratio + by_samples`.

    Loops that do not lie in its `frames` whole are left out. None when the chunk is cut off.
    """
    if len(smpl) < _HEAD.size:
        return None
    maker, product, _period, *pitch, count, extra_bytes = _HEAD.unpack_from(smpl)
    behind = _HEAD.size + count * _LOOP.size
    if len(smpl) < behind + extra_bytes:
        return None
    loops = []
    for number in range(count):
        loop_id, kind, first, last, *rest = _LOOP.unpack_from(smpl, _HEAD.size + number * _LOOP.size)
        first, last = round(first * ratio + by_samples), round(last * ratio + by_samples)
        if 0 <= first <= last < frames:
            loops.append(_LOOP.pack(loop_id, kind, first, last, *rest))
    head = _HEAD.pack(maker, product, round(1e9 / wanted_hz), *pitch, len(loops), extra_bytes)
    return head + b"".join(loops) + smpl[behind:]
