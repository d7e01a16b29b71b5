"""From a session and a view to what every lane looks like. No widgets."""

from __future__ import annotations

import math

from msgspec import Struct

from lagline.desk.lanes.lane_look import LaneLook, Trace
from lagline.desk.theme import Theme
from lagline.desk.timeview import TimeView
from lagline.session.values import Lane, Session, Version

FULL = 0.94  # of half the height, for a lane's peak
MOST_SCALE = 10.0 ** (60 / 20)


class StackLook(Struct, frozen=True):
    """What all lanes share."""

    view: TimeView
    version: Version  # whose shifts the lanes are drawn at
    theme: Theme
    anchor_behind: bool = False
    height_zoom_db: float = 0.0


def fitting_scale(peak: float, zoom_db: float = 0.0) -> float:
    """How large a lane with this peak is drawn: it fills its height at 0 dB of zoom.

    In steps of 3 dB, so that lanes don't flicker while their overview grows.
    """
    if peak <= 0:
        return FULL
    steps = math.floor(-20 * math.log10(peak) / 3.0 + 1e-6)
    return FULL * min(10 ** ((3.0 * steps + zoom_db) / 20), MOST_SCALE)


def trace_of(session: Session, lane: Lane, version: Version, scale: float) -> Trace:
    """The lane where `version` puts it."""
    move = version.move(lane.id)
    return Trace(lane.id, lane.place_samples + move.shift_samples, move.polarity, scale)


def look_of(
    session: Session,
    lane: Lane,
    colour: int,
    shared: StackLook,
    peaks: dict[str, float],
    *,
    selected: bool = False,
    heard: bool = True,
) -> LaneLook:
    """The picture of one lane: wave, ghost of the original place, and the anchor behind when wanted."""
    scale = fitting_scale(peaks.get(lane.id, 0.0), shared.height_zoom_db)
    wave = trace_of(session, lane, shared.version, scale)
    ghost = None
    if abs(wave.at_samples - lane.place_samples) >= 0.5 * shared.view.per_pixel:
        ghost = Trace(lane.id, float(lane.place_samples), 1, scale)
    anchor = None
    if shared.anchor_behind and session.anchor_id not in (None, lane.id):
        there = session.lane(session.anchor_id or "")
        anchor_scale = fitting_scale(peaks.get(there.id, 0.0), shared.height_zoom_db)
        anchor = trace_of(session, there, shared.version, anchor_scale)
    return LaneLook(
        view=shared.view,
        rate_hz=session.rate_hz,
        wave=wave,
        colour=shared.theme.lane(colour),
        ghost=ghost,
        anchor=anchor,
        is_heard=heard,
        is_selected=selected,
        loop=session.loop,
    )


def shift_targets(session: Session, lane_id: str) -> tuple[float, ...]:
    """Shifts the magnet draws a lane to: its finding, first sound, best fit and runners-up, seen from where
    the anchor now is; and its original place."""
    alignment = session.alignment
    finding = alignment.finding(lane_id) if alignment else None
    if alignment is None or finding is None or lane_id == alignment.anchor_id:
        return (0.0,)
    anchor_shift = session.current_version.move(alignment.anchor_id).shift_samples
    arrivals = [
        finding.arrival_samples,
        finding.first_sound_samples,
        finding.best_fit_samples,
        *(runner.arrival_samples for runner in finding.runners_up),
    ]
    return (*(anchor_shift - arrival for arrival in arrivals if arrival is not None), 0.0)
