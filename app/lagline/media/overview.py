"""Overviews and health of recordings: built in one pass over the file, kept in the cache."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
from msgspec import Struct

from lagline.errors import Cancelled, MediaError
from lagline.files import changed_ns, is_file
from lagline.media import overview_file
from lagline.media.cache import OVERVIEW_SUFFIX, cached_path, mark_used, trim
from lagline.media.clip import Clip
from lagline.media.decoder import BLOCK_FRAMES, DECODING_ERRORS, Decoder, open_sound, silence_broken
from lagline.media.extremes import FloatArray, bin_extremes
from lagline.media.health import Health
from lagline.media.meter import ChannelMeter
from lagline.media.probe import RecordingInfo, probe
from lagline.media.pyramid import BIN_SAMPLES, Overview, bin_samples_for
from lagline.spread import spread

__all__ = ["BIN_SAMPLES", "FileOverview", "Overview", "build_all", "build_overviews", "is_cached"]

_log = logging.getLogger(__name__)

# Decoded at a time, over all channels: with less, reading threads wait for each other.
_PASS_SAMPLES = 1 << 19
_REPORT_SAMPLES = 1 << 22  # between two calls of `progress`
_SMALLEST_BLOCK = 1 << 13

Progress = Callable[[float, tuple[Overview, ...]], None]
Extremes = tuple[FloatArray, FloatArray]  # lowest and highest of bins


class FileOverview(Struct, frozen=True):
    """What one pass over a recording gives; one overview and one health a channel."""

    info: RecordingInfo
    overviews: tuple[Overview, ...]
    health: tuple[Health, ...]


def build_overviews(
    path: Path | str,
    *,
    info: RecordingInfo | None = None,
    progress: Progress = lambda _fraction, _overviews: None,
    cancelled: Callable[[], bool] = lambda: False,
    use_cache: bool = True,
) -> FileOverview:
    """Overview and health of every channel of a recording, from the cache if it is there.

    `progress` is called from this thread with the fraction done and the overviews, which are filled
    while the file is read: the same objects every time, so they can be drawn as they grow. The first
    call comes before the first block. When `cancelled` answers True the work stops.

    A cache that cannot be written is logged and does no other harm.

    Raises
    ------
    Cancelled
    FileMissing, NotAFile, NoPermission, NotAudio, EmptyRecording
    """
    info = info or probe(path)
    cache_file = cached_path(info.path, info.size_bytes, info.changed_ns, OVERVIEW_SUFFIX)
    if use_cache and (loaded := overview_file.load(cache_file, info.frames, info.channels)):
        mark_used(cache_file)
        progress(1.0, loaded[0])
        return FileOverview(info, *loaded)
    built = _read_through(info, progress, cancelled)
    if use_cache:
        try:
            overview_file.save(cache_file, info.frames, built.overviews, built.health)
            trim(cache_file)
        except OSError as error:
            _log.warning("The overview of %s could not be kept: %s", info.path.name, error)
    return built


def is_cached(path: Path) -> bool:
    """Whether `build_overviews` will have the overview of this recording at once, or nearly: that the cache
    is whole is only found on reading it. False, too, where there is no recording; raises nothing."""
    try:
        status = path.stat()
    except (OSError, ValueError):  # ValueError: a NUL in the name
        return False
    return is_file(cached_path(path, status.st_size, changed_ns(status), OVERVIEW_SUFFIX))


def build_all(
    paths: Iterable[Path],
    *,
    progress: Callable[[Path, float, tuple[Overview, ...]], None] = lambda _path, _fraction, _overviews: None,
    cancelled: Callable[[], bool] = lambda: False,
    threads: int = 2,
) -> dict[Path, FileOverview | MediaError]:
    """`build_overviews` for several files, `threads` at a time; one bad file does not stop the rest.

    `progress` is called from the working threads. Raises Cancelled.
    """

    def build(path: Path) -> FileOverview | MediaError:
        try:
            return build_overviews(
                path,
                progress=lambda fraction, overviews: progress(path, fraction, overviews),
                cancelled=cancelled,
            )
        except MediaError as error:
            return error

    wanted = list(dict.fromkeys(paths))
    return dict(zip(wanted, spread(build, wanted, threads=threads), strict=True))


def _read_through(info: RecordingInfo, progress: Progress, cancelled: Callable[[], bool]) -> FileOverview:
    bin_samples = bin_samples_for(info.frames)
    overviews = tuple(Overview(info.frames, bin_samples) for _ in range(info.channels))
    meters = tuple(ChannelMeter(info, bin_samples) for _ in range(info.channels))
    block_frames = max(_SMALLEST_BLOCK, _PASS_SAMPLES // info.channels // _SMALLEST_BLOCK * _SMALLEST_BLOCK)
    report_frames = max(block_frames, _REPORT_SAMPLES // info.channels)
    progress(0.0, overviews)
    done, reported = 0, 0
    waiting: list[list[Extremes]] = [[] for _ in overviews]  # of each channel, not in its overview yet

    def fill() -> None:
        for overview, bins in zip(overviews, waiting, strict=True):
            if bins:
                lows, highs = zip(*bins, strict=True)
                overview.fill(np.concatenate(lows), np.concatenate(highs))
                bins.clear()

    damage: dict[int, int] = {}
    for block in _blocks(info, block_frames, damage):
        if cancelled():
            raise Cancelled
        broken = _silence_broken(block, info)
        for channel, meter in enumerate(meters):
            samples = np.ascontiguousarray(block[:, channel])
            lows, highs = bin_extremes(samples, bin_samples)
            waiting[channel].append((lows, highs))
            meter.add(samples, lows, highs, broken[channel])
        done += len(block)
        if done - reported >= report_frames:
            fill()
            progress(done / info.frames, overviews)
            reported = done
    fill()
    health = tuple(
        meter.health(overview, Clip(info.path, channel, info=info).read, damage)
        for channel, (meter, overview) in enumerate(zip(meters, overviews, strict=True))
    )
    progress(1.0, overviews)
    return FileOverview(info, overviews, health)


def _blocks(info: RecordingInfo, block_frames: int, damage: dict[int, int]) -> Iterable[FloatArray]:
    """The recording from start to `info.frames`: shape (frames, channels), at most `block_frames` at once.

    Where decoding fails the rest is read through a `Decoder`, which carries on behind the damage with
    silence in its place; `damage` then says where, as `Decoder.damage` does.
    """
    buffer = np.empty((block_frames, info.channels), np.float32)
    done = 0
    try:
        with open_sound(info.path) as sound:
            while done < info.frames:
                block = buffer[: min(block_frames, info.frames - done)]
                block[sound.read_into(block) :] = 0.0
                yield block
                done += len(block)
    except DECODING_ERRORS:
        decoder = Decoder(info.path)
        while done < info.frames:
            number, skip = divmod(done, BLOCK_FRAMES)
            stop = min(skip + block_frames, BLOCK_FRAMES, skip + info.frames - done)
            block = np.array(decoder.block(number)[:, skip:stop].T)
            yield block
            done += len(block)
        damage.update(decoder.damage)


def _silence_broken(block: FloatArray, info: RecordingInfo) -> list[int]:
    """Put silence where samples have no valid value; how many there were in each channel."""
    if not info.is_float:
        return [0] * info.channels
    broken = silence_broken(block)
    if broken is None:
        return [0] * info.channels
    return [int(count) for count in broken.sum(axis=0)]
