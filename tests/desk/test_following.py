"""Where a close view looks after lanes have moved."""

from __future__ import annotations

import pytest
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.desk_hands import press
from tests.support.fake_desk import FakePlayer
from tests.support.invented_session import session

from lagline.desk.following import drawn_attack, to_follow
from lagline.desk.window import DeskWindow
from lagline.session.edits import accepted, with_shift
from lagline.session.values import ORIGINAL, Version


def test_an_attack_is_drawn_where_the_first_lane_was_put() -> None:
    """The contact pickup hears it 118.02 samples before the room, which stays where it is."""
    now = session()
    assert drawn_attack(now, ORIGINAL, 5000) == 5000
    lined_up = accepted(now, ["room", "near", "pick", "far"]).current_version
    assert drawn_attack(now, lined_up, 5000) == pytest.approx(5118.02)
    only_pick = Version("v9", "", moves={"pick": lined_up.moves["pick"]})
    assert drawn_attack(now, only_pick, 5000) == pytest.approx(5000 + 118.02 - 101.37)


def test_without_findings_the_lane_shifted_least_leads() -> None:
    now = with_shift(session(measured=False), "near", 300.0)
    assert drawn_attack(now, now.current_version, 5000) == 5000


def test_a_view_follows_what_would_leave_it() -> None:
    before = session()
    after = with_shift(before, "pick", 900.0)

    def stroke(_lane: str, first: float, stop: float) -> float:
        return 1.0 if first <= 5_000 < stop else 0.0

    assert to_follow(before, after, (4_900, 5_100), stroke, "pick") == 900
    assert to_follow(before, after, (1_000, 9_000), stroke, "pick") == 0  # still in view
    assert to_follow(before, after, (7_000, 7_100), stroke, "pick") == 0  # nothing was


def test_closer_at_an_attack_shows_it_where_the_lanes_now_are(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    """Accept while looking at single samples, and step to an attack of shifted lanes: never a flat view."""
    focus(desk.parts.lanes.stack, qtbot)
    with qtbot.waitSignal(desk.parts.measuring.over, timeout=60_000):
        press(desk, "Ctrl+M")
    press(desk, "A")
    qtbot.waitUntil(lambda: player.now.position > 0, timeout=10_000)
    press(desk, "Z")
    qtbot.wait(200)  # until what is in view has been read
    attack = player.now.position
    first, last = desk.parts.times.seen
    assert last - first < 96 and first < attack < last
    press(desk, "Ctrl+Shift+Return")
    first, last = desk.parts.times.seen
    assert first < attack + 96 < last, "near moved by 96 samples and the view with it"
    press(desk, "0")
    press(desk, "Z")
    first, last = desk.parts.times.seen
    assert 0.5 * (first + last) == pytest.approx(attack + 96, abs=2)
