"""How the board is laid out, and what a cell is as a version."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace
from tests.support.array_clips import noise_clips, session_of

from lagline.blend.mix import blend
from lagline.combinations.cells import (
    MOST_PARTS,
    board_session,
    cell_version,
    laid_out,
    parts_of,
    timing_name,
    with_cell_kept,
)
from lagline.errors import NotInSession
from lagline.session import edits
from lagline.session.values import Balance, Move, Session, Version

LINED_UP = Version(id="v1", name="Lined up", moves={"a": Move(48.0, -1), "b": Move(7.25)})


def take(count: int = 3) -> Session:
    clips = noise_clips(count, 4_800)
    return session_of(clips, LINED_UP, a={"gain_db": -3.0}, b={"pan": -0.5}, c={"mute": True})


def test_three_lanes_at_two_timings_are_fourteen_cells() -> None:
    cells = laid_out(parts_of(take()), ("original", "v1"))
    assert len(cells) == len({cell.id for cell in cells}) == 14
    assert [cell.name for cell in cells[::2]] == [
        "lane a", "lane b", "lane c", "lane a + lane b", "lane a + lane c", "lane b + lane c",
        "lane a + lane b + lane c",
    ]  # fmt: skip
    assert [timing_name(take(), cell) for cell in cells[:2]] == ["as recorded", "Lined up"]


@pytest.mark.parametrize("count", range(1, MOST_PARTS + 1))
def test_every_combination_is_there_once_on_request(count: int) -> None:
    parts = parts_of(take(count))
    sets = {cell.lane_ids for cell in laid_out(parts, ("v1",), 255)}
    assert len(sets) == 2**count - 1


def test_at_first_there_are_31_and_all_lanes_together_among_them() -> None:
    cells = laid_out(parts_of(take(8)), ("v1",))
    assert len(cells) == 31
    assert len(cells[-1].lane_ids) == 8
    assert [len(cell.parts) for cell in cells] == sorted(len(cell.parts) for cell in cells)


def test_linked_lanes_are_one_part_under_the_name_they_share() -> None:
    session = take(4)
    names = {"a": "Room L", "b": "Room R", "c": "Bright", "d": "Dark"}
    session = replace(session, lanes=tuple(replace(lane, name=names[lane.id]) for lane in session.lanes))
    session = edits.with_link(edits.with_link(session, ("a", "b"), "pair"), ("c", "d"), "two")
    parts = parts_of(session)
    assert [(part.name, part.lane_ids) for part in parts] == [
        ("Room", ("a", "b")),
        ("Bright/Dark", ("c", "d")),
    ]
    assert len(laid_out(parts, ("v1",))) == 3


def test_only_chosen_lanes_are_combined() -> None:
    assert [part.lane_ids for part in parts_of(take(), ("c", "a"))] == [("a",), ("c",)]
    with pytest.raises(NotInSession):
        parts_of(take(), ("nobody",))


def test_more_than_eight_parts_are_refused_in_words() -> None:
    with pytest.raises(ValueError, match="1 to 8"):
        laid_out(parts_of(take(9)), ("v1",))
    with pytest.raises(ValueError, match="1 to 8"):
        laid_out((), ("v1",))


def test_a_cell_sounds_as_its_lanes_do_in_that_version_by_themselves() -> None:
    session, clips = take(), noise_clips(3, 4_800)
    for cell in laid_out(parts_of(session), ("original", "v1")):
        board = board_session(edits.with_solo(session, "a", True), (cell,))
        heard = blend(board, board.version(cell.id), clips, 0, 4_800)
        by_hand = edits.with_current_version(session, "v1")
        for lane in session.lanes:
            by_hand = edits.with_mute(by_hand, lane.id, lane.id not in cell.lane_ids)
        assert np.array_equal(heard, blend(by_hand, by_hand.version(cell.version_id), clips, 0, 4_800))


def test_a_kept_cell_is_a_version_like_any_other() -> None:
    session = edits.with_shift(take(), "b", 3.0)
    cell = laid_out(parts_of(session), ("v1",))[4]  # a and c
    kept = with_cell_kept(session, cell, "Two")
    version = kept.version("v2")
    assert (version.name, kept.current_version_id) == ("Two", "v1")
    assert version.moves == session.version("v1").moves
    assert version.balances == {
        "a": Balance(-3.0),
        "b": Balance(0.0, -0.5, True),
        "c": Balance(),
    }
    assert version.origin("b") == session.version("v1").origin("b") is not None
    assert kept.versions[0] == session.versions[0]


def test_as_recorded_has_the_balance_of_the_version_it_is_compared_with() -> None:
    session = edits.with_gain(edits.with_new_version(take(), "Louder", "v1"), "a", 6.0)
    cell = laid_out(parts_of(session), ("original",))[0]
    assert cell_version(session, cell).balance("a").gain_db == 6.0
    assert cell_version(session.compared("v1"), cell).balance("a").gain_db == -3.0
    assert cell_version(session, cell).moves == {}
