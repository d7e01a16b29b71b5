"""What is left of a delivered lane when its recording, moved as the list says, is taken from it.

Not by the interpolation that made the file: both are turned into spectra at the same frequencies over the
same stretch of time (the chirp z-transform of Rabiner, Schafer and Rader, IEEE Trans. Audio Electroacoust.
17(2), 1969), which asks nothing of shift, rate or drift but that they are known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile
from msgspec import Struct
from scipy.signal import czt  # type: ignore[attr-defined]  # not in its stubs

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
        step_s = 1.0 / recording.rate_hz / (1.0 + made.drift_ppm * 1e-6)  # of the recording, in file time
        first = max(0.0, later_s)
        last = min(ours.frames / ours.samplerate, later_s + recording.frames * step_s)
        long_s = min(STRETCH_S, last - first)
        if long_s < SHORTEST_S:
            return None
        lowest_hz = min(ours.samplerate, recording.rate_hz, made.through_hz or ours.samplerate)
        highest = HIGHEST_SHARE * lowest_hz
        frequencies = np.linspace(LOWEST_HZ, highest, _BINS)
        file_step_s = 1.0 / ours.samplerate
        there = left = 0.0
        for start in np.linspace(first, last - long_s, STRETCHES):
            count = math.floor(long_s / file_step_s)
            begin = math.ceil(start / file_step_s)
            ours.seek(begin)
            samples = ours.read(count, dtype="float32", always_2d=True)[:, channel]
            at_s = begin * file_step_s - start
            spectrum, weight = _spectrum(samples, at_s, file_step_s, long_s, frequencies)
            begin = math.ceil((start - later_s) / step_s)
            samples = recording.read(begin, begin + math.floor(long_s / step_s))
            at_s = later_s + begin * step_s - start
            expected, _ = _spectrum(samples, at_s, step_s, long_s, frequencies)
            there += float(np.sum(np.abs(expected) ** 2))
            error = float(np.sum(np.abs(spectrum - made.polarity * expected) ** 2))
            left += max(0.0, error - 2.0 * _BINS * made.noise * weight)
    if there == 0.0:
        return None
    return 10.0 * math.log10(max(left / there, FLOOR))


def _spectrum(
    samples: npt.NDArray[Any], at_s: float, step_s: float, long_s: float, frequencies: FloatArray
) -> tuple[ComplexArray, float]:
    """Fourier integral of the sound under a Hann window `long_s` long, and what white noise of power 1 a
    sample would have in each bin. `at_s` : of the first sample, from the window's beginning.
    """
    times = at_s + step_s * np.arange(len(samples))
    window = np.sin(np.pi * np.clip(times, 0.0, long_s) / long_s) ** 2
    spacing_hz = frequencies[1] - frequencies[0]
    spectrum = czt(
        samples * window,
        len(frequencies),
        w=np.exp(-2j * np.pi * spacing_hz * step_s),
        a=np.exp(2j * np.pi * frequencies[0] * step_s),
    )
    placed: ComplexArray = spectrum * np.exp(-2j * np.pi * frequencies * at_s) * step_s
    return placed, float(np.sum(window**2)) * step_s**2
