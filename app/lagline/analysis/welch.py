"""Averaged spectra of several signals at once, read stretch by stretch so that length costs no memory.

P. D. Welch, "The use of fast Fourier transform for the estimation of power spectra", IEEE Trans. Audio and
Electroacoustics 15(2), 1967, 70-73. Periodic Hann window, half overlapped, nothing subtracted.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.errors import Cancelled

Reader = Callable[[int, int], NDArray[np.floating]]
"""`read(start, stop)`: shape (stop - start,), or (stop - start, channels); silence where there is nothing."""

MOST_SEGMENTS = 300


class Spectra(Struct, frozen=True):
    """Averaged power and cross spectra, densities per Hz.

    `frequency_hz`: shape (bins,). `power`: shape (signals, bins), summed over the channels of a signal.
    `cross`: shape (signals, bins), complex: conj(first signal) x signal, first channels only; its angle is
    the phase of the signal against the first. `segments`: how many were averaged.
    """

    frequency_hz: NDArray[np.float64]
    power: NDArray[np.float64]
    cross: NDArray[np.complex128]
    segments: int
    segment_frames: int


def nothing(_: float) -> None:
    """Progress that nobody watches."""


def never() -> bool:
    """The `cancelled` of a job that can't be stopped."""
    return False


def segment_frames_for(frames: int, wanted: int) -> int:
    """The wanted segment, or a power of two short enough for at least 8 half-overlapped ones."""
    if frames >= wanted * 4.5:
        return wanted
    fitting = max(int(frames / 4.5), 1)
    return max(min(wanted, 1 << (fitting.bit_length() - 1)), 256)


def averaged_spectra(
    readers: Sequence[Reader],
    start: int,
    stop: int,
    rate_hz: float,
    *,
    segment_frames: int,
    most_segments: int = MOST_SEGMENTS,
    with_cross: bool = True,
    progress: Callable[[float], None] = nothing,
    cancelled: Callable[[], bool] = never,
) -> Spectra:
    """Average the spectra of a passage.

    Parameters
    ----------
    readers : one a signal; all are read over the same stretches.
    start, stop : the passage, in samples. One shorter than a segment is padded with silence.
    segment_frames : even. Resolution is rate_hz / segment_frames.
    most_segments : a longer passage is sampled by that many stretches, evenly spread.
    with_cross : False leaves the cross spectra at 0, which saves a third of the arithmetic.

    Raises
    ------
    ValueError
        No reader, or a passage without a sample.
    Cancelled
        `cancelled()` became true.
    """
    if not readers or stop <= start:
        raise ValueError("a spectrum needs a signal and a passage")
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(segment_frames) / segment_frames)
    starts = spread_segments(start, stop, segment_frames, most_segments)
    bins = segment_frames // 2 + 1
    power = np.zeros((len(readers), bins))
    cross = np.zeros((len(readers), bins), dtype=np.complex128)
    for done, first in enumerate(starts):
        if cancelled():
            raise Cancelled
        lead: NDArray[np.complex128] | None = None
        for index, read in enumerate(readers):
            piece = np.asarray(read(first, min(first + segment_frames, stop)), dtype=np.float64)
            piece = piece.reshape(len(piece), -1)
            spectrum = np.fft.rfft(piece * window[: len(piece), None], n=segment_frames, axis=0)
            power[index] += (spectrum.real**2 + spectrum.imag**2).sum(axis=1)
            if with_cross:
                if lead is None:
                    lead = np.conj(spectrum[:, 0])
                cross[index] += lead * spectrum[:, 0]
        progress((done + 1) / len(starts))
    scale = np.full(bins, 2.0 / (rate_hz * (window**2).sum() * len(starts)))
    scale[0] /= 2
    scale[-1] /= 2
    frequency = np.asarray(np.fft.rfftfreq(segment_frames, 1 / rate_hz), dtype=np.float64)
    return Spectra(frequency, power * scale, cross * scale, len(starts), segment_frames)


def spread_segments(start: int, stop: int, segment: int, most: int = MOST_SEGMENTS) -> NDArray[np.int64]:
    """First samples of the stretches: half overlapped, or spread when there would be too many."""
    last = stop - segment
    if last <= start:
        return np.array([start], dtype=np.int64)
    count = (last - start) // (segment // 2) + 1
    if count <= most:
        return start + np.arange(count, dtype=np.int64) * (segment // 2)
    return np.round(np.linspace(start, last, most)).astype(np.int64)
