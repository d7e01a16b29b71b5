"""What the close-up shows: a few milliseconds of every lane around an attack, before and after shifting.

Plain functions for a background thread: they read recordings. No Qt.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.attacks import Attack, shared_attacks
from lagline.blend.mix import ClipLike, lane_signal
from lagline.desk.following import drawn_attack
from lagline.errors import Cancelled
from lagline.session.values import ORIGINAL, Lane, Session, Version

FloatArray = NDArray[np.float32]

SEEK_S = 4.0  # an attack is sought in stretches of this length
RUN_UP_S = 0.1  # read before a stretch, so that a rise at its edge has something to rise from
STRONG = 0.4  # of the strongest attack in the stretch
LEAST = 0.08  # strength that counts as an attack at all


class CloseUpData(Struct, frozen=True):
    """Lanes over one stretch of session time.

    `start`: session sample of the first column; `centre`: of the attack. `before`, `after`: float32, shape
    (lanes, frames), each lane scaled so that its peak over both is 1; a silent lane stays 0.
    `version_id`, `version_name`: what "after" is. `after_by`: how many samples later in the take `after` was
    read, because there the version places the attack.
    """

    rate_hz: int
    start: int
    centre: int
    lane_ids: tuple[str, ...]
    before: FloatArray
    after: FloatArray
    version_name: str
    after_by: int = 0
    version_id: str = "v1"

    @property
    def frames(self) -> int:
        return int(self.before.shape[1])

    def times_ms(self) -> NDArray[np.float64]:
        """Time of each column against the attack, ms."""
        return np.asarray((self.start + np.arange(self.frames) - self.centre) * 1000.0 / self.rate_hz)


def close_up(
    session: Session,
    version: Version,
    clips: Mapping[str, ClipLike],
    centre: int,
    span_ms: float,
    *,
    lanes: tuple[Lane, ...] | None = None,
) -> CloseUpData:
    """Read every lane around `centre`, as recorded and as `version` shifts and flips it.

    Parameters
    ----------
    centre : session sample of the attack as recorded; it stands a third into the stretch, before and after.
    span_ms : length of the stretch.
    lanes : all of the session's by default.

    Raises
    ------
    ValueError
        `span_ms` is not positive.
    MediaError
        A recording cannot be read.
    """
    if not span_ms > 0:
        raise ValueError("a close-up needs a stretch longer than nothing")
    frames = max(round(span_ms * session.rate_hz / 1000), 8)
    start = centre - frames // 3
    chosen = session.lanes if lanes is None else lanes
    before = np.zeros((len(chosen), frames), dtype=np.float32)
    after = np.zeros_like(before)
    after_by = round(drawn_attack(session, version, centre)) - centre
    for row, lane in enumerate(chosen):
        before[row] = lane_signal(session, ORIGINAL, lane, clips, start, frames)
        after[row] = lane_signal(session, version, lane, clips, start + after_by, frames)
        peak = max(float(np.abs(before[row]).max()), float(np.abs(after[row]).max()))
        if peak > 0:
            before[row] /= peak
            after[row] /= peak
    return CloseUpData(
        session.rate_hz,
        start,
        centre,
        tuple(lane.id for lane in chosen),
        before,
        after,
        version.name,
        after_by,
        version.id,
    )


def seek_attack(
    session: Session,
    clips: Mapping[str, ClipLike],
    position: int,
    direction: int,
    cancelled: Callable[[], bool] = lambda: False,
) -> int | None:
    """The next (direction +1) or previous (-1) strong attack that the lanes share, in session samples.

    Parameters
    ----------
    position : session sample to start from; an attack within 2 ms of it does not count again.

    Returns
    -------
    The earliest lane's first movement, lanes taken where they were recorded; None when there is none.

    Raises
    ------
    ValueError
        `direction` is neither +1 nor -1.
    Cancelled
    MediaError
        A recording cannot be read.
    """
    if direction not in (1, -1):
        raise ValueError("an attack is sought forwards (+1) or backwards (-1)")
    first, last = session.span()
    stretch = round(SEEK_S * session.rate_hz)
    margin = round(0.002 * session.rate_hz)
    at = min(max(position, first), last)
    while first <= at <= last:
        if cancelled():
            raise Cancelled
        start, stop = (at, min(at + stretch, last)) if direction > 0 else (max(at - stretch, first), at)
        if stop <= start:
            return None
        found = [
            attack.start_samples
            for attack in strong_attacks(session, clips, start, stop)
            if (attack.start_samples - position) * direction > margin
        ]
        if found:
            return min(found) if direction > 0 else max(found)
        if (stop == last) if direction > 0 else (start == first):
            return None
        at = stop if direction > 0 else start
    return None


def strong_attacks(
    session: Session, clips: Mapping[str, ClipLike], start: int, stop: int
) -> tuple[Attack, ...]:
    """The strong attacks that begin within a stretch of session time, in session samples.

    Strong is meant against SEEK_S about the stretch, so that in a silent one the noise is not strong.
    """
    run_up = round(RUN_UP_S * session.rate_hz)
    about = round(SEEK_S * session.rate_hz)
    first = min(start, stop - about) - run_up
    frames = max(stop, start + about) + run_up - first
    signals = [
        (lane_signal(session, ORIGINAL, lane, clips, first, frames), 0.0)
        for lane in session.audible_lanes(session.original)
    ]
    apart_s = _spread_s(session)
    found = [
        Attack(attack.start_samples + first, attack.rise_db, attack.strength)
        for attack in shared_attacks(signals, session.rate_hz, together_s=apart_s)
    ]
    least = max(LEAST, STRONG * max((attack.strength for attack in found), default=0.0))
    return tuple(a for a in found if a.strength >= least and start <= a.start_samples < stop)


def span_ms_for(session: Session) -> float:
    """A stretch that shows an attack in all lanes: three times the largest shift there is, 6 to 60 ms."""
    shifts = [abs(move.shift_samples) for move in session.current_version.moves.values()]
    if session.alignment is not None:
        shifts += [
            abs(finding.arrival_samples)
            for finding in session.alignment.findings
            if finding.arrival_samples is not None
        ]
    largest_ms = 1000.0 * max(shifts, default=0.0) / session.rate_hz
    return float(min(max(math.ceil(3 * largest_ms), 6), 60))


def _spread_s(session: Session) -> float:
    """How far apart the lanes hear one attack, at least 5 ms and at most 60."""
    return min(max(span_ms_for(session) / 2000.0, 0.005), 0.060)
