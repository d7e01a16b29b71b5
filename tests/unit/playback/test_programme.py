"""The order in which session time is played."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from lagline.blend.passage import fade_frames, loop_allowed, rise
from lagline.playback.programme import Programme

RATE_HZ = 48_000
FADE = fade_frames(RATE_HZ)


def played(programme: Programme, index: int, frames: int) -> list[int]:
    return [
        position
        for stretch in programme.stretches(index, frames)
        for position in range(stretch.position, stretch.position + stretch.frames)
    ]


def test_without_a_loop_it_plays_to_the_end():
    programme = Programme(start=10, end=15)
    assert programme.length == 5
    assert played(programme, 0, 99) == [10, 11, 12, 13, 14]
    assert played(programme, 3, 99) == [13, 14]
    assert Programme(start=20, end=15).length == 0


@given(
    start=st.integers(-20, 29),
    index=st.integers(0, 80),
    frames=st.integers(0, 60),
    loop=st.tuples(st.integers(-10, 10), st.integers(11, 30)),
)
def test_a_loop_ahead_is_gone_round(start: int, index: int, frames: int, loop: tuple[int, int]):
    programme = Programme(start, 100, loop)
    expected, position = [], start
    for _ in range(index + frames):
        expected.append(position)
        position += 1
        if start < loop[1] and position == loop[1]:
            position = loop[0]
    if start >= loop[1]:
        expected = expected[: 100 - start]
    assert played(programme, index, frames) == expected[index:]
    assert all(programme.position(n) == place for n, place in enumerate(expected))


def test_past_the_loop_it_does_not_turn_back():
    assert not Programme(30, 100, (10, 30)).is_looped
    assert played(Programme(30, 33, (10, 30)), 0, 9) == [30, 31, 32]


@settings(deadline=None)
@given(cut=st.integers(0, 5_000), more=st.integers(1, 5_000))
def test_going_on_from_a_frame_plays_the_same(cut: int, more: int):
    programme = Programme(1_000, 9_000, (500, 3_000))
    rest = programme.continued(cut, programme.loop, programme.end)
    assert played(rest, 0, more) == played(programme, cut, more)
    whole = seam(programme, cut, more)
    assert np.array_equal(seam(rest, 0, more), whole)


def seam(programme: Programme, index: int, frames: int) -> np.ndarray:
    gains = []
    for stretch in programme.stretches(index, frames):
        gain = programme.seam_gain(stretch, RATE_HZ)
        gains.append(np.ones((stretch.frames, 1), np.float32) if gain is None else gain)
    return np.concatenate(gains)


def test_the_seam_fades_out_and_in():
    programme = Programme(0, 99_999, (0, 5_000))
    gain = seam(programme, 0, 10_000)[:, 0]
    curve = rise(FADE)[:, 0]
    assert gain[0] == 1.0  # the first pass starts where somebody chose: the mixer fades that in
    assert np.array_equal(gain[5_000 - FADE : 5_000], curve[FADE - 1 :: -1])
    assert np.array_equal(gain[5_000 : 5_001 + FADE], curve)
    assert (gain[FADE : 5_000 - FADE] == 1.0).all()


def test_a_loop_too_short_for_its_fades_is_lengthened():
    assert loop_allowed((100, 101), RATE_HZ) == (100, 2_500)
    assert loop_allowed((0, 48_000), RATE_HZ) == (0, 48_000)
    assert loop_allowed(None, RATE_HZ) is None
