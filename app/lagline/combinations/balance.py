"""Two or three parts against each other at constant loudness: shares of the power, and the gains they take.

Measured once, the cross-powers of the lanes (`blend.signals`) give the loudness at any gains.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from lagline.analysis.welch import never
from lagline.blend.loudness import GatedPowers, audible_lufs
from lagline.blend.mix import ClipLike, lane_gains
from lagline.blend.passage import fade_frames, rise
from lagline.blend.signals import PairMeter, Signals, measured_pairs, pair_weights
from lagline.combinations.cells import Cell, Part, cell_version
from lagline.combinations.sums import cell_signals
from lagline.errors import Cancelled
from lagline.session.edits import LOUDEST_GAIN_DB, QUIETEST_GAIN_DB, with_version
from lagline.session.values import ORIGINAL_ID, Session
from lagline.units import db_to_gain, gain_to_db

Array = NDArray[np.float64]
FEWEST_BALANCED, MOST_BALANCED = 2, 3
QUIETEST_SHARE = 1e-5  # 50 dB below the whole: out of hearing, and the way back stays open
_ROUNDS = 3


class BalanceMeter:
    """The parts of one cell, at the moves and pans it was measured with."""

    def __init__(self, cell: Cell, signals: Signals, meter: PairMeter) -> None:
        self.cell = cell
        self._signals, self._meter = signals, meter
        gains = lane_gains(signals.session, signals.session.versions[0])
        self._lane_ids = [one.lane_id for one in signals.sources]
        self._panned = signals.weights[0] / np.array([gains[lane_id] for lane_id in self._lane_ids])

    @property
    def parts(self) -> tuple[Part, ...]:
        """In the order of the shares."""
        return self.cell.parts

    def holds_for(self, session: Session) -> bool:
        """Whether but for gains the cell is as it was measured."""
        if not session.has_version(self.cell.version_id):
            return False
        version, measured = cell_version(session, self.cell), self._signals.session.versions[0]
        return all(
            version.move(lane_id) == measured.move(lane_id)
            and version.balance(lane_id).pan == measured.balance(lane_id).pan
            for lane_id in self._lane_ids
        )

    def lufs(self, session: Session) -> float:
        """Loudness of the cell as it is balanced in a session; -inf for silence."""
        return self._lufs(self._gains(session))

    def shares(self, session: Session) -> tuple[float, ...]:
        """Of each part in the K-weighted power of all, each by itself; 1 together, zeros for silence."""
        powers = self._powers(self._gains(session))
        total = sum(powers)
        return tuple(power / total if total else 0.0 for power in powers)

    def gains_db(self, session: Session, shares: Sequence[float], lufs: float) -> dict[str, float]:
        """By lane id, the gains at which the parts have these shares and all together this loudness.

        Linked lanes keep their difference. Limited to what a fader offers.
        """
        gains = self._gains(session)
        for part, power, share in zip(self.parts, self._powers(gains), shares, strict=True):
            places = self._places(part)
            gains[places] *= math.sqrt(max(share, QUIETEST_SHARE) / power) if power else 1.0
        for _ in range(_ROUNDS):
            off_db = lufs - self._lufs(gains)
            if not math.isfinite(off_db):
                break
            gains *= db_to_gain(off_db)
        found = zip(self._lane_ids, gains, strict=True)
        return {
            lane_id: min(max(gain_to_db(float(gain)), QUIETEST_GAIN_DB), LOUDEST_GAIN_DB)
            for lane_id, gain in found
        }

    def _gains(self, session: Session) -> Array:
        version = cell_version(session, self.cell)
        return np.array([db_to_gain(version.balance(lane_id).gain_db) for lane_id in self._lane_ids])

    def _places(self, part: Part) -> list[int]:
        return [at for at, lane_id in enumerate(self._lane_ids) if lane_id in part.lane_ids]

    def _powers(self, gains: Array) -> list[float]:
        """Mean K-weighted power of each part by itself."""
        found = []
        for part in self.parts:
            own = np.zeros(len(gains))
            own[self._places(part)] = gains[self._places(part)]
            powers = self._measured(own)
            found.append((float(powers.steps.sum()) + powers.rest) / max(powers.frames, 1))
        return found

    def _lufs(self, gains: Array) -> float:
        powers = self._measured(gains)
        lufs = powers.integrated_lufs()
        return lufs if math.isfinite(lufs) else audible_lufs(powers)

    def _measured(self, gains: Array) -> GatedPowers:
        return self._meter.powers(pair_weights(self._panned * gains).sum(axis=0)[np.newaxis])[0]


def balance_meter(
    session: Session,
    cell: Cell,
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    *,
    cancelled: Callable[[], bool] = never,
) -> BalanceMeter:
    """Measure the parts of a cell over a passage of session samples.

    Raises NotInSession, ValueError (not two or three parts), MediaError, Cancelled.
    """
    if not FEWEST_BALANCED <= len(cell.parts) <= MOST_BALANCED:
        raise ValueError(f"choose a combination of {FEWEST_BALANCED} or {MOST_BALANCED} to balance")
    signals = cell_signals(session, [cell])
    edge = rise(fade_frames(session.rate_hz))[1:]
    meter = measured_pairs(signals, clips, start, stop, edge=edge, cancelled=cancelled)
    if cancelled():
        raise Cancelled
    return BalanceMeter(cell, signals, meter)


def with_gains(session: Session, cell: Cell, gains_db: Mapping[str, float]) -> Session:
    """The session with these gains in the version of a cell, or for the original in the current one.

    Raises NotInSession.
    """
    at_original = cell.version_id == ORIGINAL_ID
    version = session.current_version if at_original else session.version(cell.version_id)
    balances = dict(version.balances)
    for lane_id, gain_db in gains_db.items():
        balances[lane_id] = replace(version.balance(lane_id), gain_db=gain_db)
    return with_version(session, replace(version, balances=balances))
