"""By how much the sound of a version comes later than at the timing as recorded, taken as a whole.

Switching between versions on one clock skips or repeats what lies between their places. Played with these
leads, the same moment of the music goes on at a switch, whichever lanes carry it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from lagline.blend.mix import ClipLike, render_versions
from lagline.blend.passage import spread_places
from lagline.session.values import Session, Version

_PLACES = 8
_SHORTEST_S, _SPARE_S, _LONGEST_SEARCH_S = 0.35, 0.02, 10.0


def leads(
    session: Session,
    versions: Sequence[Version],
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    *,
    cancelled: Callable[[], bool] = lambda: False,
) -> list[int]:
    """Samples by which each version's blend comes later than the same blend as recorded, one a version.

    Where the cross-correlation of the two blends, over some stretches of `start` .. `stop` (session samples),
    is largest in size; to a whole sample, so at most half a sample is left. 0 where one of them is silent.
    Raises as `blend` does. What it gives after `cancelled` said so means nothing.
    """
    reach = [_reach(session, version) for version in versions]
    moved = [version for version, width in zip(versions, reach, strict=True) if width]
    search = min(max(reach, default=0), round(_LONGEST_SEARCH_S * session.rate_hz))
    if not search:
        return [0] * len(versions)
    search += round(_SPARE_S * session.rate_hz)
    size = 1 << math.ceil(math.log2(max(4 * search, 2 * _SHORTEST_S * session.rate_hz)))
    kept = size - 2 * search  # frames of the original that every lag finds a partner for
    originals: list[Version] = []
    for version in moved:
        if version.as_recorded not in originals:
            originals.append(version.as_recorded)
    spectra = np.zeros((len(moved), size // 2 + 1), np.complex128)
    for place in spread_places(start, stop - kept, _PLACES):
        if cancelled():
            break
        blocks = render_versions(session, (*originals, *moved), clips, place - search, size)
        references = []
        for block in blocks[: len(originals)]:
            original = np.zeros((size, 2))
            original[search : search + kept] = block[search : search + kept]
            references.append(np.fft.rfft(original, axis=0).conj())
        for number, block in enumerate(blocks[len(originals) :]):
            reference = references[originals.index(moved[number].as_recorded)]
            spectra[number] += (np.fft.rfft(block, axis=0) * reference).sum(axis=1)
    match = np.abs(np.fft.irfft(spectra, size))
    lags = np.concatenate([match[:, -search:], match[:, : search + 1]], axis=1)
    found = iter([int(row.argmax()) - search if row.any() else 0 for row in lags])
    return [next(found) if width else 0 for width in reach]


def _reach(session: Session, version: Version) -> int:
    """The furthest that any lane heard is moved."""
    moves = (version.move(lane.id) for lane in session.audible_lanes(version))
    first, last = session.span()
    furthest = (abs(move.shift_samples) + abs(move.rate_ppm) * 1e-6 * max(-first, last) for move in moves)
    return math.ceil(max(furthest, default=0.0))
