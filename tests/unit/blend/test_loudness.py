"""Loudness: blocks, short passages, silence, and the gains that match versions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.array_clips import ArrayClip, noise_clips, session_of

from lagline.blend.loudness import (
    GatedPowers,
    KWeighting,
    LoudnessMeter,
    exact_match_gains,
    loudness,
    match_gains,
    measured,
)
from lagline.blend.mix import blend
from lagline.session import edits
from lagline.session.values import ORIGINAL, Move, Version


@settings(max_examples=25, deadline=None)
@given(cuts=st.lists(st.integers(1, 95_999), max_size=5, unique=True))
def test_blocks_of_any_size_measure_the_same(cuts: list[int]):
    signal = np.random.default_rng(0).standard_normal((96_000, 2)).astype(np.float32) * 0.1
    whole, parts = LoudnessMeter(48_000), LoudnessMeter(48_000)
    whole.add(signal)
    for part in np.split(signal, sorted(cuts)):
        parts.add(part)
    assert parts.integrated_lufs() == pytest.approx(whole.integrated_lufs(), abs=1e-9)


def test_the_filter_is_the_recursive_one():
    """A difference equation run sample by sample gives the same as overlap-save."""
    from lagline.blend.loudness import k_coefficients

    signal = np.random.default_rng(1).standard_normal(30_000)
    slow = signal
    for numerator, denominator in k_coefficients(48_000):
        past_in, past_out, filtered = [0.0, 0.0], [0.0, 0.0], []
        for value in slow:
            out = numerator @ [value, *past_in] - denominator[1:] @ past_out
            past_in, past_out = [value, past_in[0]], [out, past_out[0]]
            filtered.append(out)
        slow = np.array(filtered)
    fast = KWeighting(48_000).filtered(np.column_stack([signal, signal]))
    np.testing.assert_allclose(fast[:, 0], slow, atol=1e-11)


def test_silence_and_nothing_are_minus_infinity():
    clips = {"a": ArrayClip(np.zeros(48_000))}
    session = session_of(clips)
    assert loudness(session, ORIGINAL, clips, 0, 48_000) == -math.inf
    assert loudness(session, ORIGINAL, clips, 0, 100) == -math.inf
    assert loudness(session, ORIGINAL, clips, 100, 100) == -math.inf


def test_a_short_passage_is_measured_without_gates():
    tone = 0.1 * np.sin(2 * np.pi * 997 / 48_000 * np.arange(48_000))
    clips = {"a": ArrayClip(tone)}
    session = session_of(clips)
    assert loudness(session, ORIGINAL, clips, 10_000, 10_000 + 9_600) == pytest.approx(
        loudness(session, ORIGINAL, clips, 0, 48_000), abs=0.1
    )


def test_versions_measured_together_and_alone():
    clips = noise_clips(2, 60_000)
    version = Version(id="v1", name="x", moves={"a": Move(10.5)})
    session = session_of(clips, version)
    together = measured(session, (ORIGINAL, version), clips, 0, 60_000)
    apart = [loudness(session, one, clips, 0, 60_000) for one in (ORIGINAL, version)]
    assert [powers.integrated_lufs() for powers in together] == apart


def test_a_measurement_can_be_stopped():
    clips = noise_clips(1, 400_000)
    measured(session_of(clips), (ORIGINAL,), clips, 0, 400_000, cancelled=lambda: clips["a"].reads >= 2)
    assert clips["a"].reads == 2


@given(st.lists(st.one_of(st.floats(-80, 10), st.just(-math.inf)), min_size=1, max_size=6))
def test_matching_only_turns_down_and_ends_level(values: list[float]):
    gains = match_gains(values)
    assert all(gain <= 0 for gain in gains)
    matched = [value + gain for value, gain in zip(values, gains, strict=True) if math.isfinite(value)]
    assert not matched or max(matched) - min(matched) < 1e-9
    assert all(gain == 0 for value, gain in zip(values, gains, strict=True) if not math.isfinite(value))


def test_the_exact_match_counts_what_the_gate_loses_after_the_gain():
    """A loud version whose quiet half falls below -70 LUFS when it is turned down."""
    frames = 10 * 48_000
    noise = np.random.default_rng(4).standard_normal(frames)
    loud = noise * np.where(np.arange(frames) < frames // 2, 0.02, 0.0065)
    clips = {"a": ArrayClip(loud), "b": ArrayClip(noise * 0.000_4)}
    session = session_of(clips)
    alone = [edits.with_solo(session, key, True) for key in "ab"]
    powers = [measured(one, (ORIGINAL,), clips, 0, frames)[0] for one in alone]
    simple = match_gains([one.integrated_lufs() for one in powers])
    exact = exact_match_gains(powers)
    off_before = powers[0].integrated_lufs(simple[0]) - powers[1].integrated_lufs()
    off_after = powers[0].integrated_lufs(exact[0]) - powers[1].integrated_lufs()
    assert abs(off_before) > 0.3, "the gate made no difference, so nothing was tested"
    assert abs(off_after) < 0.01
    assert exact[0] < simple[0] < 0.0 == exact[1]


@given(
    st.lists(st.floats(1e-9, 1e3), min_size=2, max_size=40),
    st.lists(st.floats(1e-9, 1e3), min_size=2, max_size=40),
)
def test_the_exact_match_turns_up_nothing(one: list[float], other: list[float]):
    powers = [GatedPowers(np.array(steps), 4_800.0, 0.0, 4_800 * len(steps)) for steps in (one, other)]
    assert max(exact_match_gains(powers)) <= 0.0


def test_edges_are_measured_as_they_are_heard():
    clips = noise_clips(1, 200_000)
    session = session_of(clips)
    edge = np.linspace(0, 1, 70_000, dtype=np.float32)[:, np.newaxis]
    found = measured(session, (ORIGINAL,), clips, 1_000, 181_000, edge=edge)[0]
    sound = blend(session, ORIGINAL, clips, 1_000, 180_000)
    sound[:70_000] *= edge
    sound[-70_000:] *= edge[::-1]
    meter = LoudnessMeter(48_000)
    meter.add(sound)
    assert found.integrated_lufs() == pytest.approx(meter.integrated_lufs(), abs=1e-6)


@pytest.mark.parametrize(
    ("level_lufs", "heard"), [(-69.5, True), (-69.99, True), (-70.01, False), (-70.5, False)]
)
def test_the_absolute_gate_lies_at_minus_70(level_lufs: float, heard: bool):
    """ITU-R BS.1770-4, annex 1: blocks at or below -70 LKFS are left out."""
    power = 10 ** ((level_lufs + 0.691) / 10)
    steps = np.full(20, power * 4_800)
    found = GatedPowers(steps, 4_800.0, 0.0, 4_800 * len(steps)).integrated_lufs()
    assert found == (pytest.approx(level_lufs, abs=1e-6) if heard else -np.inf)
