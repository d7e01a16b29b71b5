"""Shifts copied as text and pasted elsewhere."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from tests.support.invented_session import session

from lagline.session.edits import with_polarity, with_shift
from lagline.session.shift_text import copied, shift_text, with_copied


def test_what_is_copied_is_pasted_to_the_last_bit() -> None:
    take = session()
    near, room = take.lanes[0].id, take.lanes[1].id
    placed = with_polarity(with_shift(with_shift(take, near, 101.37), room, -1 / 3), room, -1)
    pasted = with_copied(take, copied(shift_text(placed, (near, room))), ())
    for lane_id in (near, room):
        assert pasted.current_version.move(lane_id) == placed.current_version.move(lane_id)
    origin = pasted.current_version.origin(near)
    assert origin is not None and origin.by == "hand"


def test_one_copied_shift_goes_onto_every_chosen_lane() -> None:
    take = session()
    ids = [lane.id for lane in take.lanes[:3]]
    take = with_shift(take, ids[0], 12.0)
    pasted = with_copied(take, copied(shift_text(take, ids[:1])), ids[1:])
    assert [pasted.current_version.move(one).shift_samples for one in ids] == [12.0, 12.0, 12.0]


def test_a_take_of_another_rate_gets_the_same_time() -> None:
    take = session()
    near = take.lanes[0].id
    text = shift_text(with_shift(take, near, 480.0), (near,))
    other = replace(take, rate_hz=2 * take.rate_hz)
    assert with_copied(other, copied(text), (near,)).current_version.move(near).shift_samples == 960.0


@pytest.mark.parametrize("text", ["", "hello", "lane\tshift\tpolarity\nnear\t1\t1"])
def test_another_text_is_refused_in_words(text: str) -> None:
    with pytest.raises(ValueError, match="no shifts were copied"):
        copied(text)


@pytest.mark.parametrize("line", ["near\t1", "near\tone\t+1", "near\t1.0\t+1\tmore"])
def test_a_broken_line_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match="no shifts were copied"):
        copied(f"lane\tshift, samples at 48000 Hz\tpolarity\n{line}")


def test_lanes_that_are_not_there_are_named() -> None:
    take = session()
    ids = [lane.id for lane in take.lanes[:2]]
    named = tuple(replace(one, name=f"other {n}") for n, one in enumerate(copied(shift_text(take, ids))))
    with pytest.raises(ValueError, match="no lane here is called other 0 or other 1"):
        with_copied(take, named, ids)
