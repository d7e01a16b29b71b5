"""Audio files out: whole or not at all, never over a source.

WAV (RF64 above 4 GiB) is written here byte by byte, because soundfile has no way to carry chunks and
puts a time of day into float files; FLAC goes through soundfile as whole numbers.
"""

from __future__ import annotations

import errno
import hashlib
import shutil
import struct
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import BinaryIO, Literal

import numpy as np
import numpy.typing as npt
import soundfile
from msgspec import Struct

from lagline.errors import CannotWrite, WouldOverwrite
from lagline.files import for_libsndfile, is_there, whole_or_nothing
from lagline.media.flac_blocks import keep_wave_head
from lagline.media.quantise import pcm_bytes, quantised
from lagline.media.riff import LARGEST_RIFF_BYTES, SEE_DS64, Chunk, packed

BITS = {"PCM_16": 16, "PCM_24": 24, "FLOAT": 32}
SUFFIXES = {"WAV": ".wav", "FLAC": ".flac"}
_PCM, _IEEE_FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_GUID_TAIL = bytes.fromhex("000000001000800000aa00389b71")  # of KSDATAFORMAT_SUBTYPE_*, after the format tag
_HASH_PIECE_BYTES = 1 << 20
_CHECKED_FRAMES = 1 << 16

Samples = npt.NDArray[np.floating]
FloatArray = npt.NDArray[np.float32]
Chunks = Sequence[Chunk] | Callable[[], Sequence[Chunk]]


class Written(Struct, frozen=True):
    """A file that was written."""

    path: Path
    frames: int
    size_bytes: int
    sha256: str
    clipped_samples: int = 0  # that did not fit the format and were held at full scale


def write_audio(
    path: Path,
    blocks: Iterable[Samples],
    rate_hz: int,
    channels: int,
    subtype: str = "PCM_24",
    *,
    frames: int,
    file_format: str = "WAV",
    dither_seed: int | None = None,
    dithered: Sequence[bool] = (),
    speakers: int | None = None,
    chunks: Chunks = (),
    tags: Mapping[str, str] | None = None,
    measure: Callable[[FloatArray], None] | None = None,
    sources: Iterable[Path] = (),
    overwrite: bool = False,
) -> Written:
    """Write audio to a temporary file beside `path`, read it back, and move it there when it is on the disk.

    Parameters
    ----------
    path : the file to make; its folder is made if need be.
    blocks : float arrays, shape (n, channels) or (n,) for one channel, full scale 1.0; together `frames`.
    subtype : "PCM_16", "PCM_24" (rounded, see `quantise`) or "FLOAT" (32-bit, as it is).
    file_format : "WAV", which becomes RF64 (EBU Tech 3306) above 4 GiB, or "FLAC".
    dither_seed : a number for triangular dither, the same for the same noise; None for rounding only.
    dithered : which channels get it; empty for all.
    speakers : positions of the channels, see `speakers`; None where the number of channels says enough.
    chunks : put between the format and the audio of a WAV file; kept in a FLAC file, see `flac_blocks`.
        Where they tell of the audio itself (its loudness), a function that gives them: it is asked before
        the first block and again after the last one, and may change what they say but not their sizes.
    tags : texts of a FLAC file by libsndfile's names; WAV has chunks for them.
    measure : is given every block as the file holds it: rounded, dithered, held at full scale.
    sources : files that must never be written over, whatever `overwrite` says.

    Raises
    ------
    WouldOverwrite
        A source lies at `path`, or any file with `overwrite` False.
    CannotWrite
        No space, no permission, ...; whatever was there before is still there.
    ValueError
        The blocks do not add up to `frames`, or an unknown format. Nothing is left behind either.
    """
    if subtype not in BITS or file_format not in SUFFIXES or (file_format, subtype) == ("FLAC", "FLOAT"):
        raise ValueError(f"{subtype} in {file_format} is not written here")
    keep_off(path, sources, overwrite)
    stream = _Stream(blocks, channels, subtype, dither_seed, dithered, measure)
    shape = _format_chunk(rate_hz, channels, subtype, speakers)

    def head() -> bytes:
        return _wav_head(shape, channels, subtype, frames, chunks() if callable(chunks) else chunks)

    if file_format == "FLAC":
        return _whole_or_not_at_all(
            path, 0, lambda part: _write_flac(part, stream, head, rate_hz, frames, tags or {})
        )
    needed = len(head()) + frames * channels * BITS[subtype] // 8 + 1
    return _whole_or_not_at_all(path, needed, lambda part: _write_wav(part, stream, head, frames))


def write_file(
    path: Path,
    fill: Callable[[BinaryIO], object],
    *,
    sources: Iterable[Path] = (),
    overwrite: bool = False,
) -> Written:
    """Write a file that is no audio (a sheet, a report) with the same care. Raises WouldOverwrite,
    CannotWrite.
    """
    keep_off(path, sources, overwrite)

    def write(part: Path) -> tuple[int, int, str]:
        with open_to_write(part) as file:
            fill(file)
        return 0, 0, sha256_of(part)

    return _whole_or_not_at_all(path, 0, write)


def write_bytes(path: Path, data: bytes, *, sources: Iterable[Path] = (), overwrite: bool = False) -> Written:
    """`write_file` of these bytes."""
    return write_file(path, lambda file: file.write(data), sources=sources, overwrite=overwrite)


def keep_off(path: Path, sources: Iterable[Path], overwrite: bool) -> None:
    """Raise WouldOverwrite if a source lies at `path`, or anything does and `overwrite` is False."""
    if not is_there(path):
        return
    for source in sources:
        if is_there(source) and source.samefile(path):
            raise WouldOverwrite(path, "one of the take's own recordings")
    if not overwrite or not path.is_file():
        raise WouldOverwrite(path, replaceable=path.is_file())


def open_to_write(path: Path) -> BinaryIO:
    """Open a file that is empty yet. One place, so that tests can let the disk run full."""
    return path.open("wb")


def _whole_or_not_at_all(
    path: Path, needed_bytes: int, write: Callable[[Path], tuple[int, int, str]]
) -> Written:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        free = shutil.disk_usage(path.parent).free
        if free < needed_bytes:
            reason = f"{needed_bytes / 1e6:.0f} MB are needed, {free / 1e6:.0f} MB are free"
            raise OSError(errno.ENOSPC, reason)
        with whole_or_nothing(path) as part:
            frames, clipped, sha256 = write(part)
            size_bytes = part.stat().st_size
    except soundfile.LibsndfileError as error:
        raise CannotWrite(path, error.error_string) from error
    except OSError as error:
        raise CannotWrite(path, error) from error
    return Written(path, frames, size_bytes, sha256, clipped)


class _Stream:
    """Blocks as bytes or whole numbers, counted."""

    def __init__(
        self,
        blocks: Iterable[Samples],
        channels: int,
        subtype: str,
        seed: int | None,
        dithered: Sequence[bool],
        measure: Callable[[FloatArray], None] | None,
    ) -> None:
        self._blocks = blocks
        self._subtype = subtype
        self._dither = None if seed is None else np.random.default_rng(seed)
        self._dithered = np.array(dithered, bool) if dithered else True
        self._measure = measure
        self.channels = channels
        self.subtype = subtype
        self.frames = 0
        self.clipped = 0
        self.written = hashlib.blake2b()  # of the samples as libsndfile gives them: floats, or 32 bits

    def floats(self) -> Iterator[Samples]:
        for block in self._blocks:
            samples = block.reshape(len(block), -1)
            if samples.shape[1] != self.channels:
                raise ValueError(f"{self.channels} channels were promised, {samples.shape[1]} came")
            self.frames += len(samples)
            yield samples

    def whole(self) -> Iterator[npt.NDArray[np.int32]]:
        for samples in self.floats():
            numbers, clipped = quantised(samples, BITS[self.subtype], self._dither, self._dithered)
            self.clipped += clipped
            if self._measure is not None:
                self._measure(np.multiply(numbers, 2.0 ** (1 - BITS[self.subtype]), dtype=np.float32))
            self.written.update(np.left_shift(numbers, 32 - BITS[self.subtype]).tobytes())
            yield numbers

    def pieces(self) -> Iterator[bytes]:
        if self.subtype == "FLOAT":
            for samples in self.floats():
                written = samples.astype("<f4")
                if self._measure is not None:
                    self._measure(written)
                piece = written.tobytes()
                self.written.update(piece)
                yield piece
        else:
            for numbers in self.whole():
                yield pcm_bytes(numbers, BITS[self.subtype])

    def check(self, frames: int) -> None:
        if self.frames != frames:
            raise ValueError(f"{frames} frames were promised, {self.frames} came")


def _write_wav(part: Path, stream: _Stream, head: Callable[[], bytes], frames: int) -> tuple[int, int, str]:
    first_head = head()
    data_bytes = 0
    with open_to_write(part) as file:
        file.write(first_head)
        for piece in stream.pieces():
            file.write(piece)
            data_bytes += len(piece)
        stream.check(frames)
        if data_bytes % 2:
            file.write(b"\0")
        last_head = head()
        if len(last_head) != len(first_head):
            raise ValueError("the chunks changed their sizes while the audio was written")
        if last_head != first_head:
            file.seek(0)
            file.write(last_head)
    _check_samples(part, stream)
    return stream.frames, stream.clipped, sha256_of(part)


def sha256_of(path: Path) -> str:
    """The checksum of a file's bytes, 64 hexadecimal digits. Raises OSError."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(_HASH_PIECE_BYTES):
            digest.update(piece)
    return digest.hexdigest()


def _wav_head(shape: Chunk, channels: int, subtype: str, frames: int, chunks: Sequence[Chunk]) -> bytes:
    """Everything before the samples, with the right sizes: RIFF, or RF64 with ds64 when that is too large."""
    frame_bytes = channels * BITS[subtype] // 8
    data_bytes = frames * frame_bytes
    before = [shape]
    if subtype == "FLOAT":
        before.append(Chunk(b"fact", struct.pack("<I", min(frames, SEE_DS64))))
    middle = b"".join(packed(_even(chunk)) for chunk in (*before, *chunks))
    after_id = 4 + len(middle) + 8 + data_bytes + data_bytes % 2  # from "WAVE" to the end
    if after_id <= LARGEST_RIFF_BYTES:
        return (
            struct.pack("<4sI4s", b"RIFF", after_id, b"WAVE")
            + middle
            + struct.pack("<4sI", b"data", data_bytes)
        )
    ds64 = struct.pack("<QQQI", after_id + 36, data_bytes, frames, 0)
    return (
        struct.pack("<4sI4s", b"RF64", SEE_DS64, b"WAVE")
        + packed(Chunk(b"ds64", ds64))
        + middle
        + struct.pack("<4sI", b"data", SEE_DS64)
    )


def _even(chunk: Chunk) -> Chunk:
    """The chunk with even size. In RF64 libsndfile 1.2.2 loses its way behind a chunk of odd size."""
    filler = b"\n" if chunk.id == b"iXML" else b"\0"
    return Chunk(chunk.id, chunk.data + filler) if len(chunk.data) % 2 else chunk


def _format_chunk(rate_hz: int, channels: int, subtype: str, speakers: int | None) -> Chunk:
    """WAVEFORMATEX for one or two channels of which nothing else is said, else WAVEFORMATEXTENSIBLE."""
    bits = BITS[subtype]
    tag = _IEEE_FLOAT if subtype == "FLOAT" else _PCM
    frame_bytes = channels * bits // 8
    extended = channels > 2 or speakers is not None
    shown_tag = _EXTENSIBLE if extended else tag
    fields = struct.pack("<HHIIHH", shown_tag, channels, rate_hz, rate_hz * frame_bytes, frame_bytes, bits)
    if extended:
        fields += struct.pack("<HHIH", 22, bits, speakers or 0, tag) + _GUID_TAIL
    elif subtype == "FLOAT":
        fields += struct.pack("<H", 0)
    return Chunk(b"fmt ", fields)


def _write_flac(
    part: Path,
    stream: _Stream,
    head: Callable[[], bytes],
    rate_hz: int,
    frames: int,
    tags: Mapping[str, str],
) -> tuple[int, int, str]:
    shift = 32 - BITS[stream.subtype]
    with soundfile.SoundFile(
        for_libsndfile(part), "w", rate_hz, stream.channels, stream.subtype, format="FLAC"
    ) as out:
        for tag, text in tags.items():
            setattr(out, tag, text)
        for numbers in stream.whole():
            try:
                out.write(np.left_shift(numbers, shift))
            except AssertionError as error:  # soundfile's word for a write that was cut short
                raise OSError(errno.EIO, "the disk did not take all of it") from error
    stream.check(frames)
    keep_wave_head(part, head())
    _check_samples(part, stream)
    return stream.frames, stream.clipped, sha256_of(part)


def _check_samples(part: Path, stream: _Stream) -> None:
    """Read the file back with libsndfile. It says nothing itself when the disk refuses the header that it
    writes last. Raises OSError, soundfile.LibsndfileError.
    """
    kind: Literal["float32", "int32"] = "float32" if stream.subtype == "FLOAT" else "int32"
    read = hashlib.blake2b()
    with soundfile.SoundFile(for_libsndfile(part)) as file:
        if file.frames == stream.frames:
            for block in file.blocks(_CHECKED_FRAMES, dtype=kind):
                read.update(block.tobytes())
    if read.digest() != stream.written.digest():
        raise OSError(errno.EIO, "it does not read back as it was written")
