"""From floats to the whole numbers that PCM files hold: rounded, and dithered where asked.

libsndfile cuts floats off instead of rounding them when it writes WAV (mean error half a step), so
it only ever gets whole numbers from us.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

IntArray = npt.NDArray[np.int32]


def quantised(
    samples: npt.NDArray[np.floating],
    bits: int,
    dither: np.random.Generator | None = None,
    dithered: npt.NDArray[np.bool_] | bool = True,
) -> tuple[IntArray, int]:
    """Samples as whole numbers of `bits` bits, and how many did not fit and were clipped.

    Without dither a value that lies on a step stays exactly there, so audio of that depth passes
    unchanged. With it, triangular noise of two steps peak to peak (TPDF) is added before rounding,
    which makes the error independent of the signal.

    Parameters
    ----------
    samples : any shape, full scale 1.0.
    dithered : which of them get the noise; one for each of the last axis, or for all.
    """
    steps = samples.astype(np.float64) * float(1 << (bits - 1))
    if dither is not None:
        steps += (dither.random(steps.shape) - dither.random(steps.shape)) * dithered
    np.rint(steps, out=steps)
    highest = float((1 << (bits - 1)) - 1)
    clipped = int(np.count_nonzero((steps > highest) | (steps < -highest - 1.0)))
    np.clip(steps, -highest - 1.0, highest, out=steps)
    return steps.astype(np.int32), clipped


def pcm_bytes(whole: IntArray, bits: int) -> bytes:
    """Whole numbers as little-endian PCM of 16 or 24 bits, in the order of the array."""
    if bits == 16:
        return whole.astype("<i2").tobytes()
    if bits == 24:
        return np.ascontiguousarray(whole.astype("<i4").reshape(-1, 1).view(np.uint8)[:, :3]).tobytes()
    raise ValueError(f"PCM of {bits} bits is not written here")
