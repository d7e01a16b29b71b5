"""What a file we write takes over from the recording it comes from: text, marks and stamps.

Brought in line with the new file: bext, iXML, cue points with their labels, the loops of smpl. Carried byte
for byte: everything else, known or not. Left behind, because it describes the old file's audio or what is
no longer beside it: fmt, fact, PEAK, levl, fillers; axml and chna of a recording of several channels.
"""

from __future__ import annotations

from pathlib import Path

import soundfile
from msgspec import Struct

from lagline.errors import FileMissing, NoPermission, NotAudio
from lagline.files import for_libsndfile
from lagline.media.bext import Bext, parse_bext
from lagline.media.cue import CuePoint, moved_cues, pack_cues, parse_cues
from lagline.media.flac_blocks import read_kept_chunks
from lagline.media.ixml import Family, retimed_ixml
from lagline.media.loops import moved_loops
from lagline.media.riff import LARGEST_CARRIED_BYTES, Chunk, RiffLayout, read_chunk, read_layout

_REMADE = (b"bext", b"iXML", b"cue ", b"smpl")
_OF_THE_AUDIO = (b"fmt ", b"data", b"ds64", b"fact", b"PEAK", b"levl")
_FILLERS = (b"JUNK", b"junk", b"FLLR", b"PAD ", b"filr")
_OF_ALL_CHANNELS = (b"axml", b"chna")  # ITU-R BS.2088: they name the tracks of the file they stand in
_LEFT = (*_REMADE, *_OF_THE_AUDIO, *_FILLERS)


class Carried(Struct, frozen=True):
    """The metadata of a recording, as it stands there."""

    bext: Bext | None = None
    ixml: bytes | None = None
    cues: tuple[CuePoint, ...] = ()
    loops: bytes | None = None  # smpl
    others: tuple[Chunk, ...] = ()
    tags: dict[str, str] = {}  # of any format, by libsndfile's names


def read_carried(path: Path) -> Carried:
    """The metadata of a WAV, RF64 or BW64 file, or of a FLAC file that keeps a WAV file's chunks; of others
    the tags.

    Raises FileMissing, NotAFile, NoPermission, NotAudio.
    """
    try:
        layout = read_layout(path)
        chunks = read_kept_chunks(path) if layout is None else _wave_chunks(path, layout)
        with soundfile.SoundFile(for_libsndfile(path)) as sound:
            channels, tags = sound.channels, sound.copy_metadata()
    except FileNotFoundError as error:
        raise FileMissing(path) from error
    except PermissionError as error:
        raise NoPermission(path) from error
    except soundfile.LibsndfileError:  # BW64, which we read ourselves
        channels, tags = 0, {}
    except OSError as error:
        raise NotAudio(path, error.strerror or "the disk does not answer") from error
    return _read(chunks, channels, tags)


def _wave_chunks(path: Path, layout: RiffLayout) -> tuple[Chunk, ...]:
    """All chunks but the audio, its format and what is too large to be loaded."""
    return tuple(
        Chunk(place.id, read_chunk(path, place))
        for place in layout.chunks
        if place.id not in (*_OF_THE_AUDIO, *_FILLERS) and place.present_bytes <= LARGEST_CARRIED_BYTES
    )


def _read(chunks: tuple[Chunk, ...], channels: int, tags: dict[str, str]) -> Carried:
    first = {chunk.id: chunk.data for chunk in reversed(chunks)}
    adtl = next((chunk.data for chunk in chunks if chunk.data[:4] == b"adtl"), b"")
    left = _LEFT if channels == 1 else (*_LEFT, *_OF_ALL_CHANNELS)
    return Carried(
        bext=parse_bext(first[b"bext"]) if b"bext" in first else None,
        ixml=first.get(b"iXML"),
        cues=parse_cues(first.get(b"cue ", b""), adtl),
        loops=first.get(b"smpl"),
        others=tuple(chunk for chunk in chunks if chunk.id not in left and chunk.data[:4] != b"adtl"),
        tags=tags,
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
    family: Family | None = None,
) -> tuple[Chunk, ...]:
    """Everything but the bext, for a file that holds one channel of the recording.

    Parameters
    ----------
    channel : 0-based, of the recording.
    rate_hz, wanted_hz : the recording's rate and the new file's.
    later_samples : where the recording's first sample lies in the new file, at `wanted_hz`.
    frames, bits, time_reference : of the new file.
    stretch : how much longer the content lasts in the new file: not 1 where drift was taken out.
    family : the files it is delivered with.
    """
    chunks: list[Chunk] = []
    if carried.ixml is not None:
        ixml = retimed_ixml(
            carried.ixml,
            time_reference=time_reference,
            rate_hz=wanted_hz,
            bits=bits,
            channel=channel,
            family=family,
        )
        if ixml is not None:
            chunks.append(Chunk(b"iXML", ixml))
    chunks += carried.others
    if carried.loops is not None:
        loops = moved_loops(carried.loops, later_samples, stretch * wanted_hz / rate_hz, wanted_hz, frames)
        if loops is not None:
            chunks.append(Chunk(b"smpl", loops))
    chunks += pack_cues(moved_cues(carried.cues, later_samples, rate_hz, wanted_hz, frames, stretch))
    return tuple(chunks)
