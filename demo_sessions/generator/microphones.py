"""From pressure at a point to samples in a file: microphone response, amplifier noise, quantiser.

Responses are short and symmetrical in time: a lane is coloured by its microphone, never delayed by
it, so that the table of truth holds at every frequency.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, fftconvolve, firwin2, sosfilt

from generator.noise import Signal, normal
from generator.room import RATE_HZ

TAPS = 129
LOW_CUT_HZ = 28.0  # the same in every lane, so it moves none against another


@dataclass(frozen=True)
class Response:
    """`points`: (Hz, dB) of the response, joined in straight lines."""

    points: tuple[tuple[float, float], ...]
    hiss_dbfs: float = -84.0
    hum_dbfs: float | None = None

    def kernel(self) -> Signal:
        hz = [0.0, *(p[0] for p in self.points), RATE_HZ / 2]
        db = [self.points[0][1], *(p[1] for p in self.points), self.points[-1][1]]
        return np.asarray(firwin2(TAPS, hz, [10 ** (d / 20) for d in db], fs=RATE_HZ, window="hann"))


LARGE_CONDENSER = Response(
    ((400, 0.0), (3000, 0.5), (6000, 2.0), (10_000, 3.0), (16_000, 0.0), (20_000, -8.0))
)
SMALL_CONDENSER = Response(((400, 0.0), (5000, 0.0), (9000, 1.5), (13_000, 1.0), (20_000, -3.0)))
OLD_CONDENSER = Response(((400, 0.0), (3000, 1.0), (5500, 2.5), (8000, 0.5), (12_000, -2.0), (20_000, -10.0)))
RIBBON = Response(
    ((300, 0.0), (2500, 0.0), (5000, -1.5), (9000, -5.0), (14_000, -11.0), (20_000, -22.0)), -82.0
)
DYNAMIC = Response(((300, 0.0), (2000, 1.0), (5000, 5.0), (8000, 3.0), (12_000, -4.0), (20_000, -18.0)))
DRUM_DYNAMIC = Response(
    ((250, 0.0), (700, -5.0), (2000, 0.0), (4500, 6.0), (8000, 1.0), (14_000, -12.0), (20_000, -24.0))
)
PIEZO = Response(
    ((300, -2.0), (1200, 3.0), (2600, 6.0), (5000, 2.0), (9000, -3.0), (20_000, -14.0)), -80.0, -72.0
)


def recorded(pressure: Signal, response: Response, gain: float, polarity: int, seed: int) -> Signal:
    """What the recorder hears, full scale 1.0."""
    half = TAPS // 2
    out = fftconvolve(pressure, response.kernel())[half : half + len(pressure)]
    out = sosfilt(butter(2, LOW_CUT_HZ, "highpass", fs=RATE_HZ, output="sos"), out) * gain * polarity
    out = out + 10 ** (response.hiss_dbfs / 20) * normal(len(out), seed, 77)
    if response.hum_dbfs is not None:
        time_s = np.arange(len(out)) / RATE_HZ
        for harmonic, below_db in ((1, 0.0), (2, 14.0), (3, 8.0)):
            level = np.sqrt(2) * 10 ** ((response.hum_dbfs - below_db) / 20)
            out = out + level * np.sin(2 * np.pi * 50.0 * harmonic * time_s + harmonic)
    return np.asarray(out)


def quantised(signal: Signal) -> np.ndarray:
    """16-bit whole numbers; each lane's own hiss is more than dither enough."""
    return np.clip(np.rint(signal * 32768), -32768, 32767).astype(np.int16)
