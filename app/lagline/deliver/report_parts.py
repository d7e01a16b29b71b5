"""Measuring what a report shows beyond the session: health, loudness and tone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import numpy.typing as npt

from lagline.analysis.tone import ToneReport, measure_tone
from lagline.blend.loudness_match import matched_gains
from lagline.blend.mix import ClipLike, blend, lane_gains, lane_signal
from lagline.blend.passage import compared_passage
from lagline.deliver.delivered import Cancelled, DeliveredFile, Progress
from lagline.deliver.report_values import Measured
from lagline.media.health import Health
from lagline.media.overview import FileOverview, build_all
from lagline.media.probe import RecordingInfo
from lagline.session.values import Session, Version

_HEALTH_SHARE, _LOUDNESS_SHARE = 0.4, 0.4  # of the time, about; the rest is tone

Reader = Callable[[int, int], npt.NDArray[np.floating]]


def measured_for_report(
    session: Session,
    version: Version,
    clips: Mapping[str, ClipLike],
    *,
    files: tuple[DeliveredFile, ...] = (),
    progress: Progress = lambda _: None,
    cancelled: Cancelled = lambda: False,
) -> Measured:
    """Health of the recordings, loudness of all versions, tone of the original and `version`.

    Over the passage that versions are compared over. A recording that cannot be read is left out of
    the health (opening it said why). Raises MediaError from the blends, and Cancelled.
    """
    session = session.compared(version.id)
    health = _health(session, lambda done: progress(_HEALTH_SHARE * done), cancelled)
    levels = matched_gains(session, clips, cancelled=cancelled)
    progress(_HEALTH_SHARE + _LOUDNESS_SHARE)
    rest = 1.0 - _HEALTH_SHARE - _LOUDNESS_SHARE
    tone = measured_tone(
        session, version, clips, progress=lambda done: progress(1.0 - rest + rest * done), cancelled=cancelled
    )
    return Measured(
        health=health,
        loudness_lufs=levels.lufs,
        match_db=levels.gains_db,
        tone=tone,
        files=files,
    )


def _health(
    session: Session, progress: Progress, cancelled: Cancelled
) -> dict[str, tuple[RecordingInfo, Health]]:
    paths = list(dict.fromkeys(lane.source.path for lane in session.lanes))
    done: dict[Path, float] = {}

    def tell(path: Path, fraction: float, _overviews: object) -> None:
        done[path] = fraction
        progress(sum(done.values()) / len(paths))

    built = build_all(paths, progress=tell, cancelled=cancelled)
    found: dict[str, tuple[RecordingInfo, Health]] = {}
    for lane in session.lanes:
        result = built[lane.source.path]
        if isinstance(result, FileOverview) and lane.source.channel < len(result.health):
            found[lane.id] = result.info, result.health[lane.source.channel]
    return found


def measured_tone(
    session: Session,
    version: Version,
    clips: Mapping[str, ClipLike],
    *,
    progress: Progress = lambda _: None,
    cancelled: Cancelled = lambda: False,
) -> ToneReport | None:
    """Tone of the original and `version` over the passage they are compared over; None without a sound lane.

    Raises MediaError, Cancelled.
    """
    session = session.compared(version.id)
    passage, compared = compared_passage(session), (session.original, session.version(version.id))
    gains = {one.id: lane_gains(session, one) for one in compared}
    lanes = [lane for lane in session.lanes if gains[version.id][lane.id]]
    if not lanes or passage[1] <= passage[0]:
        return None

    def blend_of(one: Version) -> Reader:
        return lambda start, stop: blend(session, one, clips, start, stop - start)

    def lane_of(index: int) -> Reader:
        lane = lanes[index]
        return lambda start, stop: lane_signal(session, version, lane, clips, start, stop - start)

    return measure_tone(
        {one.id: blend_of(one) for one in compared},
        {lane.id: lane_of(index) for index, lane in enumerate(lanes)},
        *passage,
        session.rate_hz,
        gains=gains,
        progress=progress,
        cancelled=cancelled,
    )
