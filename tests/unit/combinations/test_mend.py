"""Least change from what somebody likes: which change, how small, and does it do what it says."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.support.array_clips import ArrayClip, session_of

from lagline.combinations.cells import laid_out, parts_of
from lagline.combinations.mend import LEFT_SHARE, Mend, mend_words, mended_session, mends
from lagline.session.values import Move, Session, Version

RATE_HZ = 48_000
SECONDS = 4


def take(late: int = 48, level: float = 1.0, sign: int = 1) -> tuple[Session, dict[str, ArrayClip]]:
    rng = np.random.default_rng(8)
    sound = 0.05 * rng.standard_normal(SECONDS * RATE_HZ)
    other = sign * level * np.concatenate([np.zeros(late), sound[: len(sound) - late]])
    clips = {"a": ArrayClip(sound), "b": ArrayClip(other), "c": ArrayClip(rng.permutation(sound))}
    return session_of(clips, Version("v1", "Lined up", {"b": Move(-float(late))})), clips


def found(session: Session, clips: dict[str, ArrayClip], lanes: str, version_id: str = "original"):
    cell = laid_out(parts_of(session, lanes), (version_id,))[-1]
    return mends(session, cell, clips, 0, SECONDS * RATE_HZ)


def of(kind: str, some: tuple[Mend, ...]) -> Mend:
    return next(mend for mend in some if mend.kind == kind)


def test_two_equal_lanes_a_millisecond_apart_are_mended_by_a_millisecond():
    session, clips = take()
    some = found(session, clips, "ab")
    shift = of("shift", some)
    assert abs(shift.amount) == pytest.approx(48.0, abs=0.1)
    assert shift.before.notches[0].depth_db > 25.0 and shift.after.notches == ()
    lane_id = shift.part.lane_ids[0]
    assert shift.amount > 0 and lane_id == "a"  # rather later: nothing plays before it was played
    assert "ms later: fills" in mend_words(session, shift) and "none left" in mend_words(session, shift)


def test_the_gain_is_the_smallest_whole_one_that_leaves_a_third_of_the_depth():
    """Notch of 1 and g: (1 - g)^2 over 1 + g^2 of the powers."""
    session, clips = take()
    gain = of("gain", found(session, clips, "ab"))

    def depth_db(gain_db: float) -> float:
        ratio = 10.0 ** (-abs(gain_db) / 20.0)
        return -10.0 * math.log10((1.0 - ratio) ** 2 / (1.0 + ratio**2))

    allowed = LEFT_SHARE * gain.before.notches[0].depth_db
    assert depth_db(gain.amount) < allowed + 0.3
    assert depth_db(abs(gain.amount) - 1.0) > allowed - 0.3
    assert gain.after.notches[0].depth_db == pytest.approx(depth_db(gain.amount), abs=0.7)


def test_a_flip_mends_a_range_that_is_shared_upside_down():
    """From 400 to 700 Hz b is a upside down, elsewhere they share nothing."""
    session, clips = take()
    spectrum = np.fft.rfft(clips["a"].samples)
    hz = np.fft.rfftfreq(SECONDS * RATE_HZ, 1 / RATE_HZ)
    shared = (hz > 400) & (hz < 700)
    other = np.fft.rfft(clips["c"].samples)
    clips["b"] = ArrayClip(np.fft.irfft(np.where(shared, -0.9 * spectrum, other)))
    flip = of("flip", found(session, clips, "ab"))
    assert 400 < flip.before.notches[0].frequency_hz < 700 and flip.before.notches[0].depth_db > 15.0
    assert flip.after.notches == ()
    assert {flip.version.move(lane_id).polarity for lane_id in flip.part.lane_ids} == {-1}


def test_lanes_that_are_lined_up_or_alone_have_nothing_to_mend():
    session, clips = take()
    assert found(session, clips, "ab", "v1") == ()
    assert found(session, clips, "a") == ()


def test_the_least_change_of_tone_comes_first_and_all_can_be_kept():
    session, clips = take(level=0.8)
    some = found(session, clips, "abc")
    assert len(some) >= 2
    assert [mend.moves_db for mend in some] == sorted(mend.moves_db for mend in some)
    with_them = mended_session(session, some)
    assert {mend.version.id for mend in some} <= {version.id for version in with_them.versions}
    assert session.versions == take(level=0.8)[0].versions
