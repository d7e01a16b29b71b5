"""What is left of a delivered lane when its recording, moved as the list says, is taken from it.

Not by the interpolation that made the file: both are turned into spectra at the same frequencies over the
same stretch of time (the chirp z-transform of Rabiner, Schafer and Rader, IEEE Trans. Audio Electroacoust.
17(2), 1969), which asks nothing of shift, rate or drift but that they are known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile
from msgspec import Struct
from scipy.signal import CZT  # type: ignore[attr-defined]  # not in its stubs

from lagline.files import for_libsndfile
from lagline.media.clip import Clip

STRETCHES, STRETCH_S = 8, 0.5  # looked at, evenly over what both hold
SHORTEST_S = 0.01  # below it a window's own spectrum reaches over what is compared
LOWEST_HZ, HIGHEST_SHARE = 20.0, 0.4  # of the lower sample rate: there every good converter is flat
LEFT_DB = -90.0  # more than this is left only where something is wrong: interpolation leaves -116 dB
FLOOR = 1e-15  # as a share of power: what 32-bit floats round away
_BINS = 2048
_BLOCK_FRAMES = 1 << 16

ComplexArray = npt.NDArray[np.complex128]
FloatArray = npt.NDArray[np.float64]


class Made(Struct, frozen=True):
    """How a file was made of one channel of a recording.

    begins_samples : where the recording's first sample lies in the file, at the file's rate.
    drift_ppm : by how much the recording's clock was slowed down.
    through_hz : the lowest sample rate on the way, where it is neither's: the session's.
    noise : power of what the file's depth adds to a sample, full scale 1.0.
    """

    begins_samples: float
    polarity: int
    drift_ppm: float = 0.0
    noise: float = 0.0
    through_hz: int | None = None


def copies(file: Path, wanted: Sequence[tuple[int, Clip, Made]]) -> list[bool]:
    """Whether every sample of each recording is in its channel of the file (from 0) bit for bit, at its
    place, and else silence.
    """
    with soundfile.SoundFile(for_libsndfile(file)) as ours:
        end = ours.frames
        good = [
            ours.samplerate == recording.rate_hz
            and made.begins_samples >= 0
            and end - round(made.begins_samples) >= recording.frames
            for _, recording, made in wanted
        ]
        start = 0
        for block in ours.blocks(_BLOCK_FRAMES, dtype="float32", always_2d=True):
            for number, (channel, recording, made) in enumerate(wanted):
                at = start - round(made.begins_samples)
                good[number] = good[number] and np.array_equal(
                    block[:, channel], made.polarity * recording.read(at, at + len(block))
                )
            start += len(block)
    return good


def left_db(file: Path, recording: Clip, made: Made, channel: int = 0) -> float | None:
    """Power left in a channel of the file (from 0) between `LOWEST_HZ` and `HIGHEST_SHARE`, in dB against the
    recording's, less what the file's depth adds; None where the recording is silent, or the two share too
    short a stretch of time.
    """
    with soundfile.SoundFile(for_libsndfile(file)) as ours:
        later_s = made.begins_samples / ours.samplerate
        first = max(0.0, later_s)
        last = min(ours.frames / ours.samplerate, later_s + recording.frames * _step_s(recording, made))
        return _left_db(ours, channel, [(recording, made, 1.0)], first, last)


def blend_left_db(file: Path, parts: Sequence[tuple[Clip, Made, Sequence[float]]]) -> float | None:
    """The same of a blend, the worst of its channels, against the power of its parts together: each recording
    with its gain in every channel.
    """
    with soundfile.SoundFile(for_libsndfile(file)) as ours:
        last = ours.frames / ours.samplerate
        left = [
            _left_db(ours, channel, [(clip, made, gains[channel]) for clip, made, gains in parts], 0.0, last)
            for channel in range(ours.channels)
        ]
    return max((db for db in left if db is not None), default=None)


def _left_db(
    ours: soundfile.SoundFile,
    channel: int,
    parts: Sequence[tuple[Clip, Made, float]],
    first_s: float,
    last_s: float,
) -> float | None:
    long_s = min(STRETCH_S, last_s - first_s)
    if long_s < SHORTEST_S:
        return None
    rates = [ours.samplerate, *(clip.rate_hz for clip, _, _ in parts)]
    rates += [made.through_hz for _, made, _ in parts if made.through_hz]
    frequencies = np.linspace(LOWEST_HZ, HIGHEST_SHARE * min(rates), _BINS)
    noise = max((made.noise for _, made, _ in parts), default=0.0)
    step_s = 1.0 / ours.samplerate
    there = left = 0.0
    for start_s in np.linspace(first_s, last_s - long_s, STRETCHES):
        begin = math.ceil(start_s / step_s)
        ours.seek(begin)
        samples = ours.read(math.floor(long_s / step_s), dtype="float32", always_2d=True)[:, channel]
        error, weight = _spectrum(samples, begin * step_s - start_s, step_s, long_s, frequencies)
        for clip, made, gain in parts:
            expected = gain * _expected(
                clip, made, made.begins_samples * step_s, start_s, long_s, frequencies
            )
            error = error - expected
            there += float(np.sum(np.abs(expected) ** 2))
        left += max(0.0, float(np.sum(np.abs(error) ** 2)) - 2.0 * _BINS * noise * weight)
    if there == 0.0:
        return None
    return 10.0 * math.log10(max(left / there, FLOOR))


def _step_s(recording: Clip, made: Made) -> float:
    """From one sample of the recording to the next, in the file's time."""
    return 1.0 / recording.rate_hz / (1.0 + made.drift_ppm * 1e-6)


def _expected(
    recording: Clip, made: Made, later_s: float, start_s: float, long_s: float, frequencies: FloatArray
) -> ComplexArray:
    """The recording as it was moved, under the same window."""
    step_s = _step_s(recording, made)
    begin = math.ceil((start_s - later_s) / step_s)
    samples = recording.read(begin, begin + math.floor(long_s / step_s))
    spectrum, _ = _spectrum(samples, later_s + begin * step_s - start_s, step_s, long_s, frequencies)
    return made.polarity * spectrum


def _spectrum(
    samples: npt.NDArray[Any], at_s: float, step_s: float, long_s: float, frequencies: FloatArray
) -> tuple[ComplexArray, float]:
    """Fourier integral of the sound under a Hann window `long_s` long, and what white noise of power 1 a
    sample would have in each bin. `at_s` : of the first sample, from the window's beginning.
    """
    times = at_s + step_s * np.arange(len(samples))
    window = np.sin(np.pi * np.clip(times, 0.0, long_s) / long_s) ** 2
    spacing_hz = frequencies[1] - frequencies[0]
    spectrum = _transform(len(samples), step_s, float(frequencies[0]), float(spacing_hz))(samples * window)
    placed: ComplexArray = spectrum * np.exp(-2j * np.pi * frequencies * at_s) * step_s
    return placed, float(np.sum(window**2)) * step_s**2


@lru_cache(maxsize=8)
def _transform(count: int, step_s: float, first_hz: float, spacing_hz: float) -> CZT:
    """Made once for all stretches of a length: making it takes longer than using it."""
    return CZT(
        count, _BINS, w=np.exp(-2j * np.pi * spacing_hz * step_s), a=np.exp(2j * np.pi * first_hz * step_s)
    )
