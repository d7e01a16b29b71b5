"""What a file we write takes over from the recording it comes from: text, marks and stamps.

Brought in line with the new file: bext, iXML, cue points with their labels, the loops of smpl. Carried byte
for byte: everything else, known or not. Left behind, because it describes the old file's audio or what is
no longer beside it: fmt, fact, PEAK, levl, fillers; axml and chna where not all channels come along.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import soundfile
from msgspec import Struct
from msgspec.structs import replace

from lagline.errors import FileMissing, NoPermission, NotAudio
from lagline.files import for_libsndfile
from lagline.media.bext import Bext, parse_bext
from lagline.media.cue import CuePoint, moved_cues, pack_cues, parse_cues, renumbered
from lagline.media.flac_blocks import read_kept_chunks
from lagline.media.ixml import NEW_IXML, Family, retimed_ixml
from lagline.media.loops import moved_loops
from lagline.media.riff import LARGEST_CARRIED_BYTES, Chunk, read_chunk, read_layout

_REMADE = (b"bext", b"iXML", b"cue ", b"smpl")
_OF_THE_AUDIO = (b"fmt ", b"data", b"ds64", b"fact", b"PEAK", b"levl")
_FILLERS = (b"JUNK", b"junk", b"FLLR", b"PAD ", b"filr")
_OF_ALL_CHANNELS = (b"axml", b"chna")  # ITU-R BS.2088: they name the tracks of the file they stand in
_LEFT = (*_REMADE, *_OF_THE_AUDIO, *_FILLERS)
_TEXTS = ("description", "originator", "originator_reference", "coding_history")


Fate = Literal["same", "changed", "added", "left behind"]


class Carried(Struct, frozen=True):
    """The metadata of a recording, as it stands there."""

    bext: Bext | None = None
    ixml: bytes | None = None
    cues: tuple[CuePoint, ...] = ()
    loops: bytes | None = None  # smpl
    others: tuple[Chunk, ...] = ()
    channels: int = 0  # of the recording; 0 where that is not known
    tags: dict[str, str] = {}  # of any format, by libsndfile's names


def read_carried(path: Path) -> Carried:
    """The metadata of a WAV, RF64 or BW64 file, or of a FLAC file that keeps a WAV file's chunks; of others
    the tags.

    Raises FileMissing, NotAFile, NoPermission, NotAudio.
    """
    try:
        chunks = metadata_chunks(path)
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


def metadata_chunks(path: Path) -> tuple[Chunk, ...]:
    """The chunks of a WAVE file, or those a FLAC file keeps, but the audio, its format and what is too large
    to be loaded. Raises NotAFile, OSError.
    """
    layout = read_layout(path)
    if layout is None:
        return read_kept_chunks(path)
    return tuple(
        Chunk(place.id, read_chunk(path, place))
        for place in layout.chunks
        if place.id not in (*_OF_THE_AUDIO, *_FILLERS) and place.present_bytes <= LARGEST_CARRIED_BYTES
    )


def _read(chunks: tuple[Chunk, ...], channels: int, tags: dict[str, str]) -> Carried:
    first = {chunk.id: chunk.data for chunk in reversed(chunks)}
    adtl = next((chunk.data for chunk in chunks if chunk.data[:4] == b"adtl"), b"")
    return Carried(
        bext=parse_bext(first[b"bext"]) if b"bext" in first else None,
        ixml=first.get(b"iXML"),
        cues=parse_cues(first.get(b"cue ", b""), adtl),
        loops=first.get(b"smpl"),
        others=tuple(chunk for chunk in chunks if chunk.id not in _LEFT and chunk.data[:4] != b"adtl"),
        channels=channels,
        tags=tags,
    )


def same_chunks(left: Sequence[Chunk], right: Sequence[Chunk]) -> bool:
    """Whether both are the same but for the filler of a chunk of odd size."""
    return [_unfilled(chunk) for chunk in left] == [_unfilled(chunk) for chunk in right]


def fates(before: Sequence[Chunk], after: Sequence[Chunk]) -> dict[str, Fate]:
    """What became of each kind of chunk; lists by their type too: "LIST INFO"."""
    old, new = _by_kind(before), _by_kind(after)
    found: dict[str, Fate] = {}
    for kind in (*old, *(kind for kind in new if kind not in old)):
        if kind not in new:
            found[kind] = "left behind"
        elif kind not in old:
            found[kind] = "added"
        else:
            found[kind] = "same" if same_chunks(old[kind], new[kind]) else "changed"
    return found


def _by_kind(chunks: Sequence[Chunk]) -> dict[str, list[Chunk]]:
    kinds: dict[str, list[Chunk]] = {}
    for chunk in chunks:
        name = chunk.id + (b" " + chunk.data[:4] if chunk.id == b"LIST" else b"")
        kinds.setdefault(name.decode("ascii", "replace").strip(), []).append(chunk)
    return kinds


def _unfilled(chunk: Chunk) -> tuple[bytes, bytes]:
    filled = chunk.data[-1:] in (b"\0", b"\n") and len(chunk.data) % 2 == 0
    return chunk.id, chunk.data[:-1] if filled else chunk.data


def shared(recordings: Sequence[Carried]) -> Carried:
    """What a file of all of them can say: the chunks and tags that are the same in all, the texts of bext
    likewise, and the first one's date.
    """
    first, *rest = recordings
    told = [carried.bext for carried in recordings]
    bext = first.bext
    for other in told[1:]:
        if bext is not None and other is not None:
            differing = {name: "" for name in _TEXTS if getattr(bext, name) != getattr(other, name)}
            bext = replace(bext, **differing)
    return Carried(
        bext=None if None in told else bext,
        others=tuple(
            chunk
            for chunk in first.others
            if chunk.id not in _OF_ALL_CHANNELS and all(chunk in carried.others for carried in rest)
        ),
        tags={
            tag: text
            for tag, text in first.tags.items()
            if all(carried.tags.get(tag) == text for carried in rest)
        },
    )


def retimed_chunks(
    carried: Carried,
    *,
    channels: Sequence[int],
    names: Sequence[str] = (),
    rate_hz: int,
    wanted_hz: int,
    later_samples: float,
    frames: int,
    bits: int,
    time_reference: int,
    stretch: float = 1.0,
    family: Family | None = None,
    markers: Sequence[CuePoint] = (),
) -> tuple[Chunk, ...]:
    """Everything but the bext, for a file that holds channels of the recording.

    Parameters
    ----------
    channels : 0-based, of the recording, in the new file's order.
    names : of the new file's tracks, where it has several.
    rate_hz, wanted_hz : the recording's rate and the new file's.
    later_samples : where the recording's first sample lies in the new file, at `wanted_hz`.
    frames, bits, time_reference : of the new file.
    stretch : how much longer the content lasts in the new file: not 1 where drift was taken out.
    family : the files it is delivered with.
    markers : more marks, where they lie in the new file; they are numbered after those of the recording.
    """
    chunks: list[Chunk] = []
    told = carried.ixml or (NEW_IXML if names else None)
    if told is not None:
        ixml = retimed_ixml(
            told,
            time_reference=time_reference,
            rate_hz=wanted_hz,
            bits=bits,
            channels=channels,
            names=names,
            family=family,
        )
        if ixml is not None:
            chunks.append(Chunk(b"iXML", ixml))
    whole = list(channels) == list(range(carried.channels))
    chunks += [chunk for chunk in carried.others if whole or chunk.id not in _OF_ALL_CHANNELS]
    if carried.loops is not None:
        loops = moved_loops(carried.loops, later_samples, stretch * wanted_hz / rate_hz, wanted_hz, frames)
        if loops is not None:
            chunks.append(Chunk(b"smpl", loops))
    cues = moved_cues(carried.cues, later_samples, rate_hz, wanted_hz, frames, stretch)
    taken = max((point.id for point in cues), default=0)
    chunks += pack_cues((*cues, *(renumbered(point, taken + point.id) for point in markers)))
    return tuple(chunks)
