"""How loud rendered sound is from moment to moment: what the hearing guard goes by."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from lagline.blend.loudness import k_response, lufs_of
from lagline.blend.signals import pair_places, pair_weights
from lagline.playback.views import View

HOP_S = 0.02
LOUDEST_HOPS = 5  # 100 ms
KEPT_S = 8.0  # more than a ring of rendered sound holds, so that some of what was heard is known too
_KINDS = {(False, False): 0, (False, True): 1, (True, False): 2, (True, True): 3}  # difference, mono

FloatArray = npt.NDArray[np.float32]


class LevelTrack:
    """Mean K-weighted power (ITU-R BS.1770-4 annex 1, both sides added) of every view, one a hop of 20 ms.

    Each hop is weighed by its spectrum, so nothing rings on from one to the next: what lies below 50 Hz is
    told only roughly, which does for a guard. Frames count on a clock that goes on from reel to reel: `base`
    is where frame 0 of this one lies, so that hops of a reel and of the one spliced onto it cover the same.

    overlap : the first frames, which still hold the sound of the reel before, do not count.
    shares : of each slot and kind in the pairs of signals (`shares_of`), shape (slots, 4, pairs): `add` takes
        the signals then, not the slots.

    `written` moves after the powers are in place; one thread adds, another may read.
    """

    def __init__(
        self,
        slots: int,
        original: int | None,
        rate_hz: int,
        base: int = 0,
        overlap: int = 0,
        shares: npt.NDArray[np.float64] | None = None,
    ) -> None:
        self.hop = round(HOP_S * rate_hz)
        self.base = base
        self._first = -(-(base + overlap) // self.hop)  # hop number of the first one that counts
        self.written = self._first  # hop number after the last one known
        self._skip = self._first * self.hop - base  # frames before it
        self._original = original
        self._size = math.ceil(KEPT_S / HOP_S)
        self._powers = np.zeros((slots, len(_KINDS), self._size))
        self._runs = np.zeros_like(self._powers)  # each with the four before it, for a reader in haste
        response = k_response(rate_hz, self.hop)
        self._weight = np.abs(response) ** 2 * 2.0 / self.hop**2  # both halves of the spectrum
        self._weight[-1] /= 2.0
        self._shares = shares
        self._rest: FloatArray | None = None

    def add(self, blocks: Sequence[FloatArray]) -> None:
        """The next frames of every slot, each float32, shape (frames, 2); or of every signal, (frames,)."""
        skip = min(self._skip, len(blocks[0]))
        self._skip -= skip
        sound = np.stack([block[skip:] for block in blocks])
        if self._rest is not None:
            sound = np.concatenate([self._rest, sound], axis=1)
        hops = sound.shape[1] // self.hop
        self._rest = sound[:, hops * self.hop :]
        if hops:
            whole = sound[:, : hops * self.hop]
            self._measure(whole.reshape(len(blocks), hops, self.hop, *sound.shape[2:]))

    def _measure(self, sound: FloatArray) -> None:
        """Whole hops, shape (slots, hops, frames, 2) or (signals, hops, frames)."""
        spectra = np.fft.rfft(sound, axis=2)
        at = np.arange(self.written, self.written + sound.shape[1])
        if self._shares is not None:
            self._powers[:, :, at % self._size] = np.maximum(self._shares @ self._pair_powers(spectra), 0.0)
        else:
            self._put(spectra, at % self._size, 0)
            if self._original is not None:
                self._put(spectra - spectra[self._original], at % self._size, 2)
        runs = self._powers[:, :, at % self._size]
        for back in range(1, LOUDEST_HOPS):
            runs += self._powers[:, :, (at - back) % self._size]
        self._runs[:, :, at % self._size] = runs
        self.written += len(at)

    def _put(self, spectra: npt.NDArray[np.complexfloating], at: npt.NDArray[np.int64], kind: int) -> None:
        self._powers[:, kind, at] = _squares(spectra).sum(axis=3) @ self._weight
        self._powers[:, kind + 1, at] = _squares(spectra.sum(axis=3)) @ self._weight / 2.0

    def _pair_powers(self, spectra: npt.NDArray[np.complexfloating]) -> npt.NDArray[np.float64]:
        """Of each pair of signals, one a hop: (signals, hops, bins) -> (pairs, hops)."""
        weighted = (spectra * np.sqrt(self._weight)).transpose(1, 0, 2)
        parts = np.concatenate([weighted.real, weighted.imag], axis=2)
        first, second = pair_places(len(spectra))
        return np.asarray((parts @ parts.transpose(0, 2, 1))[:, first, second].T)

    def hops(self, first: int, stop: int) -> tuple[int, int]:
        """The hops, as numbers, that are known of those within the frames `first` .. `stop` of the reel."""
        kept = max(self._first, self.written - self._size)
        since = -(-(self.base + first) // self.hop)
        return max(kept, since), min(self.written, (self.base + stop) // self.hop)

    def loudest_lufs(self, slot: int, view: View, hops: tuple[int, int]) -> float:
        """Level of the loudest 100 ms in a range of hop numbers; -inf for silence.

        LUFS without gates. Of a range that is shorter, the mean.
        """
        first, stop = hops
        if stop - first < LOUDEST_HOPS:
            return self.mean_lufs(slot, view, hops)
        runs = self._runs[slot, _KINDS[view.difference, view.mono]]
        a, b = (first + LOUDEST_HOPS - 1) % self._size, (stop - 1) % self._size + 1
        top = runs[a:b].max() if a < b else max(runs[a:].max(), runs[:b].max())
        return lufs_of(float(top) / LOUDEST_HOPS)

    def mean_lufs(self, slot: int, view: View, hops: tuple[int, int]) -> float:
        """Mean level over a range of hop numbers; -inf for silence or an empty range."""
        first, stop = hops
        if first >= stop:
            return -math.inf
        powers = self._powers[slot, _KINDS[view.difference, view.mono]]
        a, b = first % self._size, (stop - 1) % self._size + 1
        total = powers[a:b].sum() if a < b else powers[a:].sum() + powers[:b].sum()
        return lufs_of(float(total) / (stop - first))


def shares_of(weights: npt.NDArray[np.float64], original: int | None) -> npt.NDArray[np.float64]:
    """What each pair of signals counts for in the power of every slot and kind.

    `weights`: shape (slots, 2, signals). Gives shape (slots, kinds, pairs).
    """
    stereo = pair_weights(weights).sum(axis=1)
    mono = pair_weights(weights.sum(axis=1)) / 2.0
    if original is None:
        none = np.zeros_like(stereo)
        return np.stack([stereo, mono, none, none], axis=1)
    apart = weights - weights[original]
    return np.stack(
        [stereo, mono, pair_weights(apart).sum(axis=1), pair_weights(apart.sum(axis=1)) / 2.0], axis=1
    )


def _squares(spectra: npt.NDArray[np.complexfloating]) -> npt.NDArray[np.floating]:
    return spectra.real**2 + spectra.imag**2
