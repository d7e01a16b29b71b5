"""RIFF chunks kept in a FLAC file: its reference encoder's `--keep-foreign-metadata`.

A FLAC file (RFC 9639, section 8) is "fLaC", then metadata blocks, then frames. A block has a header of four
bytes: a bit that marks the last one, its type (7 bits), its length (24 bits). Chunks of a WAVE file stand in
application blocks (type 2, section 8.4) of the registered id "riff", one a block, in the order of the WAVE
file: its first twelve bytes, each chunk whole, and of the audio only the header of eight bytes.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from lagline.media.regular import open_regular
from lagline.media.riff import Chunk

_MAGIC, _ID = b"fLaC", b"riff"
_APPLICATION, _LAST = 2, 0x80
_LARGEST_BLOCK_BYTES = (1 << 24) - 1
_MOVED_BYTES = 1 << 20


def read_kept_chunks(path: Path) -> tuple[Chunk, ...]:
    """The chunks a FLAC file keeps, but format and audio; none for any other file, or where it is damaged.

    Raises NotAFile, and OSError when the file cannot be opened.
    """
    with open_regular(path) as file:
        if file.read(4) != _MAGIC:
            return ()
        kept = [data[4:] for kind, data in _blocks(file) if kind == _APPLICATION and data[:4] == _ID]
    chunks = [(data[:4], *struct.unpack_from("<I", data, 4), data[8:]) for data in kept if len(data) >= 8]
    return tuple(
        Chunk(chunk_id, data[:size])
        for chunk_id, size, data in chunks
        if len(data) >= size and chunk_id not in (b"fmt ", b"ds64")
    )


def keep_wave_head(path: Path, head: bytes) -> None:
    """Put the chunks of a WAVE file into a finished FLAC file of the same audio, after its own metadata.

    `head` : the WAVE file up to its first sample.

    Raises OSError, and ValueError for a chunk too large for a block.
    """
    pieces = [head[:12], *_chunks_of(head)]
    if max(map(len, pieces)) + len(_ID) > _LARGEST_BLOCK_BYTES:
        raise ValueError("a chunk is too large for a block of FLAC")
    blocks = [struct.pack(">I", _APPLICATION << 24 | len(_ID) + len(piece)) + _ID + piece for piece in pieces]
    blocks[-1] = bytes([_LAST | _APPLICATION]) + blocks[-1][1:]
    with path.open("r+b") as file:
        last = end = file.seek(len(_MAGIC))
        for _kind, _data in _blocks(file):
            last, end = end, file.tell()
        _make_room(file, end, sum(map(len, blocks)))
        file.seek(end)
        file.write(b"".join(blocks))
        file.seek(last)
        kind = file.read(1)[0]
        file.seek(last)
        file.write(bytes([kind & ~_LAST]))


def _chunks_of(head: bytes) -> Iterator[bytes]:
    """Each chunk of a WAVE file's head with its own header; of the audio only that."""
    at = 12
    while at < len(head):
        size = 8 if head[at : at + 4] == b"data" else 8 + int.from_bytes(head[at + 4 : at + 8], "little")
        yield head[at : at + size + size % 2]
        at += size + size % 2


def _blocks(file: BinaryIO) -> Iterator[tuple[int, bytes]]:
    """Type and data of each metadata block from where the file stands; the file is behind it then."""
    while len(header := file.read(4)) == 4:
        size = int.from_bytes(header[1:], "big")
        data = file.read(size)
        if len(data) < size:
            return
        yield header[0] & ~_LAST, data
        if header[0] & _LAST:
            return


def _make_room(file: BinaryIO, at: int, more: int) -> None:
    """Move everything from `at` on back by so many bytes."""
    stop = file.seek(0, 2)
    while stop > at:
        start = max(at, stop - _MOVED_BYTES)
        file.seek(start)
        piece = file.read(stop - start)
        file.seek(start + more)
        file.write(piece)
        stop = start
