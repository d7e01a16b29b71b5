"""The blend: what it sums, and that cutting it into blocks changes nothing."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.support.array_clips import ArrayClip, noise_clips, session_of

from lagline.blend.mix import blend, lane_signal, pan_gains, render_versions
from lagline.session.values import ORIGINAL, Balance, Move, Version

HALF_POWER = math.sqrt(0.5)


def one_lane(samples: list[float], move: Move | None = None, **values: object):
    version = Version(id="v1", name="Shifted", moves={} if move is None else {"a": move})
    clips = {"a": ArrayClip(samples)}
    session = session_of(clips, version, a=values)
    return session, session.current_version, clips


def test_a_centred_lane_is_three_db_down_on_both_sides():
    session, version, clips = one_lane([1.0, -0.5])
    out = blend(session, version, clips, 0, 2)
    assert out.dtype == np.float32 and out.shape == (2, 2)
    np.testing.assert_allclose(out, [[HALF_POWER] * 2, [-HALF_POWER / 2] * 2], rtol=1e-7)


@given(pan=st.floats(-1, 1))
def test_pan_keeps_the_power(pan: float):
    left, right = pan_gains(pan)
    assert left**2 + right**2 == pytest.approx(1.0, abs=1e-12)


def test_hard_pans_are_silent_on_the_other_side():
    assert pan_gains(-1.0) == (1.0, 0.0)
    assert pan_gains(1.0)[0] == 0.0 and pan_gains(1.0)[1] == pytest.approx(1.0)


@settings(deadline=None)
@given(shift=st.integers(-40, 40), polarity=st.sampled_from([1, -1]), place=st.integers(-20, 20))
def test_a_whole_shift_moves_the_samples_bit_for_bit(shift: int, polarity: int, place: int):
    samples = np.random.default_rng(3).standard_normal(64).astype(np.float32)
    session, version, clips = one_lane(samples, Move(float(shift), polarity), place_samples=place)
    out = lane_signal(session, version, session.lanes[0], clips, -100, 264)
    expected = np.zeros(264, dtype=np.float32)
    expected[100 + place + shift : 164 + place + shift] = polarity * samples
    assert np.array_equal(out, expected)


def test_original_ignores_shift_and_flip():
    session, _, clips = one_lane([1.0, 2.0], Move(7.3, -1))
    np.testing.assert_array_equal(lane_signal(session, ORIGINAL, session.lanes[0], clips, 0, 2), [1.0, 2.0])


def test_mute_and_solo():
    clips = {"a": ArrayClip([1.0]), "b": ArrayClip([10.0]), "c": ArrayClip([100.0])}

    def sounding(**values):
        session = session_of(clips, **values)
        return blend(session, session.original, clips, 0, 1)[0, 0] / HALF_POWER

    assert sounding() == pytest.approx(111)
    assert sounding(b={"mute": True}) == pytest.approx(101)
    assert sounding(b={"solo": True}) == pytest.approx(10)
    assert sounding(b={"solo": True, "mute": True}, c={"solo": True}) == pytest.approx(110)


def test_gain_and_pan_weigh_a_lane():
    session, version, clips = one_lane([1.0], gain_db=-6.0, pan=-1.0)
    np.testing.assert_allclose(blend(session, version, clips, 0, 1), [[10 ** (-6 / 20), 0.0]], rtol=1e-6)


def test_a_lane_and_its_inverse_cancel_exactly():
    samples = np.random.default_rng(1).standard_normal(500).astype(np.float32)
    clips = {"a": ArrayClip(samples), "b": ArrayClip(samples)}
    version = Version(id="v1", name="x", moves={"a": Move(3.21, 1), "b": Move(3.21, -1)})
    assert not blend(session_of(clips, version), version, clips, -100, 800).any()


@settings(deadline=None)
@given(
    cuts=st.lists(st.integers(1, 999), max_size=6, unique=True),
    shifts=st.tuples(*[st.floats(-300, 300)] * 3),
    start=st.integers(-200, 200),
)
def test_cutting_into_blocks_changes_no_bit(cuts: list[int], shifts: tuple[float, ...], start: int):
    clips = noise_clips(3, 1_000)
    version = Version(id="v1", name="x", moves={k: Move(s) for k, s in zip("abc", shifts, strict=True)})
    session = session_of(clips, version, a={"gain_db": -3.0}, b={"pan": 0.3, "place_samples": 11})
    version = session.current_version
    whole = blend(session, version, clips, start, 1_000)
    edges = [0, *sorted(cuts), 1_000]
    parts = [blend(session, version, clips, start + a, b - a) for a, b in itertools.pairwise(edges)]
    assert np.array_equal(np.concatenate(parts), whole)


def test_long_passages_equal_short_blocks():
    clips = noise_clips(2, 40_000)
    version = Version(id="v1", name="x", moves={"a": Move(0.37), "b": Move(-12.9)})
    session = session_of(clips, version)
    whole = blend(session, version, clips, 0, 40_000)
    parts = [blend(session, version, clips, at, min(777, 40_000 - at)) for at in range(0, 40_000, 777)]
    assert np.array_equal(np.concatenate(parts), whole)


@pytest.mark.parametrize("frames", [1, 2, 3, 4_095, 4_096, 4_097, 4_098, 8_193])
@pytest.mark.parametrize("rate_ppm", [0.0, 30.0])
def test_every_length_gives_the_bits_of_a_longer_one(frames: int, rate_ppm: float):
    clips = noise_clips(1, 20_000)
    version = Version(id="v1", name="x", moves={"a": Move(0.37, rate_ppm=rate_ppm)})
    session = session_of(clips, version)
    whole = blend(session, version, clips, 0, 20_000)
    for start in (0, 77, 4_000, 9_999):
        assert np.array_equal(blend(session, version, clips, start, frames), whole[start : start + frames])


def test_versions_rendered_together_equal_versions_rendered_alone():
    clips = noise_clips(3, 4_000)
    near = Version(id="v1", name="near", moves={"a": Move(12.5), "b": Move(-3.0, -1)})
    far = Version(id="v2", name="far", moves={"a": Move(9_000.25), "b": Move(-3.0, -1)})
    session = session_of(clips, near, far)
    together = render_versions(session, (ORIGINAL, near, far), clips, -50, 2_000)
    for version, out in zip((ORIGINAL, near, far), together, strict=True):
        assert np.array_equal(out, blend(session, version, clips, -50, 2_000))


def test_versions_that_lie_close_share_one_read_a_lane():
    clips = noise_clips(1, 4_000)
    version = Version(id="v1", name="x", moves={"a": Move(12.5)})
    render_versions(session_of(clips, version), (ORIGINAL, version), clips, 0, 1_000)
    assert clips["a"].reads == 1


def test_a_lane_without_a_clip_is_silent():
    clips = noise_clips(2, 100)
    session = session_of(clips)
    only_a = blend(session, ORIGINAL, {"a": clips["a"]}, 0, 100)
    assert np.array_equal(only_a[:, 0], (clips["a"].samples.astype(float) * HALF_POWER).astype(np.float32))


def test_a_clip_at_another_rate_is_refused():
    session = session_of({"a": ArrayClip([1.0])}, rate_hz=48_000)
    with pytest.raises(ValueError, match="44100 Hz in a session of 48000"):
        blend(session, ORIGINAL, {"a": ArrayClip([1.0], rate_hz=44_100)}, 0, 1)


def test_no_frames():
    clips = noise_clips(1, 10)
    version = Version(id="v1", name="x", moves={"a": Move(0.5)})
    assert blend(session_of(clips, version), version, clips, 0, 0).shape == (0, 2)


def test_versions_of_different_balance_are_each_blended_as_if_alone():
    clips = noise_clips(3, 2_000)
    wide = Version(
        "v1",
        "Wide",
        {"a": Move(7.25)},
        {"a": Balance(-3.0, -1.0), "b": Balance(2.0, 1.0), "c": Balance(mute=True)},
    )
    alone = Version("v2", "Alone", {"c": Move(-11.0, -1)}, {"a": Balance(mute=True), "b": Balance(mute=True)})
    session = session_of(clips, wide, alone)
    session = replace(session, versions=(wide, alone))
    together = render_versions(session, (wide, alone, wide.as_recorded, alone.as_recorded), clips, -50, 2_500)
    for version, out in zip((wide, alone, wide.as_recorded, alone.as_recorded), together, strict=True):
        assert np.array_equal(out, blend(session, version, clips, -50, 2_500))
    left, right = (10 ** (level / 20) * clips[key].samples for key, level in (("a", -3.0), ("b", 2.0)))
    as_recorded = together[2][50:2_050]
    np.testing.assert_allclose(as_recorded, np.column_stack([left, right]), atol=1e-6)
    np.testing.assert_allclose(together[3][50:2_050, 0], clips["c"].samples * HALF_POWER, atol=1e-7)


def test_a_lane_that_takes_part_in_no_version_is_not_read():
    clips = noise_clips(2, 1_000)
    session = session_of(clips, b={"mute": True})
    render_versions(session, (session.original, session.current_version), clips, 0, 1_000)
    assert (clips["a"].reads, clips["b"].reads) == (1, 0)
