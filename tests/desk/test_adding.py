from msgspec.structs import replace
from tests.support.sessions import session

from lagline.desk.adding import already_there, with_added


def test_lanes_join_below_with_names_and_ids_of_their_own() -> None:
    more = with_added(session("near", "room"), session("near", "boundary"))
    assert [lane.name for lane in more.lanes] == ["Near", "Room", "Near 2", "Boundary"]
    assert len({lane.id for lane in more.lanes}) == 4


def test_time_stamps_place_them() -> None:
    here = replace(session("near", "room"), time_reference=1_000)
    there = replace(session("boundary"), time_reference=1_480)
    assert with_added(here, there).lanes[-1].place_samples == 480
    assert with_added(here, session("boundary")).lanes[-1].place_samples == 0


def test_links_stay_among_themselves() -> None:
    here, there = session("l", "r"), session("a", "b")
    pair = replace(here, lanes=tuple(replace(lane, link="file-1") for lane in here.lanes))
    other = replace(there, lanes=tuple(replace(lane, link="file-1") for lane in there.lanes))
    links = [lane.link for lane in with_added(pair, other).lanes]
    assert links[0] == links[1] != links[2] == links[3]


def test_a_recording_that_is_there_already_is_named() -> None:
    here = session("near", "room")
    assert already_there(here, session("near", "boundary")) == ("Near",)
    assert already_there(here, session("boundary")) == ()
