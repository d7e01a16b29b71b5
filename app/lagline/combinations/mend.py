"""The smallest change that mends the worst notch of a combination somebody likes: a shift, a gain or a flip.

Candidates are worked out from the cross-spectra of the combination's lanes: a part that is moved, turned up
or down, or flipped changes the power of the sum by its own power and by its cross-spectrum with the rest. The
smallest of each kind that does it is measured like any combination, and told if it keeps its word.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from lagline.analysis.welch import never, nothing
from lagline.blend.mix import ClipLike
from lagline.blend.signals import pair_places
from lagline.combinations.cells import Cell, Part, timing_name, with_cell_kept
from lagline.combinations.facts import NOTCH_DB, CellFacts, CellSpectra, measured_board
from lagline.combinations.sums import cell_signals, cross_spectra
from lagline.combinations.words import decibels
from lagline.session.edits import with_version
from lagline.session.values import AS_IT_IS, Session, Version
from lagline.units import db_to_gain, samples_to_ms

Array = NDArray[np.float64]
ChangeKind = Literal["shift", "gain", "flip"]

LEFT_SHARE = 1.0 / 3.0  # a notch that keeps no more than this of its depth, in dB, is mended
FURTHEST_MS = 5.0
GAINS_DB = tuple(sorted((*range(-12, 0), *range(1, 7)), key=lambda gain_db: (abs(gain_db), gain_db)))
_MOST_PEAKS = 12
_TOP_HZ = 16_000.0


class Mend(Struct, frozen=True):
    """A change and what it does, both measured over the same passage.

    amount : samples later, or decibels; 0 for a flip.
    version, cell : the timing with the change, and the same lanes at it: `mended_session` has both.
    moves_db : root mean square of what it changes in the third octaves, at equal loudness.
    """

    kind: ChangeKind
    part: Part
    amount: float
    version: Version
    cell: Cell
    before: CellFacts
    after: CellFacts
    moves_db: float


class _Change(Struct, frozen=True):
    kind: ChangeKind
    part: Part
    amount: float

    def made(self, session: Session, cell: Cell) -> Version:
        """The version of a cell with the change."""
        version = session.version(cell.version_id)
        moves, balances = dict(version.moves), dict(version.balances)
        for lane_id in self.part.lane_ids:
            move, balance = version.move(lane_id), balances.get(lane_id, AS_IT_IS)
            if self.kind == "shift":
                moves[lane_id] = replace(move, shift_samples=move.shift_samples + self.amount)
            elif self.kind == "flip":
                moves[lane_id] = replace(move, polarity=-move.polarity)
            else:
                balances[lane_id] = replace(balance, gain_db=balance.gain_db + self.amount)
        key = f"{self.kind} {cell.id}"
        return Version(key, f"{timing_name(session, cell)}, mended", moves, balances, origins=version.origins)


def mended_session(session: Session, mends: Sequence[Mend]) -> Session:
    """The session with the timings of the mends among its versions."""
    for mend in mends:
        session = with_version(session, mend.version)
    return session


def with_mend_kept(session: Session, mend: Mend, name: str) -> Session:
    """The session with the mended cell as one more version under a name; work goes on where it is."""
    kept = with_cell_kept(mended_session(session, [mend]), mend.cell, name)
    return replace(kept, versions=tuple(one for one in kept.versions if one.id != mend.version.id))


def mends(
    session: Session,
    cell: Cell,
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    *,
    progress: Callable[[float], None] = nothing,
    cancelled: Callable[[], bool] = never,
) -> tuple[Mend, ...]:
    """The smallest shift, gain and flip that mend the worst notch of a cell, the least change of tone first.

    Empty where it has no notch, or none of them mends it.

    Raises NotInSession, ValueError (empty passage), MediaError, Cancelled.
    """
    sums = _apart(session, cell, clips, start, stop, lambda done: progress(0.3 * done), cancelled)
    changes = _smallest(sums, session.rate_hz) if sums else []
    if not changes:
        return ()
    versions = [change.made(session, cell) for change in changes]
    for version in versions:
        session = with_version(session, version)
    cells = [cell, *(Cell(cell.parts, version.id) for version in versions)]
    board = measured_board(
        session,
        cells,
        clips,
        start,
        stop,
        progress=lambda done: progress(0.3 + 0.7 * done),
        cancelled=cancelled,
    )
    before = board.cells[0]
    done = [
        Mend(
            change.kind, change.part, change.amount, version, after.cell, before, after,
            _moved_db(before, after),
        )
        for change, version, after in zip(changes, versions, board.cells[1:], strict=True)
        if _is_mended(_deepest(before), _deepest(after))
    ]  # fmt: skip
    return tuple(sorted(done, key=lambda mend: mend.moves_db))


def mend_words(session: Session, mend: Mend) -> str:
    """`Far 1.02 ms later: fills 18 dB at 390 Hz, 2 dB left; tone moves by 1.4 dB`."""
    left = f"{_deepest(mend.after):.0f} dB left" if mend.after.notches else "none left"
    return (
        f"{change_words(session, mend)}: fills {decibels(mend.before.notches[0])}, {left}; "
        f"tone moves by {mend.moves_db:.1f} dB"
    )


def change_words(session: Session, mend: Mend) -> str:
    """`Far 1.02 ms later`, `Far down 4 dB`, `Far flipped`."""
    if mend.kind == "flip":
        return f"{mend.part.name} flipped"
    if mend.kind == "gain":
        return f"{mend.part.name} {'up' if mend.amount > 0 else 'down'} {abs(mend.amount):.0f} dB"
    later = "later" if mend.amount > 0 else "earlier"
    return f"{mend.part.name} {abs(samples_to_ms(mend.amount, session.rate_hz)):.2f} ms {later}"


def _apart(
    session: Session,
    cell: Cell,
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> dict[Part, _Apart]:
    """Each part that sounds against the rest; empty where there is no rest."""
    signals = cell_signals(session, [cell])
    frequency_hz, cross, _ = cross_spectra(
        signals, clips, start, stop, with_phase=True, progress=progress, cancelled=cancelled
    )
    heard = list(enumerate(signals.sources))
    places = {part: [at for at, one in heard if one.lane_id in part.lane_ids] for part in cell.parts}
    return {
        part: _Apart(frequency_hz, cross, signals.weights[0], its)
        for part, its in places.items()
        if 0 < len(its) < len(heard)
    }


class _Apart:
    """The sum of a cell as one part and the rest of it: what becomes of it when the part changes."""

    def __init__(
        self, frequency_hz: Array, cross: NDArray[np.inexact], weights: Array, part: list[int]
    ) -> None:
        self.frequency_hz = frequency_hz
        count = weights.shape[1]
        rest = [at for at in range(count) if at not in part]
        matrix = np.empty((count, count, len(frequency_hz)), np.complex128)
        first, second = pair_places(count)
        matrix[second, first], matrix[first, second] = cross.conj(), cross

        def between(some: list[int], others: list[int]) -> NDArray[np.complex128]:
            """Shape (2, bins): on either side."""
            shared = matrix[np.ix_(some, others)]
            return np.stack([np.einsum("i,j,ijf->f", side[some], side[others], shared) for side in weights])

        self._rest, self._own = between(rest, rest).real, between(part, part).real
        self._shared = between(part, rest)
        own = matrix[np.arange(count), np.arange(count)].real
        alone = (weights**2).sum(axis=0)
        self._alone = alone[rest] @ own[rest], alone[part] @ own[part]

    def deepest_db(self, kind: ChangeKind, amount: float, rate_hz: float) -> float:
        """Depth of the deepest notch after a change; 0 for none."""
        gain = db_to_gain(amount) if kind == "gain" else 1.0
        turn = -1.0 if kind == "flip" else 1.0
        turned = np.full(len(self.frequency_hz), turn * gain, np.complex128)
        if kind == "shift":
            turned *= np.exp(-2j * np.pi * self.frequency_hz * amount / rate_hz)
        sides = self._rest + gain**2 * self._own + 2.0 * (turned * self._shared).real
        alone = self._alone[0] + gain**2 * self._alone[1]
        one = CellSpectra(self.frequency_hz, np.maximum(sides, 0.0), sides[0], alone, True)
        return one.deepest_db(min(_TOP_HZ, rate_hz / 2 / 10**0.05))

    def shifts(self, rate_hz: float) -> list[float]:
        """Samples by which the part would be later, where it then adds best to the rest; smallest first."""
        shared = self._shared.sum(axis=0)
        reach = round(FURTHEST_MS * rate_hz / 1000.0)
        found: set[float] = set()
        for spectrum in (shared, shared / np.maximum(np.abs(shared), 1e-300)):
            match = np.fft.irfft(spectrum.conj())
            lags = np.concatenate([match[-reach - 1 :], match[: reach + 2]])
            tops = np.flatnonzero((lags[1:-1] > lags[:-2]) & (lags[1:-1] >= lags[2:]) & (lags[1:-1] > 0)) + 1
            for at in sorted(tops, key=lambda top: -lags[top])[:_MOST_PEAKS]:
                bend = lags[at - 1] - 2.0 * lags[at] + lags[at + 1]
                found.add(round(float(at - reach - 1 + 0.5 * (lags[at - 1] - lags[at + 1]) / bend), 2))
        return sorted(found - {0.0}, key=abs)


def _smallest(sums: Mapping[Part, _Apart], rate_hz: float) -> list[_Change]:
    """Of each kind the smallest change that should mend the worst notch."""
    worst = max(one.deepest_db("gain", 0.0, rate_hz) for one in sums.values())
    if worst < NOTCH_DB:
        return []
    chosen = []
    for candidates in (_shift_changes(sums, rate_hz), _gain_changes(sums), _flip_changes(sums)):
        for change in candidates:
            left = sums[change.part].deepest_db(change.kind, change.amount, rate_hz)
            if _is_mended(worst, left):
                chosen.append(change)
                break
    return chosen


def _shift_changes(sums: Mapping[Part, _Apart], rate_hz: float) -> Iterator[_Change]:
    shifts = [(shift, part) for part, one in sums.items() for shift in one.shifts(rate_hz)]
    for shift, part in sorted(shifts, key=lambda pair: (round(abs(pair[0]), 1), -pair[0])):
        yield _Change("shift", part, shift)


def _gain_changes(sums: Mapping[Part, _Apart]) -> Iterator[_Change]:
    for gain_db in GAINS_DB:
        for part in sums:
            yield _Change("gain", part, float(gain_db))


def _flip_changes(sums: Mapping[Part, _Apart]) -> Iterator[_Change]:
    for part in sums:
        yield _Change("flip", part, 0.0)


def _is_mended(depth_db: float, left_db: float) -> bool:
    return left_db <= max(NOTCH_DB, LEFT_SHARE * depth_db) and left_db < depth_db


def _deepest(facts: CellFacts) -> float:
    return facts.notches[0].depth_db if facts.notches else 0.0


def _moved_db(before: CellFacts, after: CellFacts) -> float:
    moved = np.subtract(after.tone_db, before.tone_db)
    return float(np.sqrt(np.mean(np.square(moved)))) if len(moved) else math.nan
