"""What stays when another take of the same lanes is opened: playhead, zoom, loop, choice of lanes."""

from __future__ import annotations

from msgspec import Struct
from msgspec.structs import replace

from lagline.desk.lanes.selection import Selection
from lagline.desk.parts import DeskParts
from lagline.desk.timeview import TimeView
from lagline.session.edits import with_loop
from lagline.session.setup import Setup, SetupLane, matched_lanes
from lagline.session.values import Move, Session


class Carried(Struct, frozen=True):
    """Times in seconds; lanes by name."""

    lanes: Setup  # the lanes of the take that was left, to tell the others' by
    playhead_s: float
    view: TimeView | None  # None: the whole take was in view
    rate_hz: int
    is_looping: bool
    loop_s: tuple[float, float] | None
    current: str
    chosen: tuple[str, ...]

    def fits(self, session: Session) -> bool:
        """Whether the take has the same lanes, by name."""
        found = matched_lanes(self.lanes, session)
        return len(found) == len(session.lanes) == len(self.lanes.lanes)


def carried_from(parts: DeskParts) -> Carried | None:
    """How the take on the desk is looked at; None without one."""
    session = parts.store.session
    if session is None:
        return None
    names = {lane.id: lane.name for lane in session.lanes}
    selection, rate_hz = parts.lanes.stack.selection, session.rate_hz
    return Carried(
        lanes=Setup("", rate_hz, tuple(SetupLane(lane.name, Move()) for lane in session.lanes)),
        playhead_s=parts.playing.state.position_samples / rate_hz,
        view=None if parts.times.shows_all else parts.times.view,
        rate_hz=rate_hz,
        is_looping=parts.playing.is_looping,
        loop_s=None if session.loop is None else (session.loop[0] / rate_hz, session.loop[1] / rate_hz),
        current=names.get(selection.current or "", ""),
        chosen=tuple(names[lane_id] for lane_id in selection.chosen if lane_id in names),
    )


def with_its_loop(carried: Carried, session: Session) -> Session:
    """The take with the loop of the other, where it has none of its own and is long enough."""
    if session.loop is not None or carried.loop_s is None or not carried.fits(session):
        return session
    start, stop = (round(at_s * session.rate_hz) for at_s in carried.loop_s)
    first, last = session.span()
    return with_loop(session, (start, stop)) if first <= start < stop <= last else session


def carry_over(carried: Carried, parts: DeskParts) -> None:
    """Look at the take that was opened as at the other one, if its lanes are the same."""
    session = parts.store.session
    if session is None or not carried.fits(session):
        return
    first, last = session.span()
    playhead = carried.playhead_s * session.rate_hz
    if first <= playhead <= last:
        parts.playing.seek(playhead)
    parts.playing.set_looping(carried.is_looping and session.loop is not None)
    if carried.view is not None:
        scale = session.rate_hz / carried.rate_hz
        parts.times.show(TimeView(carried.view.first * scale, carried.view.per_pixel * scale))
    ids = {known.name: lane_id for lane_id, known in matched_lanes(carried.lanes, session).items()}
    if carried.current in ids:
        chosen = tuple(ids[name] for name in carried.chosen if name in ids)
        parts.lanes.stack.select(replace(Selection(), current=ids[carried.current], chosen=chosen))
