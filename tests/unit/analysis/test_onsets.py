"""First sounds: where a lane begins to move."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.support.fake_clips import shifted

from lagline.analysis.onsets import READINGS, pick

RATE = 48_000
LEAD = 2880


def stroke(seed: int, noise: float = 0.0) -> NDArray[np.float64]:
    """A stroke that begins at LEAD, rising over a third of a millisecond."""
    rng = np.random.default_rng(seed)
    t = np.arange(RATE // 4) / RATE
    body = (1 - np.exp(-t / 3e-4)) * np.exp(-t / 0.05) * np.sin(2 * np.pi * 900 * t)
    out = np.concatenate((np.zeros(LEAD), body))
    return out + noise * rng.standard_normal(len(out))


def test_a_stroke_is_found_where_it_begins() -> None:
    picks = pick(stroke(1, 1e-4)[None].astype(np.float32), LEAD, RATE)
    assert np.isfinite(picks.position[0]).all()
    assert picks.position[0, 0] == pytest.approx(LEAD, abs=6)
    assert list(picks.sign) == [1]
    assert not picks.is_cut[0]


@pytest.mark.parametrize("by", [0.25, 3.6, 40.5])
def test_a_later_stroke_is_read_later_by_as_much(by: float) -> None:
    one = stroke(2, 1e-4)
    both = np.stack((one, shifted(one, by))).astype(np.float32)
    picks = pick(both, LEAD, RATE)
    low = slice(0, READINGS - 1)
    assert picks.position[1, low] - picks.position[0, low] == pytest.approx(by, abs=0.1)


def test_an_inverted_stroke_has_the_other_sign_and_the_same_place() -> None:
    one = stroke(3, 1e-4)
    picks = pick(np.stack((one, -one)).astype(np.float32), LEAD, RATE)
    assert picks.sign[0] == -picks.sign[1]
    assert picks.position[0] == pytest.approx(picks.position[1])


def test_silence_and_steady_noise_have_no_first_sound() -> None:
    noise = np.random.default_rng(1).standard_normal(RATE // 4)
    picks = pick(np.stack((np.zeros(RATE // 4), noise)).astype(np.float32), LEAD, RATE)
    assert np.isnan(picks.position).all()


def test_a_recording_that_starts_inside_the_attack_is_marked() -> None:
    one = stroke(4)
    one[: LEAD + 12] = 0.0
    one[LEAD + 12] = 0.6
    assert pick(one[None].astype(np.float32), LEAD, RATE).is_cut[0]
