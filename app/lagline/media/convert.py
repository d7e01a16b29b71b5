"""A recording at another sample rate: converted once with soxr into the cache, then read from there."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import numpy as np
import soundfile
import soxr

from lagline.errors import CacheUnusable, Cancelled
from lagline.files import for_libsndfile, whole_or_nothing
from lagline.media.cache import CONVERTED_SUFFIX, cached_path, mark_used, trim
from lagline.media.decoder import BLOCK_FRAMES, Decoder, FloatArray
from lagline.media.probe import RecordingInfo
from lagline.units import frames_at

QUALITY = "VHQ"
_converting = threading.Lock()  # two clips of one file must not convert it twice


def converted(
    info: RecordingInfo,
    rate_hz: int,
    *,
    progress: Callable[[float], None] = lambda _: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> Path:
    """The recording at `rate_hz` as a 32-bit float file in the cache, converted now if it is not there.

    All channels; sample 0 stays sample 0; the length is `frames_at`. When `cancelled` answers True the
    work stops and lagline.errors.Cancelled is raised.

    Raises
    ------
    CacheUnusable
        The copy cannot be written: no space, no permission.
    """
    target = cached_path(info.path, info.size_bytes, info.changed_ns, f"-{rate_hz}{CONVERTED_SUFFIX}")
    frames = frames_at(info.frames, info.rate_hz, rate_hz)
    with _converting:
        if _is_whole(target, frames, info.channels):
            mark_used(target)
            return target
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            with whole_or_nothing(target, lasting=False) as part:
                _convert(info, rate_hz, frames, part, progress, cancelled)
        except (OSError, soundfile.LibsndfileError) as error:
            raise CacheUnusable(target.parent, str(error)) from error
        trim(target)
    return target


def _is_whole(path: Path, frames: int, channels: int) -> bool:
    try:
        found = soundfile.info(for_libsndfile(path))
    except (OSError, soundfile.LibsndfileError):
        return False
    return bool(found.frames == frames and found.channels == channels)


def resampled(
    blocks: Iterable[FloatArray], rate_hz: int, wanted_hz: int, channels: int, frames: int
) -> Iterator[FloatArray]:
    """A stream of blocks, shape (n, channels), at another rate; `frames` of them come out in all."""
    stream = soxr.ResampleStream(rate_hz, wanted_hz, channels, dtype="float32", quality=QUALITY)
    left = frames

    def part(block: FloatArray, last: bool) -> FloatArray:
        samples: FloatArray = stream.resample_chunk(np.ascontiguousarray(block, np.float32), last=last)
        return samples.reshape(-1, channels)[:left]

    for block in blocks:
        samples = part(block, last=False)
        left -= len(samples)
        yield samples
    samples = part(np.zeros((0, channels), np.float32), last=True)
    yield samples
    if left > len(samples):
        yield np.zeros((left - len(samples), channels), np.float32)


def _convert(
    info: RecordingInfo,
    rate_hz: int,
    frames: int,
    part: Path,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> None:
    source = Decoder(info.path)
    blocks = -(-info.frames // BLOCK_FRAMES)

    def read() -> Iterator[FloatArray]:
        for number in range(blocks):
            if cancelled():
                raise Cancelled
            yield source.block(number)[:, : info.frames - number * BLOCK_FRAMES].T
            progress((number + 1) / blocks)

    with soundfile.SoundFile(
        for_libsndfile(part), "w", samplerate=rate_hz, channels=info.channels, format="RF64", subtype="FLOAT"
    ) as out:
        for samples in resampled(read(), info.rate_hz, rate_hz, info.channels, frames):
            out.write(samples)
