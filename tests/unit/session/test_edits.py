"""Edits: what each changes, what it leaves alone, what it refuses."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from lagline.errors import NotInSession
from lagline.session import edits, trying
from lagline.session.checks import LARGEST_COUNT, LARGEST_DRIFT_PPM, LONGEST_NAME
from lagline.session.findings import Alignment, Finding, PairFinding
from lagline.session.origin_words import placement_words
from lagline.session.values import ORIGINAL, ORIGINAL_ID, Balance, Lane, Move, Session, Source, Trial, Version


def lane(lane_id: str, name: str, link: str | None = None, place: int = 0, frames: int = 100) -> Lane:
    source = Source(path=Path(f"/takes/{name}.wav"), channel=0, rate_hz=48000, frames=frames, size_bytes=9)
    return Lane(id=lane_id, name=name, source=source, link=link, place_samples=place)


@pytest.fixture
def session() -> Session:
    return Session(
        rate_hz=48000,
        lanes=(lane("a", "Near", link="pair"), lane("b", "Side", link="pair"), lane("c", "Far")),
    )


def found(lane_id: str, arrival: float | None, polarity: int | None = 1, drift_ppm: float = 0.0) -> Finding:
    word = "none" if arrival is None else "strong"
    return Finding(lane_id, arrival, 0.1, polarity, 0.9, word, "heard", 0.9, drift_ppm=drift_ppm)


def shifts(session: Session) -> dict[str, float]:
    return {lane.id: session.current_version.move(lane.id).shift_samples for lane in session.lanes}


@given(st.integers(-(10**12), 10**12))
def test_moving_there_and_back_gives_the_same_place(by: int) -> None:
    session = Session(rate_hz=48000, lanes=(lane("a", "Near"), lane("b", "Far")))
    there = edits.nudged(session, "a", by)
    assert edits.nudged(there, "a", -by).current_version.move("a").shift_samples == 0.0
    assert there.current_version.move("b") == Move()


def test_linked_lanes_keep_their_distance(session: Session) -> None:
    apart = edits.with_move(session, "b", Move(shift_samples=7.0))
    assert shifts(edits.with_shift(apart, "a", 10.0)) == {"a": 10.0, "b": 17.0, "c": 0.0}
    alone = edits.with_link(apart, ["a", "b"], None)
    assert shifts(edits.with_shift(alone, "a", 10.0)) == {"a": 10.0, "b": 7.0, "c": 0.0}


def test_an_edit_leaves_the_old_session_as_it_was(session: Session) -> None:
    edits.nudged(session, "a", 5)
    assert shifts(session) == {"a": 0.0, "b": 0.0, "c": 0.0}


def test_accepting_delays_the_early_lanes_onto_the_anchor(session: Session) -> None:
    alignment = Alignment("c", 48000, (found("a", -101.37, -1, 3.0), found("b", None), found("c", 0.0)))
    session = edits.with_alignment(edits.with_polarity(session, "b", -1), alignment)
    done = edits.all_accepted(session)
    assert done.current_version.move("a") == Move(101.37, -1, 3.0)
    assert done.current_version.move("b") == Move(0.0, -1)  # nothing proposed: left as it was
    assert done.anchor_id == "c"
    assert edits.all_accepted(session, rounding="all").current_version.move("a").shift_samples == 101.0


def test_lined_up_means_arrival_plus_shift_is_the_same_for_all(session: Session) -> None:
    arrivals = {"a": -40.25, "b": 12.5, "c": 0.0}
    alignment = Alignment("c", 48000, tuple(found(key, value) for key, value in arrivals.items()))
    done = edits.all_accepted(edits.with_alignment(session, alignment))
    assert {arrivals[key] + shift for key, shift in shifts(done).items()} == {0.0}


def test_an_unclear_polarity_keeps_the_engineers_own(session: Session) -> None:
    session = edits.with_polarity(session, "a", -1)
    session = edits.with_alignment(session, Alignment("c", 48000, (found("a", -5.0, None),)))
    assert edits.all_accepted(session).current_version.move("a") == Move(5.0, -1)


def test_putting_a_lane_at_a_shift_takes_it_there_from_wherever_it_was(session: Session) -> None:
    there = edits.with_shift(edits.with_shift(session, "c", 7.0), "c", 10.0)
    assert shifts(there)["c"] == 10.0
    assert shifts(edits.with_shift(there, "c", -3.0))["c"] == -3.0


def test_accepting_one_lane_keeps_its_fraction_unless_asked(session: Session) -> None:
    measured = edits.with_alignment(session, Alignment("c", 48000, (found("a", -101.37),)))
    assert shifts(edits.accepted(measured, ["a"]))["a"] == 101.37
    assert shifts(edits.accepted(measured, ["a"], rounding="all"))["a"] == 101.0


@pytest.mark.parametrize(
    ("uncertainty", "drift", "shift", "words"),
    [
        (0.36, 0.0, 101.37, "by finding"),
        (0.38, 0.0, 101.0, "by finding, as whole"),  # 101.37 and 101 can't be told apart
        (3.0, 0.0, 101.0, "by finding, as whole"),
        (None, 0.0, 101.37, "by finding"),
        (3.0, 2.0, 101.37, "by finding"),  # taking drift out moves samples anyway
    ],
)
def test_whole_samples_are_taken_where_the_uncertainty_spans_one(
    session: Session, uncertainty: float | None, drift: float, shift: float, words: str
) -> None:
    finding = replace(found("a", -101.37), uncertainty_samples=uncertainty, drift_ppm=drift)
    measured = edits.with_alignment(session, Alignment("c", 48000, (finding,)))
    for done in (
        edits.accepted(measured, ["a"], rounding="within"),
        trying.decided(measured, ["a"], rounding="within"),
        trying.kept(trying.tried(measured, "a", trying.THE_FINDING, rounding="within"), "a"),
    ):
        assert shifts(done)["a"] == shift
        assert placement_words(done.current_version, "a") == words
    assert edits.proposed_shift_samples(finding, "within") == shift


def test_the_ends_of_the_scale_are_part_of_it(session: Session) -> None:
    move = Move(LARGEST_COUNT, 1, LARGEST_DRIFT_PPM)
    assert edits.with_move(session, "a", move).current_version.move("a") == move
    for beyond in (Move(LARGEST_COUNT * 1.001), Move(0.0, 1, -LARGEST_DRIFT_PPM * 1.001), Move(float("nan"))):
        with pytest.raises(ValueError, match="finite"):
            edits.with_move(session, "a", beyond)
    assert edits.with_lane_name(session, "a", "x" * LONGEST_NAME).lane("a").name == "x" * LONGEST_NAME
    with pytest.raises(ValueError, match="characters"):
        edits.with_lane_name(session, "a", "x" * (LONGEST_NAME + 1))


def test_accepting_before_measuring_is_refused(session: Session) -> None:
    with pytest.raises(NotInSession, match="measure the take first"):
        edits.accepted(session, ["a"])


def test_accepting_a_lane_that_was_not_measured_is_refused(session: Session) -> None:
    session = edits.with_alignment(session, Alignment("c", 48000, (found("a", 1.0),)))
    with pytest.raises(NotInSession, match="'b'"):
        edits.accepted(session, ["b"])


def test_the_original_cannot_be_edited_or_deleted(session: Session) -> None:
    for edit in (
        lambda: edits.with_move(session, "a", Move(1.0), ORIGINAL_ID),
        lambda: edits.with_version(session, ORIGINAL),
        lambda: edits.with_current_version(session, ORIGINAL_ID),
        lambda: edits.without_version(session, ORIGINAL_ID),
    ):
        with pytest.raises(ValueError, match="original cannot"):
            edit()


def test_versions_are_added_chosen_and_deleted(session: Session) -> None:
    session = edits.nudged(session, "c", 3)
    two = edits.with_new_version(session, "Closer", copy_of="v1")
    assert (two.current_version.name, shifts(two)["c"]) == ("Closer", 3.0)
    back = edits.with_current_version(two, "v1")
    assert back.current_version_id == "v1"
    one = edits.without_version(two, two.current_version_id)
    assert [version.id for version in one.versions] == ["v1"] and one.current_version_id == "v1"
    with pytest.raises(ValueError, match="one version must stay"):
        edits.without_version(one, "v1")


def test_fresh_ids_never_collide(session: Session) -> None:
    session = edits.without_version(edits.with_new_version(session, "Two"), "v1")
    assert edits.fresh_version_id(session) == "v1"


@pytest.mark.parametrize(("asked", "kept"), [(99.0, 12.0), (-99.0, -60.0), (-3.5, -3.5)])
def test_gain_stays_on_the_fader(session: Session, asked: float, kept: float) -> None:
    assert edits.with_gain(session, "a", asked).current_version.balance("a").gain_db == kept


@pytest.mark.parametrize(("asked", "kept"), [(2.0, 1.0), (-2.0, -1.0), (0.25, 0.25)])
def test_pan_stays_between_left_and_right(session: Session, asked: float, kept: float) -> None:
    assert edits.with_pan(session, "a", asked).current_version.balance("a").pan == kept


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_numbers_that_are_none_are_refused(session: Session, number: float) -> None:
    for edit in (
        lambda: edits.with_gain(session, "a", number),
        lambda: edits.with_pan(session, "a", number),
        lambda: edits.with_shift(session, "a", number),
    ):
        with pytest.raises(ValueError, match=r"number|between|finite"):
            edit()


def test_polarity_is_plus_or_minus_one(session: Session) -> None:
    with pytest.raises(ValueError, match="polarity"):
        edits.with_polarity(session, "a", 0)


def test_names_are_unique(session: Session) -> None:
    assert edits.with_lane_name(session, "a", " Close ").lane("a").name == "Close"
    assert edits.with_lane_name(session, "a", "NEAR").lane("a").name == "NEAR"
    with pytest.raises(ValueError, match="already"):
        edits.with_lane_name(session, "a", "far")
    with pytest.raises(ValueError, match="needs a name"):
        edits.with_lane_name(session, "a", "  ")


def test_solo_wins_over_mute(session: Session) -> None:
    session = edits.with_mute(session, "a", True)
    assert [lane.id for lane in session.audible_lanes(session.current_version)] == ["b", "c"]
    session = edits.with_solo(session, "a", True)
    assert [lane.id for lane in session.audible_lanes(session.current_version)] == ["a"]


def test_a_lane_leaves_with_its_moves_and_findings(session: Session) -> None:
    pairs = (PairFinding("a", "c", 1.0, 1.0, 0.0), PairFinding("b", "c", 1.0, 1.0, 0.0))
    session = edits.with_alignment(
        edits.nudged(session, "a", 5), Alignment("c", 48000, (found("a", 1.0), found("b", 1.0)), pairs)
    )
    left = edits.without_lane(session, "a")
    assert [lane.id for lane in left.lanes] == ["b", "c"]
    assert "a" not in left.current_version.moves
    assert left.alignment is not None
    assert left.alignment.finding("a") is None and left.alignment.pairs == pairs[1:]
    assert edits.without_lane(session, "c").alignment is None
    assert edits.without_lane(session, "c").anchor_id is None


def test_another_anchor_drops_findings_against_the_old_one(session: Session) -> None:
    session = edits.with_alignment(session, Alignment("c", 48000, (found("a", 1.0),)))
    assert edits.with_anchor(session, "c").alignment is session.alignment
    assert edits.with_anchor(session, "a").alignment is None


def test_part_of_the_way_keeps_the_flip() -> None:
    version = Version("v1", "All", {"a": Move(100.0, -1, 2.0)})
    assert edits.partly(version, 0.25).move("a") == Move(25.0, -1, 2.0)


def test_lane_order(session: Session) -> None:
    assert [lane.id for lane in edits.with_lane_order(session, ["c", "a", "b"]).lanes] == ["c", "a", "b"]
    with pytest.raises(ValueError, match="every lane once"):
        edits.with_lane_order(session, ["c", "a"])


def test_a_loop_ends_after_it_starts(session: Session) -> None:
    assert edits.with_loop(session, (10, 20)).loop == (10, 20)
    with pytest.raises(ValueError, match="loop"):
        edits.with_loop(session, (20, 20))


def test_span_covers_every_version_and_the_original() -> None:
    session = Session(rate_hz=48000, lanes=(lane("a", "Near"), lane("c", "Far", place=50)))
    assert session.span() == (0, 150)
    version = Version("v1", "Earlier", {"a": Move(-10.5), "c": Move(0.25)})
    assert session.span(version) == (-11, 151)


def test_a_lane_at_another_rate_has_its_length_in_session_samples() -> None:
    assert lane("a", "Near", frames=44100).frames(48000) == 44100
    slow = Source(path=Path("/takes/x.wav"), channel=0, rate_hz=44100, frames=44100, size_bytes=9)
    assert Lane(id="x", name="x", source=slow).frames(48000) == 48000


def test_what_is_not_there_is_named(session: Session) -> None:
    with pytest.raises(NotInSession, match=r"'zither'.*Near, Side, Far"):
        session.lane_named("zither")
    with pytest.raises(NotInSession, match="version"):
        session.version("v9")


def test_a_trial_is_added_behind_the_others(session: Session) -> None:
    one, two = (Trial("abx", ("original", "v1"), n, (), 1.0, "") for n in (4, 8))
    assert edits.with_trial(edits.with_trial(session, one), two).trials == (one, two)


def test_a_lane_can_go_before_anything_was_measured(session: Session) -> None:
    assert [lane.id for lane in edits.without_lane(session, "b").lanes] == ["a", "c"]
    with pytest.raises(NotInSession, match="'x'"):
        session.lane("x")


def test_span_reaches_as_far_as_a_lane_whose_drift_is_taken_out() -> None:
    """An hour of a lane that gets earlier by 100 ppm lasts 0.36 s longer once that is taken out."""
    hour = 3600 * 48_000
    session = Session(rate_hz=48_000, lanes=(lane("a", "Near", frames=hour), lane("b", "Far", place=500)))
    early = Version("v1", "Early", {"a": Move(rate_ppm=-100.0)})
    assert session.span(early) == (0, math.ceil(hour / (1 - 1e-4)))
    assert session.span(early)[1] - hour == pytest.approx(0.36 * 48_000, abs=3)
    late = Version("v1", "Late", {"a": Move(rate_ppm=100.0)})
    assert session.span(late) == (0, hour)  # it ends earlier; as recorded it is there too
    move = Move(-50.0, rate_ppm=100.0)
    assert session.lanes[0].reach(48_000, move) == (-50, math.ceil((hour - 50) / 1.0001))


def test_gain_pan_and_mute_are_those_of_the_version_worked_in(session: Session) -> None:
    session = edits.with_new_version(session, "Other", copy_of="v1")
    session = edits.with_mute(edits.with_pan(edits.with_gain(session, "a", -6.0), "a", 0.5), "a", True)
    assert session.version("v2").balance("a") == Balance(-6.0, 0.5, True)
    assert session.version("v1").balance("a") == Balance()
    assert session.audible_lanes(session.version("v2")) == (session.lane("b"), session.lane("c"))
    assert session.audible_lanes(session.version("v1")) == session.lanes


def test_a_version_begins_with_the_balance_of_what_it_is_made_of(session: Session) -> None:
    session = edits.with_gain(edits.with_shift(session, "a", 7.0), "a", -6.0)
    copy = edits.with_new_version(session, "Copy", copy_of="v1").current_version
    assert (copy.move("a").shift_samples, copy.balance("a").gain_db) == (7.0, -6.0)
    nothing_shifted = edits.with_new_version(session, "New").current_version
    assert (nothing_shifted.move("a"), nothing_shifted.balance("a").gain_db) == (Move(), -6.0)


def test_the_original_is_the_timing_as_recorded_of_what_it_is_compared_with(session: Session) -> None:
    session = edits.with_gain(edits.with_shift(session, "a", 7.0), "a", -6.0)
    session = edits.with_mute(edits.with_new_version(session, "Other"), "b", True)
    for version_id, balances in (("v1", {"a": Balance(-6.0)}), ("v2", session.version("v2").balances)):
        for pair in (("original", version_id), (version_id, "original")):
            original = session.compared(*pair).version("original")
            assert (original.moves, original.balances) == ({}, balances)
    assert session.original.balance("b").mute
    assert session.compared("original") == session


def test_a_lane_taken_out_leaves_no_balance_behind(session: Session) -> None:
    session = edits.without_lane(edits.with_gain(session, "a", -6.0), "a")
    assert session.current_version.balances == {}


def test_a_current_version_that_is_not_there_is_named(session: Session) -> None:
    """Whatever is asked of such a session: nothing may go round in circles."""
    broken = replace(session, current_version_id="gone")
    for ask in (lambda: broken.current_version, lambda: broken.original, lambda: broken.version("original")):
        with pytest.raises(NotInSession, match="no version called 'gone'"):
            ask()
