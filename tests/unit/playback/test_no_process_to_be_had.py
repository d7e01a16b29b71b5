"""A system out of processes, files or memory: said, and got over once it has some again."""

from __future__ import annotations

import errno
import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.support.playback_processes import engines, until
from tests.support.short_take import take

from lagline.errors import EngineFailed
from lagline.playback import engine_keeper, level_watch
from lagline.playback.helper import Helper
from lagline.playback.player import Player
from lagline.playback.protocol import SILENT_CLOCK
from lagline.session import edits
from lagline.session.values import Session


def refuse(*_: object) -> Helper:
    raise OSError(errno.EAGAIN, os.strerror(errno.EAGAIN))


@pytest.fixture
def session(tmp_path: Path) -> Session:
    return take(tmp_path)


@pytest.fixture
def player(session: Session) -> Iterator[Player]:
    with Player(measure_levels=False) as made:
        made.load(session)
        made.set_device(SILENT_CLOCK)
        yield made


def test_a_spare_that_cannot_be_made_is_made_later(player: Player, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(engine_keeper, "SPARE_AFTER_S", 0.3)
    monkeypatch.setattr(engine_keeper, "SPARE_AGAIN_AFTER_S", 0.1)
    refused: list[int] = []
    others = engines()  # of an earlier test, on their way out

    def refuse_and_count(*_: object) -> Helper:
        refused.append(1)
        return refuse()

    player.play()
    until(lambda: player.state().position > 0)
    with monkeypatch.context() as patch:
        patch.setattr(engine_keeper, "Helper", refuse_and_count)
        # One that is there already goes first.
        for spare in engines() - others - {player.engine_pid}:
            assert spare is not None
            os.kill(spare, signal.SIGKILL)
        player._keeper._spare_due = 0.0  # long ago
        player._watcher.look()
        until(lambda: len(refused) > 2)
        assert player.state().playing
    until(lambda: len(engines() - others) == 2)


def test_an_engine_that_cannot_be_replaced_stops_and_says_so(player: Player, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(engine_keeper, "SPARE_AFTER_S", 600.0)
    player.play()
    until(lambda: player.state().position > 0)
    first = player.engine_pid
    assert first is not None
    with monkeypatch.context() as patch:
        patch.setattr(engine_keeper, "Helper", refuse)
        os.kill(first, signal.SIGKILL)
        until(lambda: "Press play" in player.state().message)
        assert "no other process" in player.state().message and "SIGKILL" in player.state().message
        assert not player.state().playing and player.engine_pid is None
        with pytest.raises(EngineFailed, match=os.strerror(errno.EAGAIN)):
            player.play()
        with pytest.raises(EngineFailed, match=os.strerror(errno.EAGAIN)):
            player.devices()
    place = player.state().position
    player.play()
    until(lambda: player.state().position > place)
    second = player.engine_pid
    assert second is not None
    os.kill(second, signal.SIGKILL)  # and it still listens
    until(lambda: "started again" in player.state().message)


def test_a_meter_that_cannot_be_started_is_said_and_the_next_edit_has_one(
    session: Session, monkeypatch: pytest.MonkeyPatch
):
    with Player() as player:
        with monkeypatch.context() as patch:
            patch.setattr(level_watch, "Helper", refuse)
            player.load(session)
            until(lambda: "could not be measured" in player.state().message)
            assert os.strerror(errno.EAGAIN) in player.state().message
            assert not player.state().measuring and not player.state().match_db
        player.load(edits.with_gain(session, "a", -20.0))
        until(lambda: bool(player.state().match_db))
