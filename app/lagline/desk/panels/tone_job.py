"""What the tone panel shows, measured from the recordings. Plain functions for a background thread; no Qt."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from lagline.analysis.notches import PairComb, pair_comb
from lagline.analysis.tone import Coherence, ToneReport, measure_coherence, measure_tone
from lagline.analysis.welch import Reader, never, nothing
from lagline.blend.mix import ClipLike, lane_gains, lane_signal, render_versions
from lagline.deliver.placement import with_whole_shifts
from lagline.session.values import Lane, Session, Version


def tone_of(
    session: Session,
    version_ids: tuple[str, ...],
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    *,
    progress: Callable[[float], None] = nothing,
    cancelled: Callable[[], bool] = never,
) -> ToneReport:
    """Tone of the blends of some versions over a passage, and what summing the lanes heard gained.

    `start`, `stop`: session samples. Raises NotInSession, ValueError (empty passage), Cancelled, MediaError.
    """
    session = session.compared(*version_ids)
    versions = tuple(session.version(version_id) for version_id in dict.fromkeys(version_ids))
    renders = _Renders(session, versions, clips)
    blends = {version.id: renders.reader(index) for index, version in enumerate(versions)}
    # A fraction of a sample does not change a lane's power, and costs as much as the whole blend.
    whole = with_whole_shifts(versions[-1])
    gains = {version.id: lane_gains(session, version) for version in versions}
    lanes = {
        lane.id: _lane_reader(session, whole, lane, clips)
        for lane in session.lanes
        if any(of_lane[lane.id] for of_lane in gains.values())
    }
    return measure_tone(
        blends, lanes, start, stop, session.rate_hz, gains=gains, progress=progress, cancelled=cancelled
    )


def shared_with_anchor(
    session: Session,
    lane_id: str,
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    *,
    cancelled: Callable[[], bool] = never,
) -> Coherence | None:
    """Coherence and phase of a lane against the anchor over a passage, the arrival taken out.

    None when there is no other anchor to compare with. Where nothing was found the lane is taken where the
    current version has it.
    """
    anchor_id = session.anchor_id
    if anchor_id is None or anchor_id == lane_id:
        return None
    version = lined_up(session, lane_id)
    anchor, lane = (_lane_reader(session, version, session.lane(key), clips) for key in (anchor_id, lane_id))
    return measure_coherence(anchor, lane, start, stop, session.rate_hz, cancelled=cancelled)


def lined_up(session: Session, lane_id: str) -> Version:
    """The current version with this lane on the anchor, whether the finding was accepted or not."""
    version = session.current_version
    finding = session.alignment.finding(lane_id) if session.alignment is not None else None
    if finding is None or finding.arrival_samples is None or session.alignment is None:
        return version
    shift = version.move(session.alignment.anchor_id).shift_samples - finding.arrival_samples
    move = replace(version.move(lane_id), shift_samples=shift)
    return replace(version, moves={**version.moves, lane_id: move})


def predict_pair(
    session: Session, version: Version, first_id: str, second_id: str, level_db: float = 0.0
) -> PairComb | None:
    """The comb that two lanes make in a version, from the findings; None where either has no arrival.

    `level_db`: of the second lane against the first in the blend.
    """
    alignment = session.alignment
    if alignment is None or first_id == second_id:
        return None
    places, sign = [], 1
    for lane_id in (first_id, second_id):
        finding = alignment.finding(lane_id)
        if finding is None or finding.arrival_samples is None:
            return None
        move = version.move(lane_id)
        places.append(finding.arrival_samples + move.shift_samples)
        sign *= (finding.polarity or 1) * move.polarity
    return pair_comb(places[1] - places[0], session.rate_hz, level_db, sign)


class _Renders:
    """Blends of several versions, each stretch rendered once for all of them."""

    def __init__(
        self, session: Session, versions: tuple[Version, ...], clips: Mapping[str, ClipLike]
    ) -> None:
        self._session, self._versions, self._clips = session, versions, clips
        self._at: tuple[int, int] | None = None
        self._made: list[NDArray[np.float32]] = []

    def reader(self, index: int) -> Reader:
        def read(start: int, stop: int) -> NDArray[np.float32]:
            if self._at != (start, stop):
                self._made = render_versions(self._session, self._versions, self._clips, start, stop - start)
                self._at = (start, stop)
            return self._made[index]

        return read


def _lane_reader(session: Session, version: Version, lane: Lane, clips: Mapping[str, ClipLike]) -> Reader:
    def read(start: int, stop: int) -> NDArray[np.float32]:
        return lane_signal(session, version, lane, clips, start, stop - start)

    return read
