"""What a recording is known again by, whatever its file is called: its length and samples out of it.

Of sample formats that lose nothing the decoded samples count, channel by channel, so that a copy in another
format, or with other texts in it, is the same recording. Where decoding is not the same everywhere (MP3,
Ogg, a damaged file) the file's bytes count.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

import numpy as np

from lagline.media.decoder import DECODING_ERRORS, open_sound
from lagline.media.probe import RecordingInfo
from lagline.media.regular import open_regular

BLOCKS, BLOCK_FRAMES = 16, 1 << 12  # looked at, evenly from the first frame to the last
_BLOCK_BYTES = 1 << 14
_SCHEME = "1"  # begins every fingerprint: another way to make them gets another
_LOSSY = frozenset({"VORBIS", "OPUS", "MPEG_LAYER_I", "MPEG_LAYER_II", "MPEG_LAYER_III"})


def fingerprints(info: RecordingInfo, *, complete: bool = False) -> tuple[str, ...]:
    """A text for each channel of a recording; equal for equal sounds of one rate and length.

    `complete` : made of every sample instead of a sixteenth of a million; not to be compared with the others.

    Raises OSError, MediaError when the file can't be read.
    """
    if info.subtype not in _LOSSY:
        try:
            return _of_samples(info, complete)
        except DECODING_ERRORS:
            pass
    return _of_bytes(info, complete)


def is_comparable(fingerprint: str) -> bool:
    """Whether it was made as `fingerprints` makes them now: not of an older session, or a later Lagline."""
    return fingerprint.startswith(f"{_SCHEME}-")


def _of_samples(info: RecordingInfo, complete: bool) -> tuple[str, ...]:
    facts = f"{info.rate_hz} {info.frames}".encode()
    digests = [hashlib.blake2b(facts, digest_size=16) for _ in range(info.channels)]
    with open_sound(info.path) as sound:
        for start, stop in _places(info.frames, BLOCK_FRAMES, complete):
            block = np.zeros((stop - start, info.channels), np.float32)
            sound.seek(start)
            sound.read_into(block)
            for digest, samples in zip(digests, block.T, strict=True):
                digest.update(samples.astype("<f4").tobytes())
    return tuple(f"{_SCHEME}-{digest.hexdigest()}" for digest in digests)


def _of_bytes(info: RecordingInfo, complete: bool) -> tuple[str, ...]:
    with open_regular(info.path) as file:
        size = file.seek(0, 2)
        digest = hashlib.blake2b(f"{info.rate_hz} {info.frames} {size}".encode(), digest_size=16)
        for start, stop in _places(size, _BLOCK_BYTES, complete):
            file.seek(start)
            digest.update(file.read(stop - start))
    return tuple(f"{_SCHEME}-{digest.hexdigest()}-{channel}" for channel in range(info.channels))


def _places(length: int, block: int, complete: bool) -> Iterator[tuple[int, int]]:
    """Starts and stops of what is looked at: all of it, or blocks spread evenly over it."""
    if complete or length <= BLOCKS * block:
        yield from ((start, min(start + block, length)) for start in range(0, length, block))
        return
    for number in range(BLOCKS):
        start = number * (length - block) // (BLOCKS - 1)
        yield start, start + block
