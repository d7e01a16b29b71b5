"""Attacks of signals whose attacks are known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.strategies import integers, lists

from lagline.analysis.attacks import (
    find_attacks,
    next_attack,
    previous_attack,
    shared_attacks,
    strongest_attack,
)

RATE_HZ = 48_000


def strokes(*starts: int, frames: int = RATE_HZ * 3, level: float = 0.5, noise: float = 1e-4) -> np.ndarray:
    """Decaying strokes of a string over a little noise."""
    rng = np.random.default_rng(4)
    time = np.arange(RATE_HZ) / RATE_HZ
    stroke = level * np.exp(-time * 9) * np.sin(2 * np.pi * 330 * time + 0.9)
    out = noise * rng.standard_normal(frames + RATE_HZ)
    for start in starts:
        out[start : start + RATE_HZ] += stroke
    return out[:frames]


def test_strokes_are_found_to_the_sample() -> None:
    wanted = (20_000, 55_555, 101_010)
    found = [attack.start_samples for attack in find_attacks(strokes(*wanted), RATE_HZ)]
    assert found == list(wanted)


def test_a_gentle_start_is_found_where_it_begins_not_where_it_is_loudest() -> None:
    time = np.arange(RATE_HZ) / RATE_HZ
    swell = np.minimum(time / 0.008, 1.0) * np.exp(-time * 9) * np.sin(2 * np.pi * 1500 * time)
    signal = 1e-5 * np.random.default_rng(4).standard_normal(2 * RATE_HZ)
    signal[30_000 : 30_000 + RATE_HZ] += swell
    (attack,) = find_attacks(signal, RATE_HZ)
    assert 30_000 <= attack.start_samples <= 30_040  # its loudest place lies 380 samples in


@settings(max_examples=25, deadline=None)
@given(gaps=lists(integers(9_000, 30_000), min_size=1, max_size=5))
def test_any_strokes_a_fifth_of_a_second_apart_are_found(gaps) -> None:
    wanted = np.cumsum(gaps)
    found = [attack.start_samples for attack in find_attacks(strokes(*wanted, frames=200_000), RATE_HZ)]
    for start in wanted:
        assert min(abs(start - at) for at in found) <= 40


@pytest.mark.parametrize(
    "signal",
    [
        np.zeros(RATE_HZ),
        np.ones(RATE_HZ),
        0.3 * np.sin(np.arange(RATE_HZ * 2) * 0.05),
        np.zeros(3),
        np.full(RATE_HZ, np.nan),
        0.1 * np.random.default_rng(1).standard_normal(RATE_HZ * 3),
    ],
    ids=["silence", "constant", "tone", "short", "nan", "noise"],
)
def test_what_has_no_attack_gives_none(signal) -> None:
    assert find_attacks(signal, RATE_HZ) == ()


def test_level_does_not_matter() -> None:
    signal = strokes(20_000, 70_000)
    quiet = find_attacks(signal * 1e-3, RATE_HZ)
    assert [a.start_samples for a in quiet] == [a.start_samples for a in find_attacks(signal, RATE_HZ)]


def test_shared_attacks_are_compared_where_the_lanes_are_heard() -> None:
    near, far = strokes(20_000, 90_000), strokes(20_300, 60_000, 90_300)
    found = shared_attacks([(near, 300.0), (far, 0.0)], RATE_HZ)
    both = [a for a in found if a.strength > 0.5]
    assert [a.start_samples for a in both] == [20_300, 90_300]
    alone = next(a for a in found if abs(a.start_samples - 60_000) < 100)
    assert alone.strength < min(a.strength for a in both)


def test_stepping() -> None:
    found = find_attacks(strokes(20_000, 50_000, 90_000), RATE_HZ)
    first, second, third = found
    assert next_attack(found, 20_000) == second
    assert previous_attack(found, 90_000) == second
    assert next_attack(found, 90_000) is None
    assert previous_attack(found, 0) is None
    assert next_attack(found, -5) == first
    assert strongest_attack(found) in (first, second, third)
    assert strongest_attack(()) is None
    assert next_attack(found, 0, least=2.0) is None
