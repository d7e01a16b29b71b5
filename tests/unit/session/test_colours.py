"""A lane's colour is its own."""

from __future__ import annotations

from msgspec.structs import replace
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


def test_a_chosen_colour_changes_no_other() -> None:
    take = session()
    last = take.lanes[-1].id
    assert of(with_colour(take, last, 0)) == {**of(take), last: 0}


def test_a_lane_that_comes_later_takes_a_colour_that_no_other_has() -> None:
    first, *others = session().lanes
    lanes = (replace(first, colour=1), *others)
    assert lane_colours(lanes)[first.id] == 1
    assert len(set(lane_colours(lanes).values())) == len(lanes)
