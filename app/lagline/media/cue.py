"""Cue points of a WAV file with their labels: read, moved, packed.

Layout of the "cue " chunk: a count, then 24 bytes a point: id, position, "data", chunk start, block
start, sample offset. Labels, notes and regions stand in a LIST chunk of type "adtl", each beginning
with the id of its point.
"""

from __future__ import annotations

import struct

from msgspec import Struct

from lagline.media.riff import Chunk, packed

_POINT = struct.Struct("<II4sIII")
_ABOUT_A_POINT = (b"labl", b"note", b"ltxt")


class CuePoint(Struct, frozen=True):
    """One mark. `texts` are the adtl sub-chunks about it, as they stand in the file."""

    id: int
    at_samples: int  # from the first sample of the file
    texts: tuple[Chunk, ...] = ()


def named_cue(id: int, at_samples: int, name: str, length_samples: int | None = None) -> CuePoint:
    """A mark with its label, and its length where it is a region."""
    number = struct.pack("<I", id)
    texts = [Chunk(b"labl", number + name.encode() + b"\0")]
    if length_samples is not None:
        texts.append(Chunk(b"ltxt", number + struct.pack("<I4s4H", length_samples, b"rgn ", 0, 0, 0, 0)))
    return CuePoint(id, at_samples, tuple(texts))


def renumbered(point: CuePoint, id: int) -> CuePoint:
    """The same mark under another number."""
    number = struct.pack("<I", id)
    return CuePoint(id, point.at_samples, tuple(Chunk(one.id, number + one.data[4:]) for one in point.texts))


def parse_cues(cue: bytes, adtl: bytes = b"") -> tuple[CuePoint, ...]:
    """The points of a cue chunk; `adtl` is the data of the LIST chunk, beginning with "adtl"."""
    if len(cue) < 4:
        return ()
    texts: dict[int, list[Chunk]] = {}
    for chunk in _inner(adtl[4:]) if adtl[:4] == b"adtl" else ():
        if chunk.id in _ABOUT_A_POINT and len(chunk.data) >= 4:
            texts.setdefault(int.from_bytes(chunk.data[:4], "little"), []).append(chunk)
    count = min(struct.unpack_from("<I", cue)[0], (len(cue) - 4) // _POINT.size)
    points = [_POINT.unpack_from(cue, 4 + _POINT.size * number) for number in range(count)]
    return tuple(
        CuePoint(point_id, offset, tuple(texts.get(point_id, ())))
        for point_id, _position, chunk, _chunk_start, _block_start, offset in points
        if chunk == b"data"
    )


def moved_cues(
    points: tuple[CuePoint, ...],
    by_samples: float,
    rate_hz: int,
    wanted_hz: int,
    frames: int,
    stretch: float = 1.0,
) -> tuple[CuePoint, ...]:
    """The points in a file at `wanted_hz` whose content lies `by_samples` (at that rate) later.

    `stretch` : how much longer the content lasts there, where drift was taken out. Points that fall outside
    its `frames` are left out. Lengths of regions are converted too.
    """
    ratio = stretch * wanted_hz / rate_hz
    moved = []
    for point in points:
        at = round(point.at_samples * ratio + by_samples)
        if 0 <= at <= frames:
            texts = tuple(_region_at(chunk, ratio) for chunk in point.texts)
            moved.append(CuePoint(point.id, at, texts))
    return tuple(moved)


def pack_cues(points: tuple[CuePoint, ...]) -> tuple[Chunk, ...]:
    """The chunks to write: "cue " and, if there are texts, the LIST of them."""
    if not points:
        return ()
    body = b"".join(
        _POINT.pack(point.id, point.at_samples, b"data", 0, 0, point.at_samples)
        for point in points
        if point.at_samples <= 0xFFFFFFFF  # what the field can say
    )
    cue = Chunk(b"cue ", struct.pack("<I", len(body) // _POINT.size) + body)
    texts = b"".join(packed(chunk) for point in points for chunk in point.texts)
    return (cue, Chunk(b"LIST", b"adtl" + texts)) if texts else (cue,)


def _region_at(chunk: Chunk, ratio: float) -> Chunk:
    """A region ("ltxt") with its length in samples times `ratio`; other texts as they are."""
    if chunk.id != b"ltxt" or len(chunk.data) < 8:
        return chunk
    length = round(int.from_bytes(chunk.data[4:8], "little") * ratio)
    return Chunk(chunk.id, chunk.data[:4] + struct.pack("<I", min(length, 0xFFFFFFFF)) + chunk.data[8:])


def _inner(data: bytes) -> list[Chunk]:
    """Chunks inside a LIST."""
    found = []
    at = 0
    while at + 8 <= len(data):
        chunk_id, size = struct.unpack_from("<4sI", data, at)
        found.append(Chunk(chunk_id, data[at + 8 : at + 8 + size]))
        at += 8 + size + size % 2
    return found
