"""Where to look once lanes have moved, so that a close view does not go flat. No Qt."""

from __future__ import annotations

from collections.abc import Callable

from lagline.session.values import Session, Version

HAS_SOUND = 0.05  # of the lane's peak over the take
LOST = 0.25  # of what was in view before

PeakIn = Callable[[str, float, float], float]
"""Largest magnitude of a lane between two of its own samples, as a part of its peak over the take, 0..1."""


def drawn_attack(session: Session, version: Version, centre: float) -> float:
    """Where an attack begins as `version` places the lanes, session samples.

    `centre` is where the first lane begins to move as recorded. Which lane that is and how the others
    follow is known from the findings; without any, the lane that is shifted least is taken for it.
    """
    lanes = session.audible_lanes(version)
    alignment = session.alignment
    arrivals = {
        finding.lane_id: finding.arrival_samples
        for finding in (alignment.findings if alignment is not None else ())
        if finding.arrival_samples is not None
    }
    known = [lane for lane in lanes if lane.id in arrivals]
    if not known:
        return centre + min((version.move(lane.id).shift_samples for lane in lanes), default=0.0)
    first = min(arrivals[lane.id] for lane in known)
    return min(centre + arrivals[lane.id] - first + version.move(lane.id).shift_samples for lane in known)


def to_follow(
    before: Session, after: Session, seen: tuple[float, float], peak_in: PeakIn, chosen: str | None = None
) -> float:
    """By how many samples the view has to move so that most of what was in it still is; 0 for none.

    seen : first and last session sample in view.
    chosen : lane whose move counts when the lanes moved by different amounts.
    """
    moved, lost = {}, []
    for lane in after.lanes:
        old = before.current_version.move(lane.id).shift_samples
        new = after.current_version.move(lane.id).shift_samples
        if new == old:
            continue
        moved[lane.id] = new - old
        was = peak_in(lane.id, seen[0] - lane.place_samples - old, seen[1] - lane.place_samples - old)
        now = peak_in(lane.id, seen[0] - lane.place_samples - new, seen[1] - lane.place_samples - new)
        if was >= HAS_SOUND and now < LOST * was:
            lost.append(lane.id)
    if not lost or 2 * len(lost) < len(moved):
        return 0.0
    return moved[chosen if chosen in lost else lost[0]]
