"""Loudness of a version over a passage (ITU-R BS.1770-4/-5), and the gains that make versions equally loud.

The passage is rendered and measured block by block, so an hour takes no more memory than a minute. The
K-weighting filters are applied by overlap-save through numpy's FFT with their exact rational responses:
no scipy, which the playback processes must not pay for, and no per-sample loop. Tests hold the result
against pyloudnorm and the signals of EBU Tech 3341.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from lagline.blend.mix import ClipLike, FloatArray, render_versions
from lagline.session.values import Session, Version
from lagline.units import SILENCE_DB

GATE_BLOCK_S = 0.4
_STEPS_A_BLOCK = 4  # gating blocks overlap by 75 %
STEP_S = GATE_BLOCK_S / _STEPS_A_BLOCK
ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0
SILENT_LUFS = -100.0
_OFFSET_LU = -0.691
_FFT_A_HISTORY = 8  # length of a transform: longer ones waste less on what wraps round
_MOST_GUESSES, _CLOSE_ENOUGH_LU = 30, 0.005


def loudness(
    session: Session, version: Version, clips: Mapping[str, ClipLike], start: int, stop: int
) -> float:
    """Integrated loudness, in LUFS, of the blend of one version from `start` to `stop` (session samples).

    Gated; below 0.4 s, where no gating block fits, the ungated K-weighted mean. -inf for silence, for an
    empty passage and where nothing rises above the absolute gate of -70 LUFS. Raises as `blend` does.
    """
    return measured(session, (version,), clips, start, stop)[0].integrated_lufs()


def measured(
    session: Session,
    versions: Sequence[Version],
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    *,
    edge: FloatArray | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> list[GatedPowers]:
    """What the `loudness` of several versions is worked out from, reading every recording once.

    Gives back what was measured so far when `cancelled` says so: the caller knows that it asked.

    edge : gain of the first frames, shape (frames, 1), and reversed of the last ones, where the passage is
        heard fading in and out.
    """
    meters = [LoudnessMeter(session.rate_hz) for _ in versions]
    at_once = KWeighting(session.rate_hz).block_frames
    for at in range(start, stop, at_once):
        if cancelled():
            break
        frames = min(at_once, stop - at)
        blocks = render_versions(session, versions, clips, at, frames)
        for meter, block in zip(meters, blocks, strict=True):
            if edge is not None:
                _fade(block, edge, at - start)
                _fade(block[::-1], edge, stop - at - frames)
            meter.add(block)
    return [meter.powers() for meter in meters]


def match_gains(loudnesses: Sequence[float]) -> tuple[float, ...]:
    """Gains in dB, none above 0, that bring every version down to the quietest.

    `loudnesses` in LUFS. A silent version (-inf) is left alone and sets no level for the others.
    """
    heard = [value for value in loudnesses if math.isfinite(value)]
    quietest = min(heard, default=0.0)
    return tuple(quietest - value if math.isfinite(value) else 0.0 for value in loudnesses)


def exact_match_gains(measured: Sequence[GatedPowers]) -> tuple[float, ...]:
    """`match_gains` that keep their word after the gain is applied.

    The absolute gate stays where it is when a version is turned down, so its quiet parts may leave the
    measurement and it has to be turned down further than the difference. Where the gates leave nothing of one
    of them, all are compared without gates: two measures would not compare.
    """
    if needs_no_gates(measured):
        return match_gains([audible_lufs(powers) for powers in measured])
    lufs = [powers.integrated_lufs() for powers in measured]
    simple = match_gains(lufs)
    quietest = min((value for value in lufs if math.isfinite(value)), default=0.0)
    return tuple(
        _gain_to_reach(quietest, powers, gain_db) if gain_db else 0.0
        for powers, gain_db in zip(measured, simple, strict=True)
    )


def needs_no_gates(measured: Sequence[GatedPowers]) -> bool:
    """Whether the gates leave nothing of something that can be heard: short, or quieter than -70 LUFS."""
    return any(
        math.isfinite(audible_lufs(powers)) and (powers.is_short or powers.integrated_lufs() == SILENCE_DB)
        for powers in measured
    )


def audible_lufs(powers: GatedPowers) -> float:
    """The ungated mean; -inf where it is under -100 LUFS: what is left when lanes cancel is no programme."""
    lufs = powers.ungated_lufs()
    return lufs if lufs >= SILENT_LUFS else SILENCE_DB


def _gain_to_reach(target_lufs: float, powers: GatedPowers, gain_db: float) -> float:
    """The gain, from a first guess on, that comes nearest to a loudness."""
    best, nearest = gain_db, math.inf
    for _ in range(_MOST_GUESSES):
        miss = powers.integrated_lufs(gain_db) - target_lufs
        if not abs(miss) < math.inf:  # all of it has fallen below the gate
            break
        if abs(miss) < nearest:
            best, nearest = gain_db, abs(miss)
        if nearest < _CLOSE_ENOUGH_LU:
            break
        gain_db = min(gain_db - miss, 0.0)
    return best


def _fade(block: FloatArray, edge: FloatArray, after: int) -> None:
    """Weigh a block that begins `after` frames behind the start of `edge`."""
    part = edge[after : after + len(block)]
    block[: len(part)] *= part


class GatedPowers(NamedTuple):
    """The K-weighted power of a passage over time, from which its loudness follows.

    steps : sum of squares of both channels in each step of 100 ms, float64.
    step_frames : length of a step; not always whole.
    rest, frames : sum of squares after the last whole step, and the length of everything.
    """

    steps: npt.NDArray[np.float64]
    step_frames: float
    rest: float
    frames: int

    def integrated_lufs(self, gain_db: float = 0.0) -> float:
        """Loudness after a gain; -inf for silence.

        The standard leaves out a last gating block that is cut short; as in pyloudnorm, it counts here when
        less than half a step is missing. In a passage of seconds that is worth a few tenths of a LU.
        """
        factor = math.pow(10.0, gain_db / 10.0)
        if self.is_short:
            return self.ungated_lufs(gain_db)
        count = round(self.frames / self.step_frames - _STEPS_A_BLOCK) + 1
        steps = np.append(self.steps, self.rest)[: count + _STEPS_A_BLOCK - 1]
        sums = np.convolve(steps, np.ones(_STEPS_A_BLOCK), mode="valid")
        blocks = factor * np.maximum(sums, 0.0) / (self.step_frames * _STEPS_A_BLOCK)
        kept = above_gates(blocks, RELATIVE_GATE_LU)
        return lufs_of(float(kept.mean())) if len(kept) else SILENCE_DB

    def ungated_lufs(self, gain_db: float = 0.0) -> float:
        """The K-weighted mean of everything, quiet or not; -inf for silence."""
        total = math.pow(10.0, gain_db / 10.0) * (float(self.steps.sum()) + self.rest)
        return lufs_of(total / self.frames if self.frames else 0.0)

    @property
    def is_short(self) -> bool:
        """Whether no gating block fits."""
        return self.frames < self.step_frames * _STEPS_A_BLOCK


class LoudnessMeter:
    """Measures a stereo stream given in blocks of any size.

    Left and right each weigh 1.0 (BS.1770 table 3), so a mono signal on both reads 3 dB above one channel.
    """

    def __init__(self, rate_hz: int) -> None:
        self._weighting = KWeighting(rate_hz)
        self._step = rate_hz * STEP_S  # frames, not always whole
        self._powers: list[float] = []  # sum of squares of both channels, one a step
        self._rest = np.zeros((0, 2), dtype=np.float64)
        self._frames = 0  # in finished steps

    def add(self, block: FloatArray) -> None:
        """`block`: float, shape (frames, 2)."""
        weighted = np.concatenate([self._rest, self._weighting.filtered(block)])
        used = 0
        while (end := round((len(self._powers) + 1) * self._step) - self._frames) <= len(weighted):
            self._powers.append(float(np.sum(np.square(weighted[used:end]))))
            used = end
        self._frames += used
        self._rest = weighted[used:]

    def powers(self) -> GatedPowers:
        """Everything added so far."""
        rest = float(np.sum(np.square(self._rest)))
        return GatedPowers(np.array(self._powers), self._step, rest, self._frames + len(self._rest))

    def integrated_lufs(self) -> float:
        """Loudness of everything added so far; -inf for silence."""
        return self.powers().integrated_lufs()


class KWeighting:
    """The two filters of BS.1770-4 annex 1 in series, on a stream given in blocks of any size.

    `block_frames`: the size that costs least.
    """

    def __init__(self, rate_hz: int, channels: int = 2) -> None:
        # The slower filter is down by 300 dB after a quarter of a second: what wraps round is thrown away.
        self._history = np.zeros((channels, math.ceil(0.25 * rate_hz)))
        past = self._history.shape[1]
        self._size = 1 << math.ceil(math.log2(_FFT_A_HISTORY * past))
        self._response = k_response(rate_hz, self._size)
        self.block_frames = self._size - past

    def filtered(self, block: npt.NDArray[np.floating]) -> npt.NDArray[np.float64]:
        """float64, the shape of `block`, (frames, channels)."""
        past = self._history.shape[1]
        padded = np.concatenate([self._history, block.T], axis=1, dtype=np.float64)
        out = np.empty((padded.shape[0], len(block)))
        for at in range(0, len(block), self.block_frames):
            piece = padded[:, at : at + self._size]
            count = piece.shape[1] - past
            spectrum = np.fft.rfft(piece, self._size) * self._response
            out[:, at : at + count] = np.fft.irfft(spectrum, self._size)[:, past : past + count]
        self._history = padded[:, padded.shape[1] - past :]
        return out.T


def k_coefficients(rate_hz: float) -> tuple[tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]], ...]:
    """(numerator, denominator) of the shelf and of the high-pass, at any rate.

    The analogue prototypes behind the 48 kHz table of BS.1770-4, by the bilinear transform; constants from
    B. De Man, "Evaluation of implementations of the EBU R128 loudness measurement", AES 145, 2018.
    """
    centre_hz, gain_db, quality = 1681.974450955533, 3.999843853973347, 0.7071752369554196
    warped = math.tan(math.pi * centre_hz / rate_hz)
    high = math.pow(10.0, gain_db / 20.0)
    band = math.pow(high, 0.4996667741545416)
    scale = 1.0 + warped / quality + warped**2
    shelf = (
        np.array(
            [
                high + band * warped / quality + warped**2,
                2.0 * (warped**2 - high),
                high - band * warped / quality + warped**2,
            ]
        )
        / scale,
        np.array([1.0, 2.0 * (warped**2 - 1.0) / scale, (1.0 - warped / quality + warped**2) / scale]),
    )
    centre_hz, quality = 38.13547087602444, 0.5003270373238773
    warped = math.tan(math.pi * centre_hz / rate_hz)
    scale = 1.0 + warped / quality + warped**2
    high_pass = (
        np.array([1.0, -2.0, 1.0]),
        np.array([1.0, 2.0 * (warped**2 - 1.0) / scale, (1.0 - warped / quality + warped**2) / scale]),
    )
    return shelf, high_pass


@lru_cache(maxsize=8)
def k_response(rate_hz: int, size: int) -> npt.NDArray[np.complex128]:
    """Complex response of the K-weighting at the bins of a real FFT of `size`, shape (size // 2 + 1,)."""
    delays = np.exp(-2j * np.pi * np.outer(np.arange(size // 2 + 1) / size, np.arange(3)))
    response = np.ones(size // 2 + 1, dtype=np.complex128)
    for numerator, denominator in k_coefficients(rate_hz):
        response *= (delays @ numerator) / (delays @ denominator)
    response.flags.writeable = False
    return response


def above_gates(powers: npt.NDArray[np.float64], relative_lu: float) -> npt.NDArray[np.float64]:
    """The blocks (mean K-weighted power) above the absolute gate, and of those the ones above a second gate
    that lies `relative_lu` from their mean. Empty where none is."""
    kept = powers[powers > _power(ABSOLUTE_GATE_LUFS)]
    return kept[kept > _power(lufs_of(float(kept.mean())) + relative_lu)] if len(kept) else kept


def lufs_of(power: float) -> float:
    """Loudness of a mean K-weighted power, summed over the channels; -inf for none."""
    return _OFFSET_LU + 10.0 * math.log10(power) if power > 0 else SILENCE_DB


def _power(lufs: float) -> float:
    return math.pow(10.0, (lufs - _OFFSET_LU) / 10.0)
