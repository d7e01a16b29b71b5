"""A file of a delivery, opened again: is it what the list says, and does it hold its recording as moved?"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import soundfile
from msgspec import Struct
from msgspec.structs import replace

from lagline.deliver.delivered import Checked, DeliveredFile
from lagline.deliver.null import LEFT_DB, Made, blend_left_db, copies, left_db
from lagline.errors import CannotWrite
from lagline.files import for_libsndfile
from lagline.media.carry import fates, metadata_chunks, same_chunks
from lagline.media.clip import Clip
from lagline.media.probe import probe
from lagline.media.riff import Chunk
from lagline.media.write import BITS


class Part(Struct, frozen=True):
    """A lane of a blend: its recording, where it lies in the file, and how loud in each channel."""

    recording: Clip
    begins_samples: float  # at the file's rate
    polarity: int
    drift_ppm: float
    gains: tuple[float, ...]


class Compared(Struct, frozen=True):
    """A channel of a file, held against its recording.

    left_db : see `null`; None for a copy, bit for bit, and where there is nothing to compare.
    problem : a sentence, where that is too much. Samples held at full scale differ on purpose.
    """

    left_db: float | None = None
    problem: str | None = None


def certified(
    file: DeliveredFile,
    path: Path,
    recordings: Sequence[Clip],
    session_rate_hz: int,
    *,
    time_reference: int,
    chunks: Sequence[Chunk],
    parts: Sequence[Part] = (),
) -> DeliveredFile:
    """The file as read back from `path`, with what was checked and what is left of each lane when its
    recording is taken away. `parts` : of a blend.

    Loudness and true peak were measured on the samples that went into the file; `write_audio` read those
    back, so they hold for it. Raises CannotWrite when it is not as it was meant to be.
    """
    try:
        problems = [*header_problems(file, path), *stamp_problems(path, time_reference)]
        there = metadata_chunks(path)
        found = compared(file, path, recordings, session_rate_hz)
        left = _blend_left_db(file, path, parts, session_rate_hz)
        sources = {recording.path for recording in recordings}
        before = metadata_chunks(sources.pop()) if len(sources) == 1 else ()
    except (OSError, soundfile.LibsndfileError) as error:
        raise CannotWrite(path, "it can't be read back") from error
    problems += [one.problem for one in found if one.problem]
    if left is not None and left > LEFT_DB and not file.clipped_samples:
        problems.append(f"it does not hold its lanes as blended: {left:.0f} dB are left of them")
    problems += [] if same_chunks(there, chunks) else ["its metadata is not what was written"]
    if problems:
        raise CannotWrite(path, "; ".join(problems))
    checked: list[Checked] = ["format", "stamp", "metadata"]
    # A lane that had to be clipped is delivered, and said to be; but it does not hold its recording.
    lefts = [left, *(one.left_db for one in found)]
    holds = all(one is None or one <= LEFT_DB for one in lefts)
    checked += ["samples"] if holds and (recordings or parts) else []
    checked += ["levels"] if file.true_peak_dbtp is not None else []
    file = replace(file, checked=tuple(checked), metadata=fates(before, there) if before else {})
    if not recordings:
        return replace(file, left_db=left)
    if not file.channels:
        return replace(file, left_db=found[0].left_db)
    held = [replace(lane, left_db=one.left_db) for lane, one in zip(file.channels, found, strict=True)]
    return replace(file, channels=tuple(held))


def _blend_left_db(
    file: DeliveredFile, path: Path, parts: Sequence[Part], session_rate_hz: int
) -> float | None:
    found = [
        (
            part.recording,
            Made(part.begins_samples, part.polarity, part.drift_ppm, _noise(file), session_rate_hz),
            part.gains,
        )
        for part in parts
    ]
    return blend_left_db(path, found) if found else None


def stamp_problems(path: Path, time_reference: int) -> list[str]:
    """What differs in the time stamp. Raises MediaError."""
    stamp = probe(path).time_reference or 0
    return [] if stamp == time_reference else [f"its time stamp is {stamp}, not {time_reference}"]


def header_problems(file: DeliveredFile, path: Path) -> tuple[str, ...]:
    """What differs in length, rate, sample format and, of lanes, the number of channels, as libsndfile reads
    it; soundfile's errors as words.
    """
    try:
        info = soundfile.info(for_libsndfile(path))
    except soundfile.LibsndfileError as error:
        return (f"it can't be read: {error.error_string}",)
    channels = len(file.held) or info.channels
    said = (file.frames, file.rate_hz, file.subtype, channels)
    found = (info.frames, info.samplerate, info.subtype, info.channels)
    names = ("length", "rate", "sample format", "number of channels")
    return tuple(
        f"its {name} is {now}, not {then}"
        for name, then, now in zip(names, said, found, strict=True)
        if then != now
    )


def compared(
    file: DeliveredFile, path: Path, recordings: Sequence[Clip | None], session_rate_hz: int
) -> tuple[Compared, ...]:
    """Every lane of a file held against its recording; those without one are not compared."""
    made = [
        Made(lane.begins_samples, lane.polarity, lane.drift_ppm, _noise(file), session_rate_hz)
        for lane in file.held
    ]
    wanted = [
        (channel, recording, made[channel])
        for channel, recording in enumerate(recordings)
        if recording is not None and file.held[channel].copied
    ]
    is_copy = dict(zip([one[0] for one in wanted], copies(path, wanted), strict=True)) if wanted else {}
    found = []
    for channel, (lane, recording) in enumerate(zip(file.held, recordings, strict=True)):
        if recording is None:
            found.append(Compared())
            continue
        it = f"channel {channel + 1} ({lane.lane})" if file.channels else "it"
        if lane.copied:
            problem = None if is_copy[channel] else f"{it} is no longer a copy of its recording"
            found.append(Compared(None, problem))
            continue
        left = left_db(path, recording, made[channel], channel)
        if left is None or left <= LEFT_DB or file.clipped_samples:
            found.append(Compared(left))
        else:
            words = f"{it} does not hold its recording as moved: {left:.0f} dB are left of it"
            found.append(Compared(left, words))
    return tuple(found)


def _noise(file: DeliveredFile) -> float:
    """Power that triangular dither and rounding add to a sample."""
    bits = BITS.get(file.subtype)
    return 0.0 if bits is None or file.subtype == "FLOAT" else 0.25 * 4.0 ** (1 - bits)
