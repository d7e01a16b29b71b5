"""A lane's colour is its own."""

from __future__ import annotations

from tests.support.invented_session import session

from lagline.session.colours import lane_colours, with_colour
from lagline.session.edits import with_lane_order, without_lane
from lagline.session.values import Session


def of(take: Session) -> dict[str, int]:
    return lane_colours(take.lanes)


def test_lanes_have_their_colours_in_turn_until_something_happens_to_them() -> None:
    take = session()
    assert list(of(take).values()) == list(range(len(take.lanes)))


def test_no_lane_changes_its_colour_when_another_goes_or_all_change_places() -> None:
    take = session()
    before, gone = of(take), take.lanes[0].id
    assert of(without_lane(take, gone)) == {key: n for key, n in before.items() if key != gone}
    assert of(with_lane_order(take, [lane.id for lane in reversed(take.lanes)])) == before


def test_a_chosen_colour_is_nobody_else_s_by_chance() -> None:
    take = session()
    last = take.lanes[-1].id
    chosen = with_colour(take, last, 0)
    assert of(chosen) == {**of(take), last: 0}
    fresh = take.lanes[0]
    left = without_lane(chosen, fresh.id)
    assert of(left)[last] == 0
