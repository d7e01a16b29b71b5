"""Overviews and health on disk: one file for one state of a recording, safe against damage.

Layout: MAGIC; length of the header (u32, little-endian); the header (JSON); the finest bins, float32,
for each channel first the lows then the highs; CRC-32 of everything before it (u32). A file that is
cut off, changed or of another make is not used, and the recording is read again.
"""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import msgspec
import numpy as np

from lagline.files import whole_or_nothing
from lagline.media.health import Health
from lagline.media.pyramid import Overview

MAGIC = b"LAGOVW3\n"
_SIZE = struct.Struct("<I")


class _Header(msgspec.Struct, frozen=True):
    frames: int
    bin_samples: int
    health: tuple[Health, ...]


# Made here, on the thread that imports this: msgspec 0.22 can end the process when two threads decode a type
# for the first time at once, and overviews are loaded on two threads.
_READER = msgspec.json.Decoder(_Header)


def save(path: Path, frames: int, overviews: tuple[Overview, ...], health: tuple[Health, ...]) -> None:
    """Write atomically: another process sees the old file or the new one. Raises OSError."""
    header = msgspec.json.encode(_Header(frames, int(overviews[0].bin_samples), health))
    header += b" " * (-len(header) % 4)  # keeps the arrays aligned
    check = 0
    path.parent.mkdir(parents=True, exist_ok=True)
    with whole_or_nothing(path, lasting=False) as part, part.open("wb") as file:
        pieces = [MAGIC, _SIZE.pack(len(header)), header]
        pieces += [array.tobytes() for overview in overviews for array in overview.bins]
        for piece in pieces:
            check = zlib.crc32(piece, check)
            file.write(piece)
        file.write(_SIZE.pack(check))


def load(path: Path, frames: int, channels: int) -> tuple[tuple[Overview, ...], tuple[Health, ...]] | None:
    """What `save` wrote for a recording of that shape; None if there is nothing sound."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    start = len(MAGIC) + _SIZE.size
    if len(data) < start + _SIZE.size or data[: len(MAGIC)] != MAGIC:
        return None
    view = memoryview(data)
    if zlib.crc32(view[: -_SIZE.size]) != _SIZE.unpack(view[-_SIZE.size :])[0]:
        return None
    (header_bytes,) = _SIZE.unpack_from(data, len(MAGIC))
    try:
        header = _READER.decode(view[start : start + header_bytes])
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None
    if header.frames != frames or len(header.health) != channels or header.bin_samples < 1:
        return None
    bins = -(-frames // header.bin_samples)
    pieces = view[start + header_bytes : -_SIZE.size]
    if len(pieces) != 2 * channels * bins * np.dtype(np.float32).itemsize:
        return None
    arrays = np.frombuffer(pieces, np.float32)
    overviews = tuple(Overview(frames, header.bin_samples) for _ in range(channels))
    for overview, (lows, highs) in zip(overviews, arrays.reshape(channels, 2, bins), strict=True):
        overview.fill(lows, highs)
    return overviews, header.health
