"""A loop that is switched on has the playhead in it and is as long as what sounds; steps of the guide."""

from __future__ import annotations

from pytestqt.qtbot import QtBot
from tests.support.fake_desk import FakePlayer

from lagline.blend.passage import SHORTEST_LOOP_S
from lagline.desk.window import DeskWindow


def test_the_playhead_goes_into_the_loop_that_is_switched_on(desk: DeskWindow, player: FakePlayer) -> None:
    desk.parts.times.show_range(50_000, 60_000)
    desk.parts.playing.seek(10_000)
    desk.commands.listen.loop()
    session = desk.parts.store.session
    assert session is not None and session.loop is not None
    assert 49_000 < session.loop[0] < session.loop[1] < 61_000
    assert player.now.position == session.loop[0]


def test_a_playhead_in_it_stays(desk: DeskWindow, player: FakePlayer) -> None:
    desk.parts.times.show_range(50_000, 60_000)
    desk.parts.playing.seek(55_000)
    desk.commands.listen.loop()
    assert player.now.position == 55_000


def test_a_few_samples_in_view_make_a_loop_that_can_sound(desk: DeskWindow, qtbot: QtBot) -> None:
    desk.parts.times.show_range(50_000, 50_082)
    desk.commands.listen.loop()
    session = desk.parts.store.session
    assert session is not None and session.loop is not None
    assert session.loop[1] - session.loop[0] == round(SHORTEST_LOOP_S * session.rate_hz)


def test_the_steps_of_the_first_take_show_every_start(desk: DeskWindow) -> None:
    """first-take.md: after A, Z and eight times - the starts, up to 17 ms apart in the demo, are in view."""
    desk.parts.times.set_span((0, 888_000))
    desk.parts.playing.seek(40_000)
    desk.commands.view.run("zoom_samples")
    for _ in range(8):
        desk.commands.view.run("zoom_out")
    first, last = desk.parts.times.seen
    assert first < 40_000 < 40_000 + 0.017 * 48_000 < last < 40_000 + 0.1 * 48_000
