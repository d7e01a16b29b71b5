"""What a file we write takes over from the recording it comes from: text, marks and stamps.

Carried: bext, iXML, cue points with their labels, and LIST/INFO texts. Left behind, because they
describe the old file or all of its channels: PEAK, fact, levl, chna, axml, smpl, inst and what is unknown.
"""

from __future__ import annotations

from pathlib import Path

from msgspec import Struct

from lagline.errors import FileMissing, NoPermission, NotAudio
from lagline.media.bext import Bext, parse_bext
from lagline.media.cue import CuePoint, moved_cues, pack_cues, parse_cues
from lagline.media.ixml import retimed_ixml
from lagline.media.riff import Chunk, RiffLayout, read_chunk, read_layout


class Carried(Struct, frozen=True):
    """The metadata of a recording, as it stands there."""

    bext: Bext | None = None
    ixml: bytes | None = None
    cues: tuple[CuePoint, ...] = ()
    info: Chunk | None = None  # LIST/INFO


def read_carried(path: Path) -> Carried:
    """The metadata of a WAV, RF64 or BW64 file; nothing for other formats.

    Raises FileMissing, NotAFile, NoPermission, NotAudio.
    """
    try:
        layout = read_layout(path)
        return Carried() if layout is None else _read(path, layout)
    except FileNotFoundError as error:
        raise FileMissing(path) from error
    except PermissionError as error:
        raise NoPermission(path) from error
    except OSError as error:
        raise NotAudio(path, error.strerror or "the disk does not answer") from error


def _read(path: Path, layout: RiffLayout) -> Carried:
    bext, ixml = _data(path, layout, b"bext"), _data(path, layout, b"iXML")
    lists = {
        data[:4]: data for place in layout.chunks if place.id == b"LIST" for data in [read_chunk(path, place)]
    }
    info = lists.get(b"INFO")
    return Carried(
        bext=parse_bext(bext) if bext is not None else None,
        ixml=ixml,
        cues=parse_cues(_data(path, layout, b"cue ") or b"", lists.get(b"adtl", b"")),
        info=Chunk(b"LIST", info) if info else None,
    )


def retimed_chunks(
    carried: Carried,
    *,
    channel: int,
    rate_hz: int,
    wanted_hz: int,
    later_samples: float,
    frames: int,
    bits: int,
    time_reference: int,
    stretch: float = 1.0,
) -> tuple[Chunk, ...]:
    """Everything but the bext, for a file that holds one channel of the recording.

    Parameters
    ----------
    channel : 0-based, of the recording.
    rate_hz, wanted_hz : the recording's rate and the new file's.
    later_samples : where the recording's first sample lies in the new file, at `wanted_hz`.
    frames, bits, time_reference : of the new file.
    stretch : how much longer the content lasts in the new file: not 1 where drift was taken out.
    """
    chunks: list[Chunk] = []
    if carried.ixml is not None:
        ixml = retimed_ixml(
            carried.ixml, time_reference=time_reference, rate_hz=wanted_hz, bits=bits, channel=channel
        )
        if ixml is not None:
            chunks.append(Chunk(b"iXML", ixml))
    if carried.info is not None:
        chunks.append(carried.info)
    chunks += pack_cues(moved_cues(carried.cues, later_samples, rate_hz, wanted_hz, frames, stretch))
    return tuple(chunks)


def _data(path: Path, layout: RiffLayout, chunk_id: bytes) -> bytes | None:
    place = layout.first(chunk_id)
    return read_chunk(path, place) if place else None
