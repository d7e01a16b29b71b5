"""Planned arrivals against the direct sound that pyroomacoustics computes for the same places."""

from __future__ import annotations

import itertools
import warnings

import numpy as np
import pytest

from lagline.jobs.plan import arrivals, blend_db, pairs, speed_m_s
from lagline.session.plan import Plan, PlannedLane

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pyroomacoustics

SOURCE = (2.4, 3.1, 1.1)
MICS = {"a": (2.9, 3.4, 1.3), "b": (4.9, 1.2, 2.2), "c": (0.6, 5.9, 1.7), "d": (2.4, 3.1, 2.6)}
PLAN = Plan(
    source_m=SOURCE,
    lanes=tuple(PlannedLane(name, place) for name, place in MICS.items()),
    temperature_c=23.0,
    humidity_percent=40.0,
)


def outside_arrivals_s() -> dict[str, float]:
    room = pyroomacoustics.ShoeBox([6.0, 7.0, 3.0], fs=48_000, max_order=0)
    room.add_source(SOURCE)
    for place in MICS.values():
        room.add_microphone(place)
    room.image_source_model()
    away = np.linalg.norm(room.mic_array.R.T - room.sources[0].images[:, 0], axis=1)
    return dict(zip(MICS, away / speed_m_s(PLAN), strict=True))


def test_differences_of_arrival() -> None:
    outside = outside_arrivals_s()
    last = max(outside.values())
    for row in arrivals(PLAN):
        assert row.arrival_samples == pytest.approx((outside[row.name] - last) * 48_000, abs=1e-3)


def test_pairs_and_their_first_notches() -> None:
    outside = outside_arrivals_s()
    found = {(pair.a, pair.b): pair for pair in pairs(PLAN)}
    assert set(found) == set(itertools.combinations(MICS, 2))
    for (a, b), pair in found.items():
        delay_s = outside[b] - outside[a]
        assert pair.delay_ms == pytest.approx(1000 * delay_s, abs=1e-4)
        assert pair.comb.notches_hz[0] == pytest.approx(0.5 / abs(delay_s), rel=1e-4)


def test_the_blend_of_all_is_the_transform_of_their_impulses() -> None:
    """numpy's FFT of impulses at whole samples, where the plan's delays are set to fall on them."""
    speed = speed_m_s(PLAN)
    late = {"a": 20, "b": 57, "c": 131}
    plan = Plan(
        lanes=tuple(
            PlannedLane(n, distance_m=k / 48_000 * speed, level_db=-3.0 * i, polarity=1 - 2 * (n == "b"))
            for i, (n, k) in enumerate(late.items())
        ),
        temperature_c=23.0,
        humidity_percent=40.0,
    )
    impulses = np.zeros(4096)
    for i, (name, k) in enumerate(late.items()):
        impulses[k] = 10 ** (-3.0 * i / 20) * (-1 if name == "b" else 1)
    spectrum = 20 * np.log10(np.abs(np.fft.rfft(impulses)))
    np.testing.assert_allclose(blend_db(plan, np.fft.rfftfreq(4096, 1 / 48_000)), spectrum, atol=1e-6)
