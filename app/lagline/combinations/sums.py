"""What a board is worked out from: how every signal in it goes with every other.

A cell is a weighted sum of signals, and its power is a quadratic form in their weights:
|sum w_i x_i|^2 = sum_ij w_i w_j Re(x_i conj x_j). So the cross-powers of the few signals, frequency by
frequency and (K-weighted) step by step, hold the spectra and the loudness of all cells.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.welch import never, nothing, segment_frames_for, spread_segments
from lagline.blend.loudness import STEP_S, GatedPowers, KWeighting
from lagline.blend.mix import ClipLike, lane_gains, lane_signal, pan_gains
from lagline.combinations.cells import Cell, board_session
from lagline.errors import Cancelled
from lagline.session.values import Lane, Move, Session, Version

Array = NDArray[np.float64]
_PEAK_FRAMES = 2048
SEGMENT_S = 0.68  # as tone is measured: 1.5 Hz, a third of the narrowest third octave


class Signals(Struct, frozen=True):
    """The signals of a board, one for each move of a lane, and what each cell makes of them.

    `weights`: shape (cells, 2, signals): linear gain of each signal on the left and on the right.
    """

    session: Session
    sources: tuple[tuple[Lane, Move], ...]
    weights: Array

    def read(self, clips: Mapping[str, ClipLike], start: int, frames: int) -> Array:
        """Shape (signals, frames)."""
        out = np.empty((len(self.sources), frames))
        for row, (lane, move) in zip(out, self.sources, strict=True):
            version = Version("signal", "", {lane.id: move})
            row[:] = lane_signal(self.session, version, lane, clips, start, frames)
        return out


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


def signals_of(session: Session, cells: Sequence[Cell]) -> Signals:
    """The signals that the cells are sums of. Raises NotInSession, ValueError."""
    board = board_session(session, cells)
    sources: dict[tuple[str, Move], tuple[Lane, Move]] = {}
    for version in board.versions:
        for lane in board.audible_lanes(version):
            move = version.move(lane.id)
            sources.setdefault((lane.id, move), (lane, move))
    places = {key: at for at, key in enumerate(sources)}
    weights = np.zeros((len(cells), 2, len(sources)))
    for number, version in enumerate(board.versions):
        for lane_id, gain in lane_gains(board, version).items():
            if gain:
                sides = np.array(pan_gains(version.balance(lane_id).pan))
                weights[number, :, places[lane_id, version.move(lane_id)]] = gain * sides
    return Signals(board, tuple(sources.values()), weights)


def pair_places(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and second signal of each pair: the upper triangle, the diagonal with it."""
    first, second = np.triu_indices(count)
    return first, second


def pair_weights(weights: Array) -> Array:
    """What each pair counts for in the power of a sum with these weights: (..., signals) -> (..., pairs)."""
    first, second = pair_places(weights.shape[-1])
    twice = np.where(first == second, 1.0, 2.0)
    return np.asarray(weights[..., first] * weights[..., second] * twice)


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
    frequency, cross, segments = _cross_spectra(
        signals, clips, start, stop, lambda done: progress(0.5 * done), cancelled
    )
    powers, mono, peaks = _loudness(
        signals, clips, start, stop, edge, lambda done: progress(0.5 + 0.5 * done), cancelled
    )
    return Sums(frequency, cross, segments, powers, mono, peaks)


def _cross_spectra(
    signals: Signals,
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> tuple[Array, Array, int]:
    """Welch's method, as `analysis.welch` has it."""
    rate_hz = signals.session.rate_hz
    size = segment_frames_for(stop - start, 1 << round(np.log2(SEGMENT_S * rate_hz)))
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(size) / size)
    first, second = pair_places(len(signals.sources))
    cross = np.zeros((len(first), size // 2 + 1))
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
    rate_hz, count = signals.session.rate_hz, len(signals.sources)
    weighting = KWeighting(rate_hz, channels=count)
    first, second = pair_places(count)
    step = rate_hz * STEP_S
    steps: list[Array] = []
    rest, done, peaks = np.zeros((count, 0)), 0, np.zeros(len(signals.weights))
    for at in range(start, stop, weighting.block_frames):
        if cancelled():
            raise Cancelled
        block = signals.read(clips, at, min(weighting.block_frames, stop - at))
        if edge is not None:
            _fade(block, edge[:, 0], at - start)
            _fade(block[:, ::-1], edge[:, 0], stop - at - block.shape[1])
        peaks = np.maximum(peaks, _peaks(signals.weights, block))
        weighted = np.concatenate([rest, weighting.filtered(block.T).T], axis=1)
        used = 0
        while (end := round((len(steps) + 1) * step) - done) <= weighted.shape[1]:
            gram = weighted[:, used:end] @ weighted[:, used:end].T
            steps.append(gram[first, second])
            used = end
        rest, done = weighted[:, used:], done + used
        progress(min(1.0, (at + block.shape[1] - start) / (stop - start)))
    left_over = (rest @ rest.T)[first, second]
    by_step = np.array(steps).reshape(len(steps), len(first))
    stereo = pair_weights(signals.weights).sum(axis=1)
    mono = pair_weights(signals.weights.sum(axis=1)) / 2.0

    def powers(weights: Array) -> tuple[GatedPowers, ...]:
        by_cell, rests = np.maximum(weights @ by_step.T, 0.0), np.maximum(weights @ left_over, 0.0)
        return tuple(
            GatedPowers(steps_of_cell, step, float(its_rest), stop - start)
            for steps_of_cell, its_rest in zip(by_cell, rests, strict=True)
        )

    return powers(stereo), powers(mono), peaks


def _peaks(weights: Array, block: Array) -> Array:
    """Highest sample of each cell on either side; a little at a time, for there may be hundreds of cells."""
    rows, peaks = weights.reshape(-1, weights.shape[2]), np.zeros(2 * len(weights))
    for at in range(0, block.shape[1], _PEAK_FRAMES):
        mixed = rows @ block[:, at : at + _PEAK_FRAMES]
        peaks = np.maximum(peaks, np.maximum(mixed.max(axis=1), -mixed.min(axis=1)))
    return np.asarray(peaks.reshape(-1, 2).max(axis=1))


def _fade(block: Array, edge: NDArray[np.float32], after: int) -> None:
    """Weigh a block that begins `after` frames behind the start of `edge`."""
    part = edge[after : after + block.shape[1]]
    block[:, : len(part)] *= part
