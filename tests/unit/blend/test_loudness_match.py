"""One level match: the passage it is taken over, and the gains."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.array_clips import ArrayClip, noise_clips, session_of

from lagline.blend.loudness import LoudnessMeter, exact_match_gains
from lagline.blend.loudness_match import compared_powers, level_match, matched_gains
from lagline.blend.mix import blend
from lagline.blend.passage import compared_passage, compared_versions, fade_frames, rise
from lagline.session import edits
from lagline.session.values import ORIGINAL, Move, Version
from lagline.units import db_to_gain

RATE_HZ = 48_000
SHIFTED = Version(id="v1", name="Shifted", moves={"a": Move(-100.5, -1)})


def test_every_version_comes_down_to_the_quietest_as_it_is_heard():
    clips = noise_clips(2, 90_000, level=0.05)
    clips["b"] = ArrayClip(0.5 * clips["a"].samples + clips["b"].samples)
    session = session_of(clips, SHIFTED, Version(id="v2", name="x", moves={"b": Move(0.0, -1)}))
    match = matched_gains(session, clips)
    assert list(match.lufs) == list(match.gains_db) == ["original", "v1", "v2"]
    assert max(match.gains_db.values()) == 0.0 and min(match.gains_db.values()) < -1.0
    start, stop = compared_passage(session)
    edge, levels = rise(fade_frames(RATE_HZ))[1:], []
    for version in compared_versions(session):
        sound = blend(session, version, clips, start, stop - start)
        sound[: len(edge)] *= edge
        sound[len(sound) - len(edge) :] *= edge[::-1]
        meter = LoudnessMeter(RATE_HZ)
        meter.add(sound * np.float32(db_to_gain(match.gains_db[version.id])))
        levels.append(meter.integrated_lufs())
    assert max(levels) - min(levels) < 0.01


def test_a_silent_version_is_left_alone():
    clips = {"a": ArrayClip(np.ones(60_000) * np.sin(np.arange(60_000) * 0.1) * 0.1)}
    clips["b"] = clips["a"]
    session = session_of(clips, Version(id="v1", name="nulled", moves={"a": Move(0.0, -1)}))
    match = matched_gains(session, clips)
    assert match.lufs["v1"] == -math.inf
    assert match.gains_db == {"original": 0.0, "v1": 0.0}


def test_measured_together_or_one_by_one_is_the_same():
    clips = noise_clips(2, 60_000)
    session = session_of(clips, SHIFTED)
    together = compared_powers(session, (ORIGINAL, SHIFTED), clips)
    apart = [compared_powers(session, (version,), clips)[0] for version in (ORIGINAL, SHIFTED)]
    assert exact_match_gains(together) == exact_match_gains(apart)
    match = level_match(dict(zip(("original", "v1"), apart, strict=True)))
    assert match == matched_gains(session, clips)


@pytest.mark.parametrize(
    ("loop", "expected"),
    [((1_000, 50_000), (1_000, 50_000)), ((1_000, 1_100), (1_000, 3_400)), (None, (0, 60_000))],
)
def test_the_passage_is_the_loop_or_the_take(loop: tuple[int, int] | None, expected: tuple[int, int]):
    """A loop shorter than its fades is heard lengthened, so it is measured lengthened."""
    session = edits.with_loop(session_of(noise_clips(1, 60_000)), loop)
    assert compared_passage(session) == expected


@settings(max_examples=40, deadline=None)
@given(st.floats(-9_000, 9_000), st.floats(-9_000, 9_000))
def test_the_passage_holds_every_version_and_little_more(one: float, other: float):
    session = session_of(
        noise_clips(2, 60_000),
        Version(id="v1", name="x", moves={"a": Move(one)}),
        Version(id="v2", name="y", moves={"b": Move(other)}),
    )
    start, stop = compared_passage(session)
    first, last = session.span(*session.versions)
    assert start <= first < start + 480 and stop - 480 < last <= stop
    assert start % 480 == 0 and (stop - 60_000) % 480 == 0
