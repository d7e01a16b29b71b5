"""The audio thread's rules, one by one. Reels are made by hand; no feeder, no device."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace
from tests.support.array_clips import FloatArray

from lagline.blend.passage import fade_frames, rise
from lagline.playback.board import Board, Field
from lagline.playback.mixer import READY_S, Mixer
from lagline.playback.programme import Programme
from lagline.playback.reels import Handover, Reel
from lagline.playback.views import View, Wanted

RATE_HZ = 48_000
FADE = fade_frames(RATE_HZ)
CURVE = rise(FADE)[:, 0]
READY = round(READY_S * RATE_HZ)


def reel_of(levels: dict[str, float], frames: int, end: int = 10**6, start: int = 0) -> Reel:
    """Every version a constant level."""
    reel = Reel(Programme(start, end), tuple(levels), 40_000, RATE_HZ)
    reel.write([np.full((frames, 2), level, np.float32) for level in levels.values()])
    return reel


def playing(reel: Reel, **wanted: object) -> Mixer:
    mixer = Mixer(RATE_HZ, Board())
    mixer.wanted = replace(Wanted(playing=True, monitor_gain=1.0), **wanted)
    mixer.offer = Handover(reel)
    return mixer


def filled(mixer: Mixer, frames: int, block: int = 128) -> FloatArray:
    """The left side, with the limiter's delay left out at the beginning of the mixer's life."""
    out = np.zeros((frames, 2), np.float32)
    for first in range(0, frames, block):
        mixer.fill(out[first : first + block])
    return out[:, 0]


def test_it_fades_in_and_out_again():
    mixer = playing(reel_of({"original": 0.5}, 20_000))
    delay = mixer.delay_frames
    out = filled(mixer, 1_024)[delay:]
    np.testing.assert_array_equal(out[:FADE], np.float32(0.5) * CURVE[1:])
    assert (out[FADE:] == 0.5).all()
    mixer.wanted = replace(mixer.wanted, playing=False)
    out = filled(mixer, 1_024)[delay:]
    np.testing.assert_array_equal(out[:FADE], np.float32(0.5) * CURVE[FADE - 1 :: -1])
    assert not out[FADE:].any()
    assert mixer.place[1] == 1_024 + FADE  # it goes on from where it became silent


def test_a_switch_dips_and_never_mixes_two_versions():
    mixer = playing(reel_of({"original": 0.5, "v1": -0.25}, 20_000))
    filled(mixer, 1_024)
    mixer.wanted = replace(mixer.wanted, view=View("v1", turn=1))
    out = filled(mixer, 1_024)[mixer.delay_frames :]
    np.testing.assert_array_equal(out[:FADE], np.float32(0.5) * CURVE[FADE - 1 :: -1])
    np.testing.assert_array_equal(out[FADE : 2 * FADE], np.float32(-0.25) * CURVE[1:])
    assert (out[2 * FADE :] == -0.25).all()
    assert mixer.place[1] == 2_048


def test_choosing_the_same_again_dips_too():
    """Or the missing dip would tell, in a blind trial, that nothing was switched."""
    mixer = playing(reel_of({"original": 0.5}, 20_000))
    filled(mixer, 1_024)
    mixer.wanted = replace(mixer.wanted, view=View("original", turn=1))
    out = filled(mixer, 1_024)[mixer.delay_frames :]
    assert out[FADE - 1] == 0.0 and out[0] < 0.5 and out[-1] == 0.5


def test_changing_ones_mind_in_the_middle_of_a_dip_starts_no_second_one():
    mixer = playing(reel_of({"original": 0.5, "v1": -0.25}, 20_000))
    filled(mixer, 1_024)
    back = mixer.wanted
    mixer.wanted = replace(mixer.wanted, view=View("v1", turn=1))
    filled(mixer, 128)
    mixer.wanted = back
    out = filled(mixer, 1_024)[mixer.delay_frames :]
    assert (out > 0).all()  # the other version was never reached
    assert np.abs(np.diff(out)).max() < 0.5 * 2 / FADE


def test_a_version_that_is_not_ready_is_waited_for():
    mixer = playing(reel_of({"original": 0.5}, 20_000), view=View("v9", turn=1))
    assert (filled(mixer, 1_024)[-500:] == 0.5).all()
    first, index = mixer.place
    mixer.offer = Handover(reel_of({"original": 0.5, "v9": 0.125}, 20_000), first, index + 500)
    out = filled(mixer, 2_048)[mixer.delay_frames :]
    assert (out[:500] == 0.5).all()
    assert out[500 + FADE - 1] == 0.0 and (out[500 + 2 * FADE :] == 0.125).all()


def test_a_version_that_is_deleted_fades_out_before_the_splice():
    mixer = playing(reel_of({"original": 0.5, "v1": 0.25}, 20_000), view=View("v1"))
    filled(mixer, 1_024)
    first, index = mixer.place
    mixer.wanted = replace(mixer.wanted, view=View("v1"))
    mixer.offer = Handover(reel_of({"original": 0.5}, 20_000), first, index + 600)
    out = filled(mixer, 2_048)[mixer.delay_frames :]
    np.testing.assert_array_equal(out[600 - FADE : 600], np.float32(0.25) * CURVE[FADE - 1 :: -1])
    np.testing.assert_array_equal(out[600 : 600 + FADE], np.float32(0.5) * CURVE[1:])
    assert mixer.place[1] == 2_048 - 600


def test_a_splice_that_comes_too_late_is_refused():
    mixer = playing(reel_of({"original": 0.5}, 20_000))
    filled(mixer, 1_024)
    first, index = mixer.place
    late = Handover(reel_of({"original": 0.1}, 20_000), first, index - 1)
    mixer.offer = late
    assert (filled(mixer, 512)[-100:] == 0.5).all()
    assert mixer.answered == (late, False)


def test_a_device_that_waits_is_not_held_up_by_a_splice_that_came_too_late():
    """The feeder renders nothing more before it knows that the offer is off."""
    mixer = playing(reel_of({"original": 0.5}, 1_024 + READY))
    filled(mixer, 1_024)
    first, index = mixer.place
    late = Handover(reel_of({"original": 0.1}, READY), first, index - 1)
    mixer.offer = late
    assert not mixer.is_supplied(256)
    assert mixer.answered == (late, False)
    first.write([np.full((2_000, 2), 0.5, np.float32)])
    assert mixer.is_supplied(256)


def test_a_splice_of_another_reel_is_refused():
    mixer = playing(reel_of({"original": 0.5}, 20_000))
    filled(mixer, 256)
    stranger = Handover(reel_of({"original": 0.1}, 20_000), reel_of({"original": 0.5}, 9), 5_000)
    mixer.offer = stranger
    filled(mixer, 128)
    assert mixer.answered == (stranger, False)


@pytest.mark.parametrize("block", [64, 128, 512])
def test_running_dry_is_silent_without_a_click_and_loses_nothing(block: int):
    reel = reel_of({"original": 0.5}, READY)
    mixer = playing(reel)
    delay = mixer.delay_frames
    out = filled(mixer, READY + 1_024, block)[delay:]
    np.testing.assert_array_equal(out[READY - FADE : READY], np.float32(0.5) * CURVE[FADE - 1 :: -1])
    assert not out[READY:].any()
    assert mixer.board[Field.STARVED] == 1 and mixer.place[1] == READY
    reel.write([np.full((READY, 2), 0.25, np.float32)])
    out = filled(mixer, 1_024, block)[delay:]
    np.testing.assert_array_equal(out[:FADE], np.float32(0.25) * CURVE[1:])
    assert mixer.board[Field.STARVED] == 1


def test_after_a_dip_close_before_a_splice_it_goes_on():
    """The old reel has less than a start needs and gets no more; the reel spliced on has enough."""
    mixer = playing(reel_of({"original": 0.5, "v1": -0.25}, READY))
    filled(mixer, 1_024)
    first, index = mixer.place
    mixer.offer = Handover(reel_of({"original": 0.5, "v1": -0.125}, 20_000), first, index + 1_500)
    mixer.wanted = replace(mixer.wanted, view=View("v1", turn=1))
    assert mixer.is_supplied(256)
    out = filled(mixer, 4_096)[mixer.delay_frames :]
    assert (out[2 * FADE : 1_500] == -0.25).all() and (out[1_500:] == -0.125).all()
    assert mixer.board[Field.STARVED] == 0


def test_the_end_is_faded_out_and_announced():
    reel = reel_of({"original": 0.5}, 2_000, end=2_000)
    mixer = playing(reel, play=4)
    out = filled(mixer, 4_096)[mixer.delay_frames :]
    assert (out[FADE : 2_000 - FADE] == 0.5).all()
    assert out[1_999] == 0.0 and not out[2_000:].any()
    assert mixer.board[Field.ENDED] == mixer.wanted.play == 4
    assert mixer.board[Field.STARVED] == 0


def test_silence_does_not_end_before_the_jump_is_made():
    mixer = playing(reel_of({"original": 0.5}, 20_000), jump=3)
    assert not filled(mixer, 1_024).any()
    mixer.offer = Handover(reel_of({"original": 0.25}, 20_000, start=777), token=3)
    assert filled(mixer, 1_024)[-1] == 0.25
    assert mixer.board[Field.JUMP] == 3


def test_matching_gains_change_in_the_silence_of_a_switch():
    gains = {"original": 1.0, "v1": 0.5}
    mixer = playing(reel_of({"original": 0.5, "v1": 0.5}, 20_000), match_gains=gains)
    filled(mixer, 1_024)
    mixer.wanted = replace(mixer.wanted, view=View("v1", turn=1))
    out = filled(mixer, 1_024)[mixer.delay_frames :]
    np.testing.assert_array_equal(out[:FADE], np.float32(0.5) * CURVE[FADE - 1 :: -1])
    np.testing.assert_array_equal(out[FADE : 2 * FADE], np.float32(0.25) * CURVE[1:])


def test_the_difference_is_not_level_matched_and_mono_is_the_mean():
    reel = Reel(Programme(0, 10**6), ("original", "v1"), 40_000, RATE_HZ)
    one, two = np.zeros((20_000, 2), np.float32), np.zeros((20_000, 2), np.float32)
    one[:] = [0.5, 0.25]
    two[:] = [0.125, -0.25]
    reel.write([one, two])
    mixer = playing(reel, view=View("v1", difference=True), match_gains={"v1": 0.1})
    out = np.zeros((2_048, 2), np.float32)
    mixer.fill(out)
    np.testing.assert_array_equal(out[-1], [0.125 - 0.5, -0.5])
    mixer.wanted = replace(mixer.wanted, view=View("original", mono=True, turn=1))
    mixer.fill(out)
    np.testing.assert_array_equal(out[-1], [0.375, 0.375])


def test_position_is_that_of_the_sample_heard():
    mixer = playing(reel_of({"original": 0.5}, 20_000, start=5_000))
    mixer.latency_frames = 100
    filled(mixer, 1_024)
    assert mixer.board[Field.POSITION] == 5_000 + 1_024 - 100 - mixer.delay_frames
    mixer.wanted = replace(mixer.wanted, playing=False)
    filled(mixer, 1_024)
    assert mixer.board[Field.POSITION] == 5_000 + 1_024 + FADE


def test_meters_follow_what_leaves():
    mixer = playing(reel_of({"original": 0.5}, 30_000), monitor_gain=0.5)
    filled(mixer, 4_096)
    assert mixer.board[Field.PEAK_LEFT] == 0.25
    assert mixer.board[Field.SOUNDING] == 1.0
    mixer.wanted = replace(mixer.wanted, playing=False)
    filled(mixer, RATE_HZ)
    assert mixer.board[Field.PEAK_LEFT] == pytest.approx(0.25 * 10 ** (-20 / 20), rel=0.05)


def test_blocks_longer_than_the_scratch_are_filled_in_pieces():
    mixer = playing(reel_of({"original": 0.5}, 30_000))
    out = np.zeros((20_000, 2), np.float32)
    mixer.fill(out)
    assert (out[FADE + mixer.delay_frames :] == 0.5).all()
