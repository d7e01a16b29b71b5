"""The chunks of a RIFF file (WAV, RF64, BW64): where they are, and bytes to write them.

Layouts: RIFF/WAVE; RF64 of EBU Tech 3306; BW64 of ITU-R BS.2088. A chunk is an id of four bytes, a
32-bit little-endian size and the data, padded to an even length; the pad byte is not counted. In
RF64 and BW64 a size field of 0xFFFFFFFF means "see ds64".
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import BinaryIO

from msgspec import Struct

from lagline.errors import ChangedWhileRead
from lagline.media.regular import open_regular

SEE_DS64 = 0xFFFFFFFF
LARGEST_RIFF_BYTES = 0xFFFFFFFF  # what the 32-bit size field can say; above it the file is RF64
LARGEST_CARRIED_BYTES = 15 << 20  # metadata chunks larger than this are not loaded; FLAC's blocks end at 16
_FORMS = {b"RIFF": "RIFF", b"RF64": "RF64", b"BW64": "BW64"}


class ChunkPlace(Struct, frozen=True):
    """Where a chunk's data lies in its file."""

    id: bytes  # four bytes
    offset: int  # of the data, bytes from the start of the file
    claimed_bytes: int  # what its header says, without padding
    present_bytes: int  # less when the file was cut off, more when the header was never finished


class RiffLayout(Struct, frozen=True):
    """The chunks of one file, in order."""

    form: str  # RIFF, RF64 or BW64
    chunks: tuple[ChunkPlace, ...]

    def first(self, chunk_id: bytes) -> ChunkPlace | None:
        """Where the first chunk with this id lies; None if there is none."""
        return next((chunk for chunk in self.chunks if chunk.id == chunk_id), None)


class Chunk(Struct, frozen=True):
    """A chunk's id (four bytes) and its data, without padding."""

    id: bytes
    data: bytes


def read_layout(path: Path) -> RiffLayout | None:
    """The chunks of a WAVE file; None for any other kind of file.

    Damage ends the list, it raises nothing: what was found until then is returned.
    Raises NotAFile, and OSError when the file cannot be opened.
    """
    with open_regular(path) as file:
        size = file.seek(0, 2)
        file.seek(0)
        head = file.read(12)
        if len(head) < 12 or head[:4] not in _FORMS or head[8:] != b"WAVE":
            return None
        return RiffLayout(_FORMS[head[:4]], tuple(_walk(file, size)))


def _walk(file: BinaryIO, size: int) -> list[ChunkPlace]:
    chunks: list[ChunkPlace] = []
    large: dict[bytes, int] = {}
    while True:
        header = file.read(8)
        if len(header) < 8:
            return chunks
        chunk_id, claimed = header[:4], struct.unpack("<I", header[4:])[0]
        if not _is_id(chunk_id):
            return chunks  # no chunk: what follows is damage, or silence of an unfinished recording
        offset = file.tell()
        if claimed == SEE_DS64:
            claimed = large.get(chunk_id, size - offset)
        if chunk_id == b"ds64":
            large = _large_sizes(file.read(min(claimed, LARGEST_CARRIED_BYTES)))
        present = max(0, min(claimed, size - offset))
        if chunk_id == b"data" and claimed == 0 and not _chunk_follows(file, offset, size):
            present = size - offset  # a recorder that died before it wrote the length
        chunks.append(ChunkPlace(chunk_id, offset, claimed, present))
        following = offset + max(claimed, present) + claimed % 2
        if following >= size:  # a ds64 may claim more than a file can be long
            return chunks
        file.seek(following)


def _chunk_follows(file: BinaryIO, offset: int, size: int) -> bool:
    """Whether a chunk, or the end of the file, lies at `offset`."""
    file.seek(offset)
    header = file.read(8)
    if len(header) < 8:
        return True
    return _is_id(header[:4]) and offset + 8 + struct.unpack("<I", header[4:])[0] <= size


def _is_id(letters: bytes) -> bool:
    """Whether four bytes can name a chunk: printable ASCII, as RIFF has it."""
    return all(0x20 <= letter <= 0x7E for letter in letters)


def _large_sizes(ds64: bytes) -> dict[bytes, int]:
    """64-bit sizes by chunk id, from the data of a ds64 chunk."""
    if len(ds64) < 28:
        return {}
    _riff_bytes, data_bytes, _samples, entries = struct.unpack_from("<QQQI", ds64)
    sizes = {b"data": data_bytes}
    for entry in range(min(entries, (len(ds64) - 28) // 12)):
        chunk_id, chunk_bytes = struct.unpack_from("<4sQ", ds64, 28 + 12 * entry)
        sizes[chunk_id] = chunk_bytes
    return sizes


def read_chunk(path: Path, place: ChunkPlace) -> bytes:
    """A chunk's data, as far as it is there; at most LARGEST_CARRIED_BYTES of it.

    Raises ChangedWhileRead when the file has become shorter since its chunks were found.
    """
    wanted = min(place.present_bytes, LARGEST_CARRIED_BYTES)
    with open_regular(path) as file:
        file.seek(place.offset)
        data = file.read(wanted)
    if len(data) < wanted:
        raise ChangedWhileRead(path)
    return data


def packed(chunk: Chunk) -> bytes:
    """The chunk as it stands in a file: id, size, data, and a pad byte if the size is odd."""
    if len(chunk.id) != 4:
        raise ValueError(f"a chunk id has four bytes, not {chunk.id!r}")
    return chunk.id + struct.pack("<I", len(chunk.data)) + chunk.data + b"\0" * (len(chunk.data) % 2)
