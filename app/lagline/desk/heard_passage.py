"""Which passage is heard, over and over, when a change is to be heard at once. No Qt."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from lagline.desk.lanes.wave_data import ColumnSource
from lagline.session.values import Session

LEAD_IN_S = 0.25
PASSAGE_S = 4.0
LOOK_S = 0.05
SOUNDS = 0.1  # of a lane's peak


def passage_to_hear(
    session: Session, lane_ids: Iterable[str], here: float, overviews: Mapping[str, ColumnSource]
) -> tuple[int, int]:
    """Start and stop in session samples: some seconds from where one of the lanes next sounds, at the
    playhead or after it, else from where it sounds first. Where nothing is known of them yet, from the
    playhead."""
    first, last = session.span(session.current_version)
    rate_hz, step = session.rate_hz, LOOK_S * session.rate_hz
    sounding: list[np.ndarray] = []
    for lane_id in lane_ids:
        lane, overview = session.lane(lane_id), overviews.get(lane_id)
        frames = lane.frames(rate_hz)
        count = int(frames // step)
        if overview is None or not count:
            continue
        lows, highs = overview.columns(0.0, count * step, count)
        level = np.maximum(highs, -lows)
        at = lane.place_samples + session.current_version.move(lane_id).shift_samples
        sounding.append(at + step * np.flatnonzero(level >= max(SOUNDS * float(level.max()), 1e-9)))
    places = np.concatenate(sounding) if sounding else np.zeros(0)
    ahead = places[places >= here - step]
    run_up = LEAD_IN_S * rate_hz if len(places) else 0.0
    wanted = ahead if len(ahead) else places
    start = max(round((float(wanted.min()) if len(wanted) else here) - run_up), first)
    stop = min(start + round(PASSAGE_S * rate_hz), last)
    return (start, stop) if start < stop else (first, last)
