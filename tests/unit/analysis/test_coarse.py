"""Where lanes that start apart lie: over all lags, in lanes that share a sound or do not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import scipy.signal
from tests.material.take import make
from tests.support.fake_clips import FakeClip

from lagline.analysis import coarse
from lagline.analysis.options import AnalysisOptions
from lagline.jobs.line_up import line_up
from lagline.jobs.open_take import open_take

RATE = 48_000


def beat(seconds: float, seed: int) -> np.ndarray:
    """Strokes on a strict beat."""
    rng = np.random.default_rng(seed)
    out = 1e-3 * rng.standard_normal(round(seconds * RATE))
    for at in range(RATE // 4, len(out) - RATE // 4, RATE // 2):
        out[at : at + RATE // 4] += rng.standard_normal(RATE // 4) * np.exp(-np.arange(RATE // 4) / 1000)
    return out


def looked(x: np.ndarray) -> np.ndarray:
    return coarse.looked_at(FakeClip(x), 0, len(x), RATE)


@pytest.mark.parametrize("late", [0, 31_000, -77_000])
def test_one_clear_peak_over_all_lags(late: int) -> None:
    x = scipy.signal.lfilter([1], [1, -0.6], np.random.default_rng(1).standard_normal(6 * RATE))
    both = np.zeros((2, 10 * RATE))
    both[0, 2 * RATE : 8 * RATE] = x
    both[1, 2 * RATE + late : 8 * RATE + late] = -0.3 * x
    both += 0.05 * np.random.default_rng(2).standard_normal(both.shape)
    lag, height = coarse.over_all_lags(looked(both[0]), looked(both[1]), RATE)
    assert lag == pytest.approx(late, abs=2)
    assert height > coarse.CERTAIN


def test_strangers_on_one_beat_have_none() -> None:
    for seed in range(3):
        _, height = coarse.over_all_lags(looked(beat(6, seed)), looked(beat(6, seed + 10)), RATE)
        assert height < coarse.CERTAIN / 2, height


def test_speech_is_found_most_of_a_minute_away(tmp_path: Path) -> None:
    """Its attacks coincide nowhere clearly."""
    take = make("far", "speech", 5)
    written = take.write(tmp_path)
    session = open_take([tmp_path / row["file"] for row in written["lanes"]]).session
    found = line_up(session, AnalysisOptions(anchor=session.lanes[0].id)).findings[1]
    assert take.lanes[1].offset is not None and abs(take.lanes[1].offset) > 40 * take.fs
    assert found.arrival_samples == pytest.approx(take.lanes[1].offset, abs=1)
    assert found.trust_word in ("strong", "usable")
