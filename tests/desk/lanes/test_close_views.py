"""Close views come to rest: every sample in view drawn, nothing read any more."""

from __future__ import annotations

from pytestqt.qtbot import QtBot

from lagline.desk.lanes.lane_look import Trace
from lagline.desk.window import DeskWindow


def test_a_shifted_lane_seen_closely_shows_its_samples_and_rests(desk: DeskWindow, qtbot: QtBot) -> None:
    near = next(lane.id for lane in desk.parts.store.session.lanes if lane.name == "near")
    desk.parts.times.show_range(20_000, 20_080)
    desk.parts.edits.put_at_arrival(near, -880.0)  # many views away from where it was recorded
    read: list[str] = []
    desk.parts.sounds.samples_read.connect(read.append)
    for _ in range(40):  # however slow the machine is, the reading ends
        read.clear()
        qtbot.wait(400)
        if not read:
            break
    assert not read, f"{len(read)} readings of {set(read)} while nothing changed"
    look = desk.parts.lanes.stack.row(near).wave.look
    assert look is not None and look.ghost is not None
    for trace in (look.wave, look.ghost):
        assert has_samples(desk, trace), trace


def has_samples(desk: DeskWindow, trace: Trace) -> bool:
    first, stop = (at - trace.at_samples for at in desk.parts.times.seen)
    return desk.parts.sounds.data.samples(trace.lane_id, first, stop) is not None
