"""The loudness of a file for its bext chunk: integrated, range, highest momentary, short-term, true peak.

ITU-R BS.1770 (weighting, gating), EBU Tech 3341 (momentary 0.4 s, short-term 3 s) and EBU Tech 3342
(range), gathered block by block.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from msgspec.structs import replace

from lagline.blend.loudness import RELATIVE_GATE_LU, KWeighting, above_gates, lufs_of
from lagline.media.bext import Bext
from lagline.media.true_peak import TruePeakMeter
from lagline.units import gain_to_db

_BIN = 64  # of the true peak meter
_STEP_S = 0.01  # momentary maxima want finer steps than gating: Tech 3341 case 13
_MOMENTARY_STEPS, _SHORT_TERM_STEPS, _GATE_HOP = 40, 300, 10
_RANGE_GATE_LU = -20.0
_RANGE_PERCENT = (10.0, 95.0)

FloatArray = npt.NDArray[np.float32]
PowerArray = npt.NDArray[np.float64]


class LoudnessFields(Struct, frozen=True):
    """None where the file is too short or too quiet to say."""

    loudness_lufs: float | None = None
    loudness_range_lu: float | None = None
    max_true_peak_dbtp: float | None = None
    max_momentary_lufs: float | None = None
    max_short_term_lufs: float | None = None

    def on(self, bext: Bext) -> Bext:
        """The bext chunk with these fields."""
        return replace(
            bext,
            loudness_lufs=self.loudness_lufs,
            loudness_range_lu=self.loudness_range_lu,
            max_true_peak_dbtp=self.max_true_peak_dbtp,
            max_momentary_lufs=self.max_momentary_lufs,
            max_short_term_lufs=self.max_short_term_lufs,
        )


class Regrouped:
    """Blocks of any length, handed on in blocks of one length; the last may be shorter."""

    def __init__(self, frames: int, take: Callable[[FloatArray], None]) -> None:
        self._frames = frames
        self._take = take
        self._waiting: list[FloatArray] = []
        self._count = 0

    def add(self, block: FloatArray) -> None:
        """Take a block, shape (frames, channels), and hand on what makes whole ones."""
        self._waiting.append(block)
        self._count += len(block)
        if self._count < self._frames:
            return
        joined = np.concatenate(self._waiting)
        whole = self._count // self._frames * self._frames
        for start in range(0, whole, self._frames):
            self._take(joined[start : start + self._frames])
        self._waiting, self._count = [joined[whole:]], self._count - whole

    def finish(self) -> None:
        """Hand on what is left, as a shorter block."""
        if self._count:
            self._take(np.concatenate(self._waiting))
            self._waiting, self._count = [], 0


class FileLoudness:
    """Measures what is written to a file. Channels weigh 1 each, so one channel counts on its own.

    programme : whether the channels sound together, from two loudspeakers at most. Of lanes that merely share
        a file only the true peak is measured.
    """

    def __init__(self, rate_hz: int, channels: int, *, programme: bool = True) -> None:
        self._programme = programme
        self._weighting = KWeighting(rate_hz, channels)
        self._blocks = Regrouped(self._weighting.block_frames // _BIN * _BIN, self._add)
        self._step = rate_hz * _STEP_S  # frames, not always whole
        self._powers: list[PowerArray] = []
        self._steps = 0
        self._rest = np.zeros(0)  # weighted power of the frames of an unfinished step
        self._frames = 0  # in finished steps
        self._peaks = [TruePeakMeter(_BIN) for _ in range(channels)]

    def add(self, block: FloatArray) -> None:
        """`block`: float32, shape (frames, channels), of any length."""
        self._blocks.add(block)

    def _add(self, block: FloatArray) -> None:
        for channel, meter in enumerate(self._peaks):
            meter.add(np.ascontiguousarray(block[:, channel]))
        if not self._programme:
            return
        power = np.square(self._weighting.filtered(block)).sum(axis=1)
        power = np.concatenate([self._rest, power])
        ends = np.rint(np.arange(self._steps + 1, self._steps + 2 + len(power) / self._step) * self._step)
        ends = ends.astype(np.intp) - self._frames
        ends = ends[ends <= len(power)]
        if len(ends):
            starts = np.concatenate([[0], ends[:-1]])
            self._powers.append(np.add.reduceat(power[: ends[-1]], starts))
            self._steps += len(ends)
            self._frames += int(ends[-1])
            power = power[ends[-1] :]
        self._rest = power

    def fields(self) -> LoudnessFields:
        """What was measured; ask after the last block (and before the first one, for a placeholder)."""
        self._blocks.finish()
        powers = np.concatenate(self._powers) if self._powers else np.zeros(0)
        gate_blocks = self._means(powers, _MOMENTARY_STEPS)[::_GATE_HOP]
        short_term = self._means(powers, _SHORT_TERM_STEPS)
        true_peak = max((meter.finish() for meter in self._peaks), default=0.0)
        return LoudnessFields(
            loudness_lufs=_integrated(gate_blocks),
            loudness_range_lu=_range(short_term[::_GATE_HOP]),
            max_true_peak_dbtp=_finite(gain_to_db(true_peak)),
            max_momentary_lufs=_finite(lufs_of(self._means(powers, _MOMENTARY_STEPS).max(initial=0.0))),
            max_short_term_lufs=_finite(lufs_of(short_term.max(initial=0.0))),
        )

    def _means(self, powers: PowerArray, steps: int) -> PowerArray:
        """Mean power of every stretch of so many steps."""
        if len(powers) < steps:
            return np.zeros(0)
        totals = np.concatenate([[0.0], np.cumsum(powers)])
        means: PowerArray = np.maximum(totals[steps:] - totals[:-steps], 0.0) / (steps * self._step)
        return means


def _integrated(blocks: PowerArray) -> float | None:
    kept = above_gates(blocks, RELATIVE_GATE_LU)
    return lufs_of(float(kept.mean())) if len(kept) else None


def _range(short_term: PowerArray) -> float | None:
    kept = above_gates(short_term, _RANGE_GATE_LU)
    if not len(kept):
        return None
    low, high = np.percentile(10.0 * np.log10(kept), _RANGE_PERCENT)
    return float(high - low)


def _finite(level: float) -> float | None:
    return level if math.isfinite(level) else None
