"""Taking drift out: the sign, the blocks."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.support.array_clips import ArrayClip, noise_clips, session_of

from lagline.blend import drift
from lagline.blend.mix import blend, lane_signal, render_versions
from lagline.session.values import ORIGINAL, Move, Version

RATE_HZ = 48_000


def moved(rate_ppm: float, shift: float = 0.0) -> Version:
    return Version(id="v1", name="x", moves={"a": Move(shift, rate_ppm=rate_ppm)})


def pulse(centre: float, frames: int) -> np.ndarray:
    """A smooth bump, band-limited for all purposes, centred between samples."""
    return np.exp(-0.5 * ((np.arange(frames) - centre) / 6.0) ** 2)


@pytest.mark.parametrize("rate_ppm", [120.0, -35.0])
def test_a_lane_that_gets_later_is_brought_forward_ever_more(rate_ppm: float):
    """Events every second at the anchor; in the lane each comes later by the drift so far."""
    seconds, late = 5, 250.0
    events = np.arange(1, seconds) * RATE_HZ
    lane = sum(pulse(event * (1 + rate_ppm * 1e-6) + late, seconds * RATE_HZ) for event in events)
    clips = {"a": ArrayClip(lane)}
    version = moved(rate_ppm, shift=-late)
    session = session_of(clips, version)
    out = lane_signal(session, version, session.lanes[0], clips, 0, seconds * RATE_HZ)
    anchor = sum(pulse(float(event), seconds * RATE_HZ) for event in events)
    # The bumps of the lane are not stretched by its drift, which is worth 1e-4 of a bump's slope.
    assert np.abs(out - anchor).max() < 2e-3
    assert np.abs(lane_signal(session, ORIGINAL, session.lanes[0], clips, 0, len(lane)) - anchor).max() > 0.9


@settings(deadline=None, max_examples=40)
@given(
    cuts=st.lists(st.integers(1, 2_999), max_size=5, unique=True),
    rate_ppm=st.floats(-500, 500).filter(bool),
    shift=st.floats(-300, 300),
    start=st.integers(-200, 10**8),
)
def test_cutting_into_blocks_changes_no_bit(cuts: list[int], rate_ppm: float, shift: float, start: int):
    clips = noise_clips(1, 3_000)
    version = moved(rate_ppm, shift - start * rate_ppm * -1e-6)  # so that the noise is read, however far on
    session = session_of(clips, version, a={"place_samples": start})
    whole = blend(session, version, clips, start, 3_000)
    edges = [0, *sorted(cuts), 3_000]
    parts = [blend(session, version, clips, start + a, b - a) for a, b in itertools.pairwise(edges)]
    assert np.array_equal(np.concatenate(parts), whole)
    assert whole.any()


@pytest.mark.parametrize("rate_ppm", [0.01, -3.0, 20.0, 27.0, -180.0, 900.0, 3e4])
def test_it_is_as_exact_at_any_rate(rate_ppm: float):
    """A sine of 20 kHz at 44.1 kHz, read where it is meant to be: what is left is the kernel's own error."""
    frames, hertz, rate_hz = 60_000, 20_000.0, 44_100
    whole, fraction = drift.places(10_000, frames, 0, 3.7, rate_ppm)
    first, stop = drift.stretch(whole)

    def sine(at: np.ndarray) -> np.ndarray:
        return np.sin(2 * np.pi * hertz / rate_hz * at)

    samples = sine(np.arange(first, stop)).astype(np.float32)
    out = drift.resampled(samples, whole, fraction, rate_ppm)
    times = np.arange(10_000, 10_000 + frames, dtype=np.float64)
    wanted = sine(times + (times * rate_ppm * 1e-6 - 3.7))
    assert 20 * np.log10(np.abs(out - wanted).max()) < -108  # -115 dB, and floats of 32 bits


def test_versions_with_and_without_drift_share_a_render():
    clips = noise_clips(1, 20_000)
    version = moved(80.0, 3.25)
    session = session_of(clips, version)
    one, two = render_versions(session, (ORIGINAL, version), clips, 100, 15_000)
    assert np.array_equal(one, blend(session, ORIGINAL, clips, 100, 15_000))
    assert np.array_equal(two, blend(session, version, clips, 100, 15_000))


def test_no_frames():
    clips = noise_clips(1, 10)
    version = moved(80.0)
    assert blend(session_of(clips, version), version, clips, 5, 0).shape == (0, 2)
