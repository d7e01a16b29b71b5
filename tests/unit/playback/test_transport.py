"""News that come late: the end of one play must not end the next."""

from __future__ import annotations

import pytest

from lagline.playback.board import Board, Field
from lagline.playback.protocol import Stopped
from lagline.playback.transport import Transport


@pytest.fixture
def transport() -> Transport:
    made = Transport(0.1)
    made.jump(1_000)
    made.play()
    return made


def ended(transport: Transport) -> Stopped:
    return Stopped(True, transport.wanted.play, transport.wanted.jump)


def test_the_end_of_this_play_stops_it(transport: Transport):
    assert not transport.stopped(ended(transport))  # the engine knows
    assert not transport.wanted.playing and transport.is_at_end


def test_the_end_of_an_earlier_play_means_nothing(transport: Transport):
    late = ended(transport)
    transport.want(playing=False)
    transport.jump(0)
    transport.play()
    assert not transport.stopped(late)
    assert transport.wanted.playing and not transport.is_at_end


def test_a_jump_made_before_the_end_was_known_is_played_from(transport: Transport):
    late = ended(transport)
    transport.jump(2_000)
    assert transport.stopped(late), "the engine was not told to go on"
    assert transport.wanted.playing and transport.wanted.play == late.play + 1
    assert not transport.is_at_end


def test_a_jump_while_stopped_stays_stopped(transport: Transport):
    late = ended(transport)
    transport.want(playing=False)
    transport.jump(2_000)
    assert not transport.stopped(late)
    assert not transport.wanted.playing and not transport.is_at_end


def test_a_lost_device_ends_every_play(transport: Transport):
    lost = Stopped(False, transport.wanted.play, transport.wanted.jump)
    transport.play()
    assert transport.stopped(lost), "the engine was not told to stop the newer play"
    assert not transport.wanted.playing and transport.has_lost_device and not transport.is_at_end


def test_the_place_asked_for_counts_until_it_is_reached(transport: Transport):
    board = Board()
    board[Field.POSITION] = 77.0
    assert transport.position(board) == 1_000
    board[Field.JUMP] = transport.wanted.jump
    assert transport.position(board) == 77
