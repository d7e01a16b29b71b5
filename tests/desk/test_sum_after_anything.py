"""Whatever was edited, heard and taken back: the sum that is drawn is the blend of the version heard."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest
from PySide6.QtGui import QKeySequence
from pytestqt.qtbot import QtBot
from tests.desk.conftest import wait_until_drawn
from tests.support.desk_hands import press

from lagline.blend.mix import blend
from lagline.desk.lanes.sum_row import sum_id
from lagline.desk.reading.sums import BIN, TILE, folded
from lagline.desk.window import DeskWindow

STEPS = 30


def anything(desk: DeskWindow, dice: random.Random) -> None:
    """One random step of a person in a hurry."""
    edits, session, times = desk.parts.edits, desk.parts.store.session, desk.parts.times
    assert session is not None
    lane, version = dice.choice(session.lanes).id, dice.choice(session.versions).id
    heard = dice.choice(["original", version])
    steps: list[Callable[[], object]] = [
        lambda: edits.shift(lane, float(dice.randrange(-2_000, 2_000))),
        lambda: edits.flip(lane, dice.choice([-1, 1])),
        lambda: edits.mute(lane, dice.random() < 0.5),
        lambda: edits.solo(lane, dice.random() < 0.5),
        lambda: edits.duplicate_version(version, f"Copy {dice.randrange(10**9)}"),
        lambda: edits.part_version(version, 0.5, f"Half {dice.randrange(10**9)}"),
        lambda: edits.choose_version(version),
        lambda: edits.delete_version(version) if len(session.versions) > 1 else None,
        lambda: desk.commands.listen.hear(heard),
        lambda: edits.remove(lane) if len(session.lanes) > 2 else None,
        lambda: press(desk, QKeySequence(QKeySequence.StandardKey.Undo).toString()),
        lambda: press(desk, QKeySequence(QKeySequence.StandardKey.Redo).toString()),
        lambda: times.show_range(dice.randrange(-9_000, 90_000), dice.randrange(91_000, 140_000)),
        lambda: times.fit(),
    ]
    dice.choice(steps)()


@pytest.mark.parametrize("seed", range(6))
def test_the_drawn_sum_is_the_blend_of_what_is_heard(desk: DeskWindow, qtbot: QtBot, seed: int) -> None:
    dice = random.Random(seed)
    for _ in range(STEPS):
        anything(desk, dice)
        if dice.random() < 0.5:
            qtbot.wait(dice.randrange(1, 200))
    desk.parts.times.fit()
    heard = desk.parts.playing.state.heard_id
    qtbot.waitUntil(lambda: desk.parts.playing.state.heard_id == heard)
    wait_until_drawn(desk, qtbot)
    session, sounds = desk.parts.store.session, desk.parts.sounds
    heard = desk.parts.playing.state.heard_id
    assert session is not None and heard is not None
    look = desk.parts.lanes.sum.wave.look
    assert look is not None and look.wave.lane_id == sum_id(heard)
    start, frames = round(look.wave.at_samples), desk.parts.lanes.sum._frames
    bins = frames // TILE * TILE // BIN
    right = folded(blend(session, session.version(heard), sounds.clips, start, bins * BIN)).reshape(bins, BIN)
    lows, highs = sounds.data.overviews()[sum_id(heard)].columns(0, bins * BIN, bins)
    np.testing.assert_array_equal(lows, right.min(axis=1))
    np.testing.assert_array_equal(highs, right.max(axis=1))
