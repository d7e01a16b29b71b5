"""What a board is worked out from: how every signal in it goes with every other (`blend.signals`).

The cross-powers of the few signals, frequency by frequency and (K-weighted) step by step, hold the spectra
and the loudness of all cells.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.welch import never, nothing, segment_frames_for, spread_segments
from lagline.blend.loudness import GatedPowers
from lagline.blend.mix import ClipLike
from lagline.blend.signals import PairMeter, Signals, fade_in, pair_places, pair_weights, signals_of
from lagline.combinations.cells import Cell, board_session
from lagline.errors import Cancelled
from lagline.session.values import Session

Array = NDArray[np.float64]
_PEAK_FRAMES = 2048
SEGMENT_S = 0.68  # as tone is measured: 1.5 Hz, a third of the narrowest third octave


class Sums(Struct, frozen=True):
    """`cross`: real part of the signals' averaged cross-spectra, density per Hz, shape (pairs, bins).

    Pairs are those of `pair_places`: the upper triangle. `powers` and `peaks` are one a cell; peaks are the
    highest sample on either side. `mono_powers` are those of (left + right) / sqrt(2).
    """

    frequency_hz: Array
    cross: Array
    segments: int
    powers: tuple[GatedPowers, ...]
    mono_powers: tuple[GatedPowers, ...]
    peaks: Array


def cell_signals(session: Session, cells: Sequence[Cell]) -> Signals:
    """The signals that the cells are sums of. Raises NotInSession, ValueError."""
    board = board_session(session, cells)
    return signals_of(board, board.versions)


def measured_sums(
    signals: Signals,
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    *,
    edge: NDArray[np.float32] | None = None,
    progress: Callable[[float], None] = nothing,
    cancelled: Callable[[], bool] = never,
) -> Sums:
    """Measure over a passage of session samples.

    edge : gain of the first frames, shape (frames, 1), and reversed of the last ones, for the loudness, where
        the passage is heard fading in and out.

    Raises ValueError for an empty passage, MediaError, Cancelled.
    """
    if stop <= start:
        raise ValueError("there is nothing to measure: the passage is empty")
    frequency, cross, segments = cross_spectra(
        signals, clips, start, stop, progress=lambda done: progress(0.5 * done), cancelled=cancelled
    )
    powers, mono, peaks = _loudness(
        signals, clips, start, stop, edge, lambda done: progress(0.5 + 0.5 * done), cancelled
    )
    return Sums(frequency, cross.real, segments, powers, mono, peaks)


def cross_spectra(
    signals: Signals,
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    *,
    with_phase: bool = False,
    progress: Callable[[float], None] = nothing,
    cancelled: Callable[[], bool] = never,
) -> tuple[Array, NDArray[np.inexact], int]:
    """Frequencies, averaged cross-spectra of the pairs of signals per Hz, and how many were averaged.

    Welch's method, as `analysis.welch` has it. Real parts, which is all that sums as they are ask for; with
    phase, the first signal's times the conjugate of the second's.
    """
    rate_hz = signals.session.rate_hz
    size = segment_frames_for(stop - start, 1 << round(np.log2(SEGMENT_S * rate_hz)))
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size)
    first, second = pair_places(len(signals.sources))
    cross = np.zeros((len(first), size // 2 + 1), np.complex128 if with_phase else np.float64)
    starts = spread_segments(start, stop, size)
    for done, at in enumerate(starts):
        if cancelled():
            raise Cancelled
        frames = min(size, stop - int(at))
        piece = signals.read(clips, int(at), frames) * window[:frames]
        spectrum = np.fft.rfft(piece, size, axis=1)
        real, imag = spectrum.real, spectrum.imag
        for row, one, other in zip(cross, first, second, strict=True):
            row += real[one] * real[other] + imag[one] * imag[other]
            if with_phase:
                row += 1j * (imag[one] * real[other] - real[one] * imag[other])
        progress((done + 1) / len(starts))
    scale = np.full(size // 2 + 1, 2.0 / (rate_hz * (window**2).sum() * len(starts)))
    scale[0] /= 2
    scale[-1] /= 2
    return np.asarray(np.fft.rfftfreq(size, 1 / rate_hz), np.float64), cross * scale, len(starts)


def _loudness(
    signals: Signals,
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    edge: NDArray[np.float32] | None,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> tuple[tuple[GatedPowers, ...], tuple[GatedPowers, ...], Array]:
    """K-weighted powers by steps, and the peaks."""
    meter, peaks = PairMeter(signals.session.rate_hz, len(signals.sources)), np.zeros(len(signals.weights))
    for at in range(start, stop, meter.block_frames):
        if cancelled():
            raise Cancelled
        block = signals.read(clips, at, min(meter.block_frames, stop - at))
        if edge is not None:
            fade_in(block, edge[:, 0], at - start)
            fade_in(block[:, ::-1], edge[:, 0], stop - at - block.shape[1])
        peaks = np.maximum(peaks, _peaks(signals.weights, block))
        meter.add(block)
        progress(min(1.0, (at + block.shape[1] - start) / (stop - start)))
    stereo = pair_weights(signals.weights).sum(axis=1)
    mono = pair_weights(signals.weights.sum(axis=1)) / 2.0
    return meter.powers(stereo), meter.powers(mono), peaks


def _peaks(weights: Array, block: NDArray[np.floating]) -> Array:
    """Highest sample of each cell on either side; a little at a time, for there may be hundreds of cells."""
    rows, peaks = weights.reshape(-1, weights.shape[2]), np.zeros(2 * len(weights))
    for at in range(0, block.shape[1], _PEAK_FRAMES):
        mixed = rows @ block[:, at : at + _PEAK_FRAMES]
        peaks = np.maximum(peaks, np.maximum(mixed.max(axis=1), -mixed.min(axis=1)))
    return np.asarray(peaks.reshape(-1, 2).max(axis=1))
