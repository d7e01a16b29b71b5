"""Cutting windows out of the lanes and going to spectra and back.

Convention: with `A` the spectrum of the lane measured against and `B` of the other, the cross-spectrum is
conj(A) * B and its inverse transform peaks at the samples by which B is later.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import scipy.fft
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.hum import hum_bins
from lagline.analysis.scan import Floats, Readable, Samples
from lagline.analysis.windows import Windows
from lagline.errors import Cancelled

Complex = NDArray[np.complex64]

INTERPOLATION = 4  # the parabola alone is off by up to 0.12 samples, after 4x by 0.0015


class LaneSpectra(Struct, frozen=True):
    """One lane's windows as spectra.

    values : shape (windows, bins), of windows normalised to unit energy (0 where silent).
    energy : of each window before that, shape (windows,). hum : bins of mains hum, shape (bins,).
    """

    values: Complex
    energy: Floats
    hum: NDArray[np.bool_]


def transform_size(length: int, search: int) -> int:
    """Samples of the transform: a power of two that holds a window and the search range."""
    return 1 << (length + search - 1).bit_length()


def cut(
    clip: Readable, place: int, offsets: Floats, windows: Windows, cancelled: Callable[[], bool]
) -> NDArray[np.float32]:
    """The windows of one lane, shape (windows, length); `offsets` whole samples, one a window."""
    out = np.empty((windows.count, windows.length), np.float32)
    for row, (start, offset) in enumerate(zip(windows.start, offsets, strict=True)):
        if row % 16 == 0 and cancelled():
            raise Cancelled
        at = int(start) + int(offset) - place
        out[row] = clip.read(at, at + windows.length)
    return out


def lane_spectra(
    pieces: NDArray[np.float32], left: Floats, windows: Windows, size: int, rate_hz: int
) -> LaneSpectra:
    """Spectra of one lane's windows.

    Parameters
    ----------
    pieces : as `cut` gives them; tapered and scaled in place.
    left : samples of each window's offset that cutting at whole samples left, taken out by phase.
    size : of the transform.
    """
    pieces *= _taper(windows)
    energy = np.einsum("ij,ij->i", pieces, pieces).astype(np.float64)
    scale = np.where(energy > 1e-10 * windows.length, 1 / np.sqrt(np.maximum(energy, 1e-30)), 0.0)
    pieces *= scale[:, None].astype(np.float32)
    values = scipy.fft.rfft(pieces, size, axis=1)
    if np.any(np.abs(left) > 1e-9):
        turn = 2j * np.pi * np.arange(size // 2 + 1) / size
        values *= np.exp(turn[None, :] * left[:, None]).astype(np.complex64)
    hum = hum_bins(values, energy, windows.start, size, rate_hz)
    return LaneSpectra(values=values, energy=energy, hum=hum)


def curve_of(spectrum: NDArray[np.complexfloating], size: int, reach: int) -> Floats:
    """Inverse transform on a four times finer grid, lags -reach..reach samples.

    Returns shape (2 * 4 * reach + 1,), scaled so that a flat spectrum of ones gives 1 at lag 0.
    """
    fine = INTERPOLATION * size
    # In single precision: half the time, and a lag is read from it to a ten-thousandth of a sample.
    full = scipy.fft.irfft(spectrum.astype(np.complex64), fine)
    edge = INTERPOLATION * reach
    inside = np.concatenate((full[-edge:], full[: edge + 1])).astype(np.float64)
    return inside * (fine / 2 / max(len(spectrum), 1))


def smoothed(values: NDArray[Any], bins: int) -> NDArray[Any]:
    """Running mean over `bins` neighbours along the last axis, shorter at the ends."""
    if bins <= 1:
        return values
    total = np.cumsum(np.concatenate((np.zeros((*values.shape[:-1], 1), values.dtype), values), axis=-1), -1)
    count = values.shape[-1]
    index = np.arange(count)
    low = np.maximum(index - bins // 2, 0)
    high = np.minimum(index + (bins - bins // 2), count)
    mean: NDArray[Any] = (total[..., high] - total[..., low]) / (high - low)
    return mean


def _taper(windows: Windows) -> Samples:
    """Attack windows open quickly and close slowly; the others rise and fall alike. (windows, length)."""
    length = windows.length
    lead_in = np.ones(length, np.float32)
    rise = max(windows.lead // 6, 1)
    lead_in[:rise] = np.sin(np.linspace(0, np.pi / 2, rise)) ** 2
    fall = length // 2
    lead_in[-fall:] *= np.cos(np.linspace(0, np.pi / 2, fall)) ** 2
    even = np.hanning(length).astype(np.float32)  # its leakage falls fast: a strong hum stays in its bins
    return np.where(windows.is_attack[:, None], lead_in, even)
