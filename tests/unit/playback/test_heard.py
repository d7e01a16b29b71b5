"""Which edits can be heard, and which versions are kept ready."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from tests.support.array_clips import noise_clips, session_of

from lagline.playback.heard import MOST_READY, ready_versions, same_take, what_is_heard
from lagline.session import edits
from lagline.session.values import Move, Version

MANY = tuple(Version(id=f"v{n}", name=f"number {n}", moves={"a": Move(float(n))}) for n in range(1, 8))


@pytest.fixture
def session():
    return session_of(noise_clips(2, 100), *MANY)


def test_words_are_not_heard(session):
    for other in (
        replace(session, notes="warmer", name="Take 2", temperature_c=4.0, time_reference=9),
        edits.with_link(session, ["a", "b"], "pair"),
        edits.with_version(session, replace(MANY[2], name="renamed", note="the one")),
    ):
        assert what_is_heard(other) == what_is_heard(session)


def test_decisions_are_heard(session):
    for other in (
        edits.with_gain(session, "a", -1.0),
        edits.with_pan(session, "b", 0.5),
        edits.with_shift(session, "b", 0.25),
        edits.with_polarity(session, "a", -1),
        edits.with_mute(session, "a", True),
        edits.with_solo(session, "a", True),
    ):
        assert what_is_heard(other) != what_is_heard(session)


def test_few_versions_are_all_ready_whatever_was_heard_last():
    session = session_of(noise_clips(2, 100), *MANY[:3])
    everything = ("original", "v1", "v2", "v3")
    assert ready_versions(session, ("v3", "v1")) == ready_versions(session, ("v2",)) == everything


def test_of_many_the_original_and_the_last_heard_are_ready(session):
    ready = ready_versions(session, ("v7", "v5", "gone"))
    assert len(ready) == MOST_READY
    assert {"original", "v7", "v5", session.current_version_id} == set(ready)


def test_takes_are_told_apart_by_their_recordings(session):
    assert same_take(session, edits.without_lane(session, "a"))
    other = replace(
        session,
        lanes=tuple(
            replace(lane, source=replace(lane.source, path=lane.source.path / "x")) for lane in session.lanes
        ),
    )
    assert not same_take(session, other)
    assert not same_take(session, replace(session, rate_hz=96_000))
