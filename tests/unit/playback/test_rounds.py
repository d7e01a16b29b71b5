"""Playing on and on: the engine holds no more threads and files after many rounds than after a few."""

from __future__ import annotations

import os
from pathlib import Path

import psutil
import pytest
from tests.support.playback_processes import until
from tests.support.short_take import take

from lagline.playback.board import Field
from lagline.playback.player import Player
from lagline.playback.protocol import SILENT_CLOCK
from lagline.session import edits

A_FEW, MANY = 3, 30


@pytest.mark.skipif(os.name == "nt", reason="counts file descriptors")
def test_rounds_leave_nothing_behind_in_the_engine(tmp_path: Path):
    session = take(tmp_path)
    held: dict[int, tuple[int, int]] = {}
    with Player(measure_levels=False) as player:
        player.load(session)
        for number in range(1, MANY + 1):
            block_frames = 128 << number % 3  # another output every time
            player.set_device(SILENT_CLOCK, block_frames=block_frames)
            player.play()
            until(lambda: bool(player.board[Field.SOUNDING]))
            player.seek(500 * number)
            player.select("v1" if number % 2 else "original")
            lane = session.lanes[number % len(session.lanes)]
            player.load(edits.with_gain(session, lane.id, -float(number)))
            player.stop()
            until(lambda: not player.board[Field.SOUNDING])
            if number in (A_FEW, MANY):
                until(lambda wanted=block_frames: player.state().block_frames == wanted)
                engine = psutil.Process(player.engine_pid)
                held[number] = (engine.num_threads(), engine.num_fds())
        assert not player.state().message
    assert held[MANY] == held[A_FEW]
