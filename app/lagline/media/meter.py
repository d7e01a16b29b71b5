"""The measuring behind `health.Health`: one channel's numbers, gathered block by block."""

from __future__ import annotations

import hashlib

import numpy as np

from lagline.media import hum, true_peak
from lagline.media.extremes import FloatArray
from lagline.media.faults import FlatTops, TransferFaults
from lagline.media.health import CLIPPED_RUN_SAMPLES, Health
from lagline.media.probe import RecordingInfo
from lagline.media.pyramid import Overview

_BIT_STEP = 16  # every so many samples are asked which bits they use
_SHORTEST_GAP_S, _LONGEST_GAP_S = 0.001, 0.5  # shorter may be music, longer an edit
_SOUNDING = 1e-4  # a gap lies between sound, not between fades to nothing: -80 dBFS


class ChannelMeter:
    """Gathers what `Health` says of one channel. Blocks come in order, whole bins but for the last."""

    def __init__(self, info: RecordingInfo, bin_samples: int) -> None:
        self._info = info
        self._bin = bin_samples
        self._sum = 0.0
        self._energy = 0.0
        self._broken = 0
        self._bits_sum = 0
        self._true_peak = true_peak.TruePeakMeter(bin_samples)
        self._clips = _ClipCounter(_full_scale(info))
        self._flats = FlatTops(_full_scale(info))
        self._faults = TransferFaults()
        counts_bits = info.bits is not None and not info.is_float and info.bits <= 24
        self._used = np.int32(0) if counts_bits else None

    def add(self, samples: FloatArray, lows: FloatArray, highs: FloatArray, broken: int) -> None:
        """One block, with its bins' lowest and highest samples, and how many of it were not numbers."""
        self._broken += broken
        self._sum += float(np.einsum("i->", samples))  # a third of the time of `sum`
        self._energy += float(np.dot(samples, samples))
        self._bits_sum += int(samples.view(np.uint32).sum(dtype=np.uint32))
        levels = np.maximum(highs, -lows)
        block_peak = float(levels.max(initial=0.0))
        self._clips.add(samples, block_peak)
        self._flats.add(samples, block_peak)
        self._faults.add(samples)
        self._true_peak.add(samples, levels)
        if self._used is not None:
            whole = (samples[::_BIT_STEP] * np.float32(1 << 23)).astype(np.int32)
            self._used |= np.bitwise_or.reduce(whole)

    def health(self, overview: Overview, clip_read: hum.Read, damage: dict[int, int]) -> Health:
        """The sum of it, after the last block.

        `clip_read` gives samples for the search for hum; `damage` is `Decoder.damage`.
        """
        frames, rate_hz = self._info.frames, self._info.rate_hz
        lows, highs = overview.bins
        gaps = _gaps(lows, highs, self._bin, rate_hz)
        near_s = 2 * self._bin / rate_hz  # what the bins show as well is one gap
        short = [at / rate_hz for at in self._faults.zeros]
        gaps = sorted([*gaps, *(at for at in short if all(abs(at - gap) > near_s for gap in gaps))])
        repeats = self._faults.repeats
        quiet = hum.quiet_starts(lows, highs, self._bin, rate_hz)
        found = hum.find_hum(clip_read, quiet, frames, rate_hz)
        return Health(
            frames=frames,
            rate_hz=rate_hz,
            peak=self._true_peak.sample_peak,
            true_peak=self._true_peak.finish(),
            rms=float(np.sqrt(self._energy / max(1, frames))),
            offset=self._sum / max(1, frames),
            clipped_runs=self._clips.runs,
            longest_clipped_samples=self._clips.longest,
            flat_tops=self._flats.count,
            broken_samples=self._broken,
            damaged_samples=sum(damage.values()),
            first_damage_s=min(damage, default=0) / rate_hz,
            gaps=len(gaps),
            first_gap_s=gaps[0] if gaps else 0.0,
            repeats=len(repeats),
            first_repeat_s=repeats[0] / rate_hz if repeats else 0.0,
            bits_used=self._bits_used(),
            hum_hz=found[0] if found else None,
            hum_db=found[1] if found else None,
            fingerprint=_fingerprint(frames, self._bits_sum, lows, highs),
            inverted_fingerprint=_fingerprint(frames, self._bits_sum, -highs, -lows),
        )

    def _bits_used(self) -> int | None:
        if self._used is None or self._used == 0:
            return None
        unused = (int(self._used) & -int(self._used)).bit_length() - 1
        return 24 - unused


class _ClipCounter:
    """Runs of samples at full scale, also across blocks."""

    def __init__(self, full_scale: float) -> None:
        self._full_scale = full_scale
        self._running = 0
        self.runs = 0
        self.longest = 0

    def add(self, samples: FloatArray, block_peak: float) -> None:
        if block_peak < self._full_scale:
            self._running = 0
            return
        full = np.abs(samples) >= self._full_scale
        steps = np.flatnonzero(full[1:] != full[:-1]) + 1
        begins = steps[0::2] if not full[0] else np.concatenate([[0], steps[1::2]])
        ends = steps[1::2] if not full[0] else steps[0::2]
        if full[-1]:
            ends = np.append(ends, len(full))
        lengths = ends - begins
        before = self._running if full[0] else 0
        if before:
            lengths[0] += before
        self.runs += int((lengths >= CLIPPED_RUN_SAMPLES).sum()) - (before >= CLIPPED_RUN_SAMPLES)
        longest = int(lengths.max(initial=0))
        if longest >= CLIPPED_RUN_SAMPLES:
            self.longest = max(self.longest, longest)
        self._running = int(lengths[-1]) if full[-1] else 0


def _full_scale(info: RecordingInfo) -> float:
    """The level from which a sample counts as full: two steps below the highest of 16 bits or fewer."""
    bits = min(info.bits or 16, 16)
    return float(1.0 - 2.0 ** (2 - bits))


def _gaps(lows: FloatArray, highs: FloatArray, bin_samples: int, rate_hz: int) -> list[float]:
    """Times in s of runs of zeros that begin and end abruptly in the middle of sound."""
    zero = (lows == 0.0) & (highs == 0.0)
    if not zero.any():
        return []
    levels = np.maximum(highs, -lows)
    steps = np.flatnonzero(np.diff(zero.astype(np.int8), prepend=0, append=0))
    begins, ends = steps[0::2], steps[1::2]
    seconds = (ends - begins) * bin_samples / rate_hz
    inner = (begins > 1) & (ends < len(zero) - 1)
    fits = inner & (seconds >= _SHORTEST_GAP_S) & (seconds <= _LONGEST_GAP_S)
    found: list[float] = []
    for begin, end in zip(begins[fits].tolist(), ends[fits].tolist(), strict=True):
        # The bins beside it hold its edges; the ones beyond those tell what sounded there.
        before, after = levels[begin - 2 : begin].max(), levels[end : end + 2].max()
        if min(before, after) > _SOUNDING:
            found.append(begin * bin_samples / rate_hz)
    return found


def _fingerprint(frames: int, bits_sum: int, lows: FloatArray, highs: FloatArray) -> str:
    """A hash over every bin's extremes and the sum of the samples' bits but their signs: equal samples give
    equal hashes, and upside down the sum is the same.

    Recordings that differ would have to agree in all of these; hashing the samples themselves would
    double the time of the pass.
    """
    digest = hashlib.blake2b(f"{frames} {bits_sum & 0x7FFFFFFF}".encode(), digest_size=16)
    digest.update((lows + 0.0).tobytes())  # no negative zeros
    digest.update((highs + 0.0).tobytes())
    return digest.hexdigest()
