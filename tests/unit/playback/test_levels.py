"""Measuring levels in the background: what is asked, what is remembered, what is thrown away."""

from __future__ import annotations

import math

import pytest
from msgspec.structs import replace
from tests.support.array_clips import noise_clips, session_of

from lagline.blend.loudness import loudness
from lagline.playback.levels import LevelMeter, LevelsWanted, passage
from lagline.session import edits
from lagline.session.values import ORIGINAL, Move, Session, Version

VERSION = Version(id="v1", name="x", moves={"a": Move(-5.5, -1)})
IDS = ("original", "v1")


@pytest.fixture
def clips():
    return noise_clips(2, 100_000)


def request(session: Session, token: int = 1) -> LevelsWanted:
    return LevelsWanted(token, session, IDS, *passage(session))


def never() -> bool:
    return False


def reads(clips) -> int:
    return sum(clip.reads for clip in clips.values())


def test_it_measures_every_version(clips):
    session = session_of(clips, VERSION)
    found = LevelMeter(lambda _: clips).measure(request(session), cancelled=never)
    assert found.token == 1
    start, stop = session.span()
    for version in (ORIGINAL, VERSION):  # the fades at start and stop are worth some thousandths
        level = loudness(session, version, clips, start, stop)
        assert found.lufs[version.id] == pytest.approx(level, abs=0.01)
    matched = {key: found.lufs[key] + found.match_db[key] for key in IDS}
    assert matched["original"] == pytest.approx(matched["v1"], abs=0.005)
    assert max(found.match_db.values()) == 0.0


def test_the_loop_is_what_is_measured(clips):
    session = edits.with_loop(session_of(clips, VERSION), (10_000, 60_000))
    assert passage(session) == (10_000, 60_000)


def test_an_edit_of_one_version_measures_only_that_one(clips):
    meter = LevelMeter(lambda _: clips)
    session = session_of(clips, VERSION)
    before = meter.measure(request(session), cancelled=never)
    reads_before = reads(clips)
    assert meter.measure(request(session, 2), cancelled=never).lufs == before.lufs
    assert reads(clips) == reads_before
    moved = edits.with_shift(session, "b", -90.0)
    after = meter.measure(request(moved, 3), cancelled=never)
    assert after.lufs["original"] == before.lufs["original"]
    assert after.lufs["v1"] != before.lufs["v1"]
    louder = edits.with_gain(session, "b", 6.0)
    assert meter.measure(request(louder, 4), cancelled=never).lufs["original"] > before.lufs["original"] + 1


def test_a_measurement_that_is_overtaken_is_thrown_away(clips):
    meter = LevelMeter(lambda _: clips)
    session = session_of(clips, VERSION)
    assert meter.measure(request(session), cancelled=lambda: True) is None
    assert meter.measure(request(session, 2), cancelled=never).lufs["v1"] > -math.inf


def test_names_and_notes_do_not_matter(clips):
    meter = LevelMeter(lambda _: clips)
    session = session_of(clips, VERSION)
    meter.measure(request(session), cancelled=never)
    count = reads(clips)
    renamed = edits.with_lane_name(replace(session, notes="louder?"), "a", "Near")
    meter.measure(request(renamed, 2), cancelled=never)
    assert reads(clips) == count
