"""What a recording is, from its header: rate, length, sample format, time stamp.

Nothing is decoded except at the end of the file, to learn whether it was cut off.
"""

from __future__ import annotations

import math
import os
from pathlib import Path

import numpy as np
import soundfile
from msgspec import Struct

from lagline.errors import EmptyRecording, FileMissing, NoPermission, NotAudio
from lagline.files import changed_ns
from lagline.media.bext import Bext, parse_bext
from lagline.media.decoder import DECODING_ERRORS, Sound, open_sound
from lagline.media.flac_blocks import read_kept_chunks
from lagline.media.regular import open_regular
from lagline.media.riff import RiffLayout, read_chunk, read_layout

# Extensions that are worth a try when a folder is searched; any file named outright is tried anyway.
AUDIO_SUFFIXES = frozenset({
    ".wav", ".wave", ".bwf", ".rf64", ".bw64", ".w64", ".aif", ".aiff", ".aifc", ".flac", ".caf",
    ".au", ".snd", ".ogg", ".oga", ".opus", ".mp3",
})  # fmt: skip
_BITS = {
    "PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32, "FLOAT": 32, "DOUBLE": 64,
    "ALAC_16": 16, "ALAC_20": 20, "ALAC_24": 24, "ALAC_32": 32,
}  # fmt: skip
_COUNTING_FRAMES = 4096
_UNKNOWN_FRAMES = 1 << 62  # libsndfile's claim for a stream that was written without its length


class RecordingInfo(Struct, frozen=True):
    """A recording's header, and what is wrong with the file as far as that shows without decoding it."""

    path: Path  # absolute
    format: str  # libsndfile's name: WAV, RF64, FLAC, ...; BW64 for those
    subtype: str  # libsndfile's name of the sample format: PCM_24, FLOAT, ...
    rate_hz: int
    channels: int
    frames: int  # that can be read
    size_bytes: int
    changed_ns: int  # see files.changed_ns
    bext: Bext | None = None
    warning: str | None = None  # a sentence with what to do, when only part of it can be read

    @property
    def duration_s(self) -> float:
        """Length in seconds at the file's own rate."""
        return self.frames / self.rate_hz

    @property
    def bits(self) -> int | None:
        """Bits a sample as stored; None for lossy and companded formats."""
        return _BITS.get(self.subtype)

    @property
    def is_float(self) -> bool:
        """Whether samples are stored as floats, which can go over full scale."""
        return self.subtype in ("FLOAT", "DOUBLE")

    @property
    def time_reference(self) -> int | None:
        """Samples since midnight at the file's rate; None without a stamp.

        A stamp of 0 counts as none: many writers leave the field empty, and no take worth the name
        starts at the stroke of midnight on every lane.
        """
        return self.bext.time_reference or None if self.bext else None


def probe(path: Path | str) -> RecordingInfo:
    """Read a recording's header.

    A file that was cut off gives the length that can be read, and a `warning`.

    Raises
    ------
    FileMissing, NotAFile, NoPermission, NotAudio, EmptyRecording
    """
    path = Path(path).absolute()
    size_bytes, changed = _look(path)
    layout = _layout(path)
    try:
        with open_sound(path, layout) as sound:
            claimed, rate_hz, channels = sound.frames, sound.samplerate, sound.channels
            file_format, subtype = sound.format, sound.subtype
            whole = claimed == 0 or _ends_well(sound)
    except soundfile.LibsndfileError as error:
        raise NotAudio(path, _reason(path, layout, error)) from error
    except OSError as error:
        raise NotAudio(path, error.strerror or "the disk does not answer") from error
    frames = claimed if whole else _count(path)
    if frames <= 0 or rate_hz <= 0:
        raise EmptyRecording(path)
    missing = claimed - frames or _frames_cut_off(path, layout, size_bytes, claimed)
    if claimed >= _UNKNOWN_FRAMES:
        missing = 0
    return RecordingInfo(
        path=path,
        format=file_format,
        subtype=subtype,
        rate_hz=rate_hz,
        channels=channels,
        frames=frames,
        size_bytes=size_bytes,
        changed_ns=changed,
        bext=_bext(path, layout),
        warning=_cut_off(path, frames, missing, rate_hz) if missing else _unfinished(path, layout),
    )


def _look(path: Path) -> tuple[int, int]:
    """Size in bytes and time of the last change in ns; raises as `probe` for what is no recording."""
    try:
        with open_regular(path) as file:
            status = os.fstat(file.fileno())
    except FileNotFoundError as error:
        raise FileMissing(path) from error
    except NotADirectoryError as error:
        raise FileMissing(path) from error
    except PermissionError as error:
        raise NoPermission(path) from error
    except OSError as error:
        raise NotAudio(path, error.strerror or "the disk does not answer") from error
    if status.st_size == 0:
        raise EmptyRecording(path)
    return status.st_size, changed_ns(status)


def _layout(path: Path) -> RiffLayout | None:
    try:
        return read_layout(path)
    except OSError as error:
        raise NotAudio(path, error.strerror or "the disk does not answer") from error


def _reason(path: Path, layout: RiffLayout | None, error: soundfile.LibsndfileError) -> str:
    if layout is not None:
        if layout.first(b"fmt ") is None or layout.first(b"data") is None:
            return "a WAV file that was never finished: its header is incomplete"
        return "a WAV file in a sample format that is not supported"
    if path.suffix.lower() in AUDIO_SUFFIXES:
        return "damaged, cut off, or not what its name says"
    return error.error_string.strip(" .:") or "not an audio format"


def _ends_well(sound: Sound) -> bool:
    """Whether the last frame the header promises is there."""
    try:
        sound.seek(sound.frames - 1)
        return sound.read_into(np.empty((1, sound.channels), np.float32)) == 1
    except DECODING_ERRORS:
        return False


def _count(path: Path) -> int:
    """Frames that can really be read, by reading them; only done for a file that was cut off."""
    frames = 0
    with open_sound(path) as sound:
        piece = np.empty((_COUNTING_FRAMES, sound.channels), np.float32)
        try:
            while read := sound.read_into(piece):
                frames += read
        except DECODING_ERRORS:
            return frames
    return frames


def _frames_cut_off(path: Path, layout: RiffLayout | None, size_bytes: int, frames: int) -> int:
    """Frames the container promises beyond the end of the file; libsndfile passes over this in silence."""
    if layout is not None:
        data = layout.first(b"data")
        if data is None or data.claimed_bytes <= data.present_bytes or data.present_bytes == 0:
            return 0
        return math.ceil(frames * (data.claimed_bytes - data.present_bytes) / data.present_bytes)
    with open_regular(path) as file:
        head = file.read(24)
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        promised = 8 + int.from_bytes(head[4:8], "big")
    elif head[:4] == b"riff":  # W64: a 16-byte id, then the size of the whole file
        promised = int.from_bytes(head[16:24], "little")
    else:
        return 0
    return math.ceil(frames * (promised - size_bytes) / size_bytes) if promised > size_bytes else 0


def _cut_off(path: Path, frames: int, missing: int, rate_hz: int) -> str:
    return (
        f"{path.name} was cut off: {frames / rate_hz:.2f} s can be read, about {missing / rate_hz:.2f} s "
        f"are missing at the end. Copy it again from the recorder if you can; what is there can be used."
    )


def _unfinished(path: Path, layout: RiffLayout | None) -> str | None:
    data = layout.first(b"data") if layout else None
    if data is None or data.claimed_bytes >= data.present_bytes:
        return None
    return (
        f"{path.name} was never closed by what recorded it, so its header tells no length; it is read to its "
        f"end. Listen to how it ends, and save it again from an editor."
    )


def _bext(path: Path, layout: RiffLayout | None) -> Bext | None:
    if layout is None:
        kept = [chunk.data for chunk in read_kept_chunks(path) if chunk.id == b"bext"]
        return parse_bext(kept[0]) if kept else None
    place = layout.first(b"bext")
    return parse_bext(read_chunk(path, place)) if place else None
