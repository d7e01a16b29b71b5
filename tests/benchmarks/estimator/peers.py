"""Textbook methods, for comparison on the same lanes: each always answers, with a lag and a polarity."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

Samples = NDArray[np.float32]
Peer = tuple[float, int]
WINDOW_S = 0.5


def _between(curve: NDArray[np.float32], lags: NDArray[np.int64]) -> Peer:
    """The highest magnitude, by a parabola between frames."""
    size = np.abs(curve)
    k = int(np.argmax(size))
    at = float(lags[k])
    if 0 < k < size.size - 1 and lags[k + 1] - lags[k - 1] == 2:
        left, mid, right = (float(v) for v in size[k - 1 : k + 2])
        bend = left - 2 * mid + right
        if bend < 0:
            at += 0.5 * (left - right) / bend
    return at, 1 if curve[k] > 0 else -1


def _curve(cross: NDArray[np.complex64], size: int, before: int, behind: int) -> Peer:
    """Peak of the inverse transform over lags of -before..behind frames."""
    curve = fft.irfft(cross, size)
    both = np.concatenate([curve[size - before :], curve[: behind + 1]])
    return _between(both, np.arange(-before, behind + 1))


def _whitened(cross: NDArray[np.complex64]) -> NDArray[np.complex64]:
    magnitude = np.abs(cross)
    return cross / np.maximum(magnitude, 1e-7 * magnitude.max() + 1e-30)


def peers(anchor: NDArray[np.float64], lane: NDArray[np.float64], rate_hz: int) -> dict[str, Peer]:
    """How much later `lane` is than `anchor`, in frames, by each method.

    correlation : highest magnitude of the cross-correlation of the whole files.
    phase : the phase transform (Knapp and Carter, IEEE Trans. ASSP 24, 1976) of the whole files.
    windowed : the same summed over half-second windows, half overlapped; lags within a quarter of a second.
    """
    a, b = anchor.astype(np.float32), lane.astype(np.float32)
    size = fft.next_fast_len(a.size + b.size, real=True)
    cross = np.conj(fft.rfft(a, size)) * fft.rfft(b, size)
    before, behind = a.size - 1, b.size - 1
    return {
        "correlation": _curve(cross, size, before, behind),
        "phase": _curve(_whitened(cross), size, before, behind),
        "windowed": _windowed(a, b, rate_hz),
    }


def _windowed(a: Samples, b: Samples, rate_hz: int) -> Peer:
    length = int(WINDOW_S * rate_hz)
    frames = max(min(a.size, b.size), length)
    a, b = (np.pad(x, (0, max(0, frames - x.size)))[:frames] for x in (a, b))
    size = fft.next_fast_len(2 * length, real=True)
    shape = signal.windows.hann(length).astype(np.float32)
    total = np.zeros(size // 2 + 1, np.complex64)
    for start in range(0, frames - length + 1, length // 2):
        x, y = (part[start : start + length] * shape for part in (a, b))
        cross = np.conj(fft.rfft(x, size)) * fft.rfft(y, size)
        total += _whitened(cross) if np.any(cross) else 0
    return _curve(total, size, length // 2, length // 2)
