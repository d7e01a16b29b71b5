"""Recordings made for a test: seeded noise and tones in any format, and damaged copies of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

FloatArray = npt.NDArray[np.float32]


def noise(frames: int, channels: int = 1, seed: int = 0, peak: float = 0.5) -> FloatArray:
    """Uniform noise on the 24-bit grid: shape (frames, channels)."""
    rng = np.random.default_rng(seed)
    steps = rng.integers(-int(peak * 2**23), int(peak * 2**23), (frames, channels))
    return (steps / 2**23).astype(np.float32)


def recording(
    path: Path,
    samples: npt.NDArray[np.floating],
    rate_hz: int = 48_000,
    subtype: str = "PCM_24",
    file_format: str | None = None,
) -> Path:
    """Write samples, exact for values on the grid of `subtype`."""
    data: npt.NDArray[np.generic] = np.asarray(samples)
    if subtype in ("PCM_16", "PCM_24", "PCM_32"):
        # soundfile floors floats in WAV, so hand it whole numbers
        bits = int(subtype[-2:])
        whole = np.clip(
            np.rint(data.astype(np.float64) * 2 ** (bits - 1)), -(2 ** (bits - 1)), 2 ** (bits - 1) - 1
        )
        data = (whole * 2 ** (32 - bits)).astype(np.int32)
    soundfile.write(path, data, rate_hz, subtype=subtype, format=file_format)
    return path


def cut_off(path: Path, target: Path, fraction: float) -> Path:
    """The first part of a file's bytes, as a crashed recorder or a broken copy leaves them."""
    data = path.read_bytes()
    target.write_bytes(data[: int(len(data) * fraction)])
    return target
