"""A session that comes in can be worked with; what cannot is refused in words."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace
from tests.support.full_session import full_session

from lagline.session.checks import LARGEST_COUNT, LARGEST_GAIN_DB, LONGEST_NAME, MOST_LANES, check
from lagline.session.values import Balance, Before, Move, Origin, Session, Trial, Version


@pytest.fixture
def session(tmp_path: Any) -> Session:
    return full_session(tmp_path)


def test_a_usual_session_passes(session: Session) -> None:
    check(session)


LANE: list[tuple[str, Any, str]] = [
    ("place_samples", 2**62, "place"),
    ("name", "x" * 20_000, "characters long"),
]


@pytest.mark.parametrize(("field", "value", "said"), LANE)
def test_lanes(session: Session, field: str, value: Any, said: str) -> None:
    lane = replace(session.lanes[0], **{field: value})
    with pytest.raises(ValueError, match=said):
        check(replace(session, lanes=(lane, session.lanes[1])))


SOURCE: list[tuple[str, Any, str]] = [
    ("channel", -1, "cannot be"),
    ("frames", -1, "cannot be"),
    ("rate_hz", 0, "cannot be"),
    ("frames", 2**62, "too large"),
    ("time_reference", -1, "time stamp"),
    ("time_reference", 2**64, "time stamp"),
]


@pytest.mark.parametrize(("field", "value", "said"), SOURCE)
def test_sources(session: Session, field: str, value: Any, said: str) -> None:
    lane = replace(session.lanes[0], source=replace(session.lanes[0].source, **{field: value}))
    with pytest.raises(ValueError, match=said):
        check(replace(session, lanes=(lane, session.lanes[1])))


BALANCES = [
    ("near", Balance(LARGEST_GAIN_DB + 1), "gain"),
    ("near", Balance(-1e6), "gain"),
    ("near", Balance(float("nan")), "gain"),
    ("near", Balance(pan=1.01), "pan"),
    ("gone", Balance(), "not there"),
]


@pytest.mark.parametrize(("lane_id", "balance", "said"), BALANCES)
def test_balances(session: Session, lane_id: str, balance: Balance, said: str) -> None:
    version = replace(session.versions[0], balances={lane_id: balance})
    with pytest.raises(ValueError, match=said):
        check(replace(session, versions=(version,)))


MOVES = [
    (Move(LARGEST_COUNT * 2), "too large"),
    (Move(float("nan")), "too large"),
    (Move(1.0, 0), "polarity"),
    (Move(1.0, 1, 1e9), "drift"),
]


@pytest.mark.parametrize("held", ({}, {"origins": Origin}, {"trying": Before}), ids=str)
@pytest.mark.parametrize(("move", "said"), MOVES)
def test_moves(session: Session, move: Move, said: str, held: dict[str, Any]) -> None:
    """In place, where a lane was put, and where it was before something was tried."""
    inside = {
        key: {"near": Origin("hand", move) if kind is Origin else Before(move)} for key, kind in held.items()
    }
    version = replace(session.versions[0], **(inside or {"moves": {"near": move}}))
    with pytest.raises(ValueError, match=said):
        check(replace(session, versions=(version,)))


FINDING: list[tuple[str, Any, str]] = [
    ("lane_id", "gone", "not there"),
    ("arrival_samples", 1e300, "too large"),
    ("uncertainty_samples", float("inf"), "too large"),
    ("polarity", 0, "polarity"),
    ("drift_ppm", 1e7, "drift"),
    ("trust", 1.5, "trust"),
    ("polarity_trust", -0.5, "trust"),
]


@pytest.mark.parametrize(("field", "value", "said"), FINDING)
def test_findings(session: Session, field: str, value: Any, said: str) -> None:
    assert session.alignment is not None
    finding = replace(session.alignment.findings[0], **{field: value})
    with pytest.raises(ValueError, match=said):
        check(replace(session, alignment=replace(session.alignment, findings=(finding,))))


EVIDENCE: list[tuple[str, Any, str]] = [
    ("window_weight", (), "hang together"),
    ("coherence", (0.5,), "hang together"),
    ("curve_step_samples", 0.0, "hang together"),
    ("curve", (0.1, 1e40), "too large"),
    ("band_high_hz", 1e13, "too large"),
]


@pytest.mark.parametrize(("field", "value", "said"), EVIDENCE)
def test_evidence(session: Session, field: str, value: Any, said: str) -> None:
    assert session.alignment is not None
    finding = session.alignment.findings[0]
    finding = replace(finding, evidence=replace(finding.evidence, **{field: value}))
    with pytest.raises(ValueError, match=said):
        check(replace(session, alignment=replace(session.alignment, findings=(finding,))))


def test_runners_up_and_pairs(session: Session) -> None:
    alignment = session.alignment
    assert alignment is not None
    runner = replace(alignment.findings[0].runners_up[0], polarity=7)
    finding = replace(alignment.findings[0], runners_up=(runner,))
    with pytest.raises(ValueError, match="polarity"):
        check(replace(session, alignment=replace(alignment, findings=(finding,))))
    for field, value in (
        ("a", "gone"),
        ("arrival_samples", 1e99),
        ("residual_samples", 1e99),
        ("polarity", 2),
    ):
        pair = replace(alignment.pairs[0], **{field: value})
        with pytest.raises(ValueError):
            check(replace(session, alignment=replace(alignment, pairs=(pair,))))


def test_the_take_itself(session: Session) -> None:
    for field, value in (
        ("rate_hz", 0),
        ("rate_hz", 10**8),
        ("temperature_c", -200.0),
        ("time_reference", -5),
        ("loop", (5, 5)),
        ("loop", (0, 2**60)),
        ("anchor_id", "gone"),
        ("current_version_id", "gone"),
        ("name", "x" * 20_000),
    ):
        with pytest.raises(ValueError):
            check(replace(session, **{field: value}))


def test_findings_are_against_a_lane_that_is_there(session: Session) -> None:
    assert session.alignment is not None
    with pytest.raises(ValueError, match="against a lane"):
        check(replace(session, alignment=replace(session.alignment, anchor_id="gone")))


def test_lanes_and_versions_are_told_apart(session: Session) -> None:
    near, room = session.lanes
    for lanes in (
        (near, replace(room, id=near.id)),
        (near, replace(room, name=near.name.upper())),
        tuple(replace(near, id=f"{n}", name=f"{n}") for n in range(MOST_LANES + 1)),
    ):
        with pytest.raises(ValueError, match="lanes"):
            check(replace(session, lanes=lanes, versions=(), anchor_id=None))
    with pytest.raises(ValueError, match="id of their own"):
        check(replace(session, versions=session.versions * 2))


def test_a_trial_that_was_never_made_is_refused(session: Session) -> None:
    trial = Trial("abx", ("original", "v1"), 8, (True,), 1.5, "2001-02-03T04:05:06+00:00")
    with pytest.raises(ValueError, match="trial"):
        check(replace(session, trials=(trial,)))


def test_nothing_in_a_session_can_be_changed_in_place(session: Session) -> None:
    assert session.alignment is not None
    finding = session.alignment.findings[0]
    values: list[Any] = [
        session,
        *session.lanes,
        session.lanes[0].source,
        *session.versions,
        session.alignment,
    ]
    values += [finding, finding.evidence, finding.windows, *finding.runners_up, *session.alignment.pairs]
    values += [session.versions[0].moves["near"], Trial("abx", ("a", "b"), 1, (), 1.0, "")]
    for value in values:
        with pytest.raises(AttributeError):
            setattr(value, value.__struct_fields__[0], None)


def test_the_ends_of_every_scale_are_part_of_it(session: Session) -> None:
    assert session.alignment is not None
    near, room = session.lanes
    source = replace(near.source, rate_hz=1, frames=0, time_reference=0)
    lanes = (
        replace(near, source=source, place_samples=-int(LARGEST_COUNT)),
        replace(room, name="x" * LONGEST_NAME),
    )
    ends = {"near": Balance(LARGEST_GAIN_DB, -1.0), "room": Balance(-LARGEST_GAIN_DB, 1.0)}
    session = replace(session, versions=(replace(session.versions[0], balances=ends),))
    finding = replace(session.alignment.findings[0], trust=1.0, polarity_trust=0.0)
    alignment = replace(session.alignment, findings=(finding,))
    trials = tuple(Trial("abx", ("a", "b"), 0, (), probability, "") for probability in (0.0, 1.0))
    check(replace(session, rate_hz=1, lanes=lanes, alignment=alignment, trials=trials, time_reference=0))


def test_as_many_lanes_as_a_session_holds(session: Session) -> None:
    near = session.lanes[0]
    lanes = tuple(replace(near, id=f"{n}", name=f"{n}") for n in range(1024))
    whole = replace(session, lanes=lanes, versions=(Version("v1", "x"),), anchor_id=None, alignment=None)
    check(whole)
    with pytest.raises(ValueError, match="lanes are more"):
        check(replace(whole, lanes=(*lanes, replace(near, id="one", name="one too many"))))


@pytest.mark.parametrize("wrong", [{"trust": 1.01}, {"trust": -0.01}, {"polarity_trust": 1.01}])
def test_trust_lies_between_0_and_1(session: Session, wrong: dict[str, float]) -> None:
    assert session.alignment is not None
    finding = replace(session.alignment.findings[0], **wrong)
    with pytest.raises(ValueError, match="trust"):
        check(replace(session, alignment=replace(session.alignment, findings=(finding,))))
