"""Levels of rendered sound, against the loudness meter of the blend."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lagline.blend.loudness import LoudnessMeter
from lagline.playback.level_track import LevelTrack, shares_of
from lagline.playback.views import View

RATE_HZ = 48_000
HOP = RATE_HZ // 50


def noise(frames: int, seed: int = 0) -> np.ndarray:
    return (0.1 * np.random.default_rng(seed).standard_normal((frames, 2))).astype(np.float32)


def ungated(sound: np.ndarray) -> float:
    meter = LoudnessMeter(RATE_HZ)
    meter.add(sound)
    return meter.powers().ungated_lufs()


@pytest.mark.parametrize("cut", [100, 960, 7_777])
def test_every_view_is_as_loud_as_the_meter_says(cut: int):
    original, other = noise(RATE_HZ), 0.5 * noise(RATE_HZ) + noise(RATE_HZ, 1)
    track = LevelTrack(2, 0, RATE_HZ)
    for at in range(0, RATE_HZ, cut):
        track.add([original[at : at + cut], other[at : at + cut]])
    middle = other.mean(axis=1, keepdims=True).repeat(2, axis=1)
    changed = other - original
    both = changed.mean(axis=1, keepdims=True).repeat(2, axis=1)
    hops = track.hops(0, RATE_HZ)
    assert hops == (0, 50)
    for view, sound in (
        (View("v1"), other),
        (View("v1", mono=True), middle),
        (View("v1", difference=True), changed),
        (View("v1", difference=True, mono=True), both),
    ):
        assert track.mean_lufs(1, view, hops) == pytest.approx(ungated(sound), abs=0.15)
        assert track.loudest_lufs(1, view, hops) == pytest.approx(ungated(sound), abs=1.0)


def test_levels_worked_out_from_lanes_are_those_of_the_versions_mixed_from_them():
    lanes = [noise(RATE_HZ, seed)[:, 0] for seed in range(3)]
    weights = np.array([[[0.7, 0.5, 0.0], [0.7, 0.0, 0.3]], [[0.7, 0.0, 0.9], [0.1, 0.5, 0.0]]])
    mixed = [np.ascontiguousarray((of_one @ np.stack(lanes)).T, np.float32) for of_one in weights]
    plain = LevelTrack(2, 0, RATE_HZ)
    by_lane = LevelTrack(2, 0, RATE_HZ, shares=shares_of(weights, 0))
    for at in range(0, RATE_HZ, 7_777):
        plain.add([one[at : at + 7_777] for one in mixed])
        by_lane.add([one[at : at + 7_777] for one in lanes])
    hops = plain.hops(0, RATE_HZ)
    assert by_lane.hops(0, RATE_HZ) == hops
    for slot in (0, 1):
        for difference in (False, True):
            for mono in (False, True):
                view = View("v", difference, mono)
                for one in ("mean_lufs", "loudest_lufs"):
                    expected = getattr(plain, one)(slot, view, hops)
                    assert getattr(by_lane, one)(slot, view, hops) == pytest.approx(expected, abs=0.01)


def test_the_loudest_100_ms_are_found_wherever_they_are():
    sound = 0.01 * noise(20 * RATE_HZ)
    track = LevelTrack(1, 0, RATE_HZ)
    loud = range(15 * RATE_HZ, 15 * RATE_HZ + 5 * HOP)  # after the ring has gone round
    sound[loud] *= 100.0
    track.add([sound])
    here = track.hops(14 * RATE_HZ, 16 * RATE_HZ)
    assert track.loudest_lufs(0, View(), here) == pytest.approx(ungated(sound[loud]), abs=0.5)
    assert track.loudest_lufs(0, View(), track.hops(16 * RATE_HZ, 17 * RATE_HZ)) < -50.0
    assert track.hops(0, RATE_HZ)[0] >= track.hops(0, RATE_HZ)[1], "so long ago nothing is known any more"


def test_hops_lie_on_one_clock_from_reel_to_reel_and_the_overlap_does_not_count():
    at, overlap = 10 * HOP + 123, 960
    track = LevelTrack(1, 0, RATE_HZ, at, overlap)
    sound = noise(20 * HOP)
    sound[:overlap] *= 50.0
    track.add([sound])
    first, stop = track.hops(0, len(sound))
    assert first == 12 and stop == (at + len(sound)) // HOP
    assert track.loudest_lufs(0, View(), (first, stop)) < -10.0


def test_nothing_is_as_quiet_as_nothing():
    track = LevelTrack(1, 0, RATE_HZ)
    assert track.loudest_lufs(0, View(), (3, 3)) == -math.inf
    track.add([np.zeros((RATE_HZ, 2), np.float32)])
    assert track.loudest_lufs(0, View(), track.hops(0, RATE_HZ)) == -math.inf
