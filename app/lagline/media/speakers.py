"""Which speaker each channel of a WAVE file is for: dwChannelMask of WAVEFORMATEXTENSIBLE (from memory).

Each bit of the mask is a place: 1 front left, 2 front right, 4 front centre and on. The first channel belongs
to the lowest bit that is set, and so on; channels beyond the bits have no place, as all do where it is 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from lagline.media.riff import read_chunk, read_layout

_EXTENSIBLE = 0xFFFE
_MASK_AT, _MASK_BYTES = 20, 4


def speaker_mask(path: Path) -> int | None:
    """The mask of a WAV, RF64 or BW64 file; None where it has none. Raises NotAFile, OSError."""
    layout = read_layout(path)
    place = layout.first(b"fmt ") if layout else None
    data = read_chunk(path, place) if place else b""
    if len(data) < _MASK_AT + _MASK_BYTES or int.from_bytes(data[:2], "little") != _EXTENSIBLE:
        return None
    return int.from_bytes(data[_MASK_AT : _MASK_AT + _MASK_BYTES], "little")


def mask_of_channels(mask: int, channels: Sequence[int]) -> int:
    """The mask of a file of some channels (0-based, rising) of a file with that mask."""
    places = [1 << bit for bit in range(32) if mask >> bit & 1]
    return sum(places[channel] for channel in channels if channel < len(places))
