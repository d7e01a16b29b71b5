"""Measuring levels in the background: what is asked, what is remembered, what is thrown away."""

from __future__ import annotations

import contextlib
import math
import threading
from multiprocessing import Pipe
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.array_clips import ArrayClip, FloatArray, noise_clips, session_of

from lagline.blend.loudness import loudness
from lagline.blend.passage import compared_passage
from lagline.errors import FileMissing
from lagline.playback.levels import LevelMeter, LevelsFailed, LevelsWanted, serve
from lagline.session import edits
from lagline.session.values import ORIGINAL, Move, Session, Version

VERSION = Version(id="v1", name="x", moves={"a": Move(-5.5, -1)})
IDS = ("original", "v1")


@pytest.fixture
def clips():
    return noise_clips(2, 100_000)


def request(session: Session, token: int = 1) -> LevelsWanted:
    return LevelsWanted(token, session)


def never() -> bool:
    return False


def reads(clips) -> int:
    return sum(clip.reads for clip in clips.values())


def test_it_measures_every_version(clips):
    session = session_of(clips, VERSION)
    found = LevelMeter(lambda _: clips).measure(request(session), cancelled=never)
    assert found.token == 1
    start, stop = compared_passage(session)
    for version in (ORIGINAL, VERSION):  # the fades at start and stop are worth some thousandths
        level = loudness(session, version, clips, start, stop)
        assert found.lufs[version.id] == pytest.approx(level, abs=0.01)
    matched = {key: found.lufs[key] + found.match_db[key] for key in IDS}
    assert matched["original"] == pytest.approx(matched["v1"], abs=0.005)
    assert max(found.match_db.values()) == 0.0


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


class GoneClip(ArrayClip):
    """Cannot be read from a frame on while it is gone."""

    gone_from: int | None = 50_000

    def read(self, start: int, stop: int) -> FloatArray:
        if self.gone_from is not None and stop > self.gone_from:
            raise FileMissing(Path("gone.wav"))
        return super().read(start, stop)


def test_the_silence_of_a_recording_that_is_gone_is_not_remembered(clips):
    clips["b"] = GoneClip(4.0 * clips["b"].samples)
    meter = LevelMeter(lambda _: clips)
    session = session_of(clips, VERSION)
    without = meter.measure(request(session), cancelled=never)
    assert meter.is_incomplete and not meter.is_readable_again()
    clips["b"].gone_from = None
    assert meter.is_readable_again()
    found = meter.measure(request(session, 2), cancelled=never)
    assert found.lufs["original"] > without.lufs["original"] + 3.0
    assert not meter.is_incomplete


class Served:
    """A meter that answers in a thread, and the desk's end of its pipe."""

    def __init__(self, clips) -> None:
        self.pipe, theirs = Pipe()
        self.thread = threading.Thread(target=self._serve, args=(theirs, LevelMeter(lambda _: clips)))
        self.thread.start()

    def _serve(self, theirs, meter: LevelMeter) -> None:
        with contextlib.suppress(EOFError), theirs:
            serve(theirs, meter, try_again_s=0.02)

    def close(self) -> None:
        self.pipe.close()
        self.thread.join(20)
        assert not self.thread.is_alive()


def test_the_answer_is_corrected_when_the_recording_is_back(clips):
    clips["b"] = GoneClip(4.0 * clips["b"].samples)
    served = Served(clips)
    served.pipe.send(request(session_of(clips, VERSION), 7))
    without = served.pipe.recv()
    assert not served.pipe.poll(0.1)
    clips["b"].gone_from = None
    again = served.pipe.recv()
    assert again.token == without.token == 7
    assert again.lufs["original"] > without.lufs["original"] + 3.0
    assert not served.pipe.poll(0.1)
    served.close()


def test_a_request_that_fails_says_why_and_the_next_is_answered(clips):
    class Broken(ArrayClip):
        defect = True

        def read(self, start: int, stop: int) -> FloatArray:
            if self.defect:
                raise ArithmeticError("7 of 9 channels")
            return super().read(start, stop)

    clips["b"] = Broken(clips["b"].samples)
    served = Served(clips)
    served.pipe.send(request(session_of(clips, VERSION), 1))
    failed = served.pipe.recv()
    assert isinstance(failed, LevelsFailed) and failed.token == 1
    assert failed.failed.reason == "ArithmeticError: 7 of 9 channels"
    assert "Traceback" in failed.failed.trace
    clips["b"].defect = False
    served.pipe.send(request(session_of(clips, VERSION), 2))
    assert served.pipe.recv().lufs["v1"] > -math.inf
    served.close()


def test_names_and_notes_do_not_matter(clips):
    meter = LevelMeter(lambda _: clips)
    session = session_of(clips, VERSION)
    meter.measure(request(session), cancelled=never)
    count = reads(clips)
    renamed = edits.with_lane_name(replace(session, notes="louder?"), "a", "Near")
    meter.measure(request(renamed, 2), cancelled=never)
    assert reads(clips) == count


def test_many_versions_of_a_short_passage_are_estimated_first(clips):
    """The combinations board brings a dozen at once: none is to be heard unmatched for seconds."""
    few = session_of(clips, VERSION)
    moved = (replace(VERSION, id=f"v{n}", moves={"a": Move(5.0 * n)}) for n in range(1, 9))
    many = replace(few, versions=tuple(moved))
    meter = LevelMeter(lambda _: clips)
    assert meter.estimate(request(few)) is None
    rough = meter.estimate(request(many))
    assert rough.is_rough and set(rough.match_db) == {"original", *(version.id for version in many.versions)}
    exact = meter.measure(request(many), cancelled=never)
    assert rough.match_db == pytest.approx(exact.match_db, abs=1.0)
