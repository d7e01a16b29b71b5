"""Further witnesses, each asked of lanes whose lags are known by construction."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal
from numpy.typing import NDArray
from tests.support.fake_clips import fake_take, shifted

from lagline.analysis.align import measure_take
from lagline.analysis.measured import Measured
from lagline.analysis.options import AnalysisOptions
from lagline.analysis.verdict.witnesses import Account, ask, listen

RATE = 48_000


def clap(frames: int, at: int) -> NDArray[np.float64]:
    """A crack of noise through a microphone's band, so that it begins as sound does."""
    rng = np.random.default_rng(3)
    out = np.zeros(frames)
    length = frames - at
    out[at:] = rng.standard_normal(length) * np.exp(-np.arange(length) / (0.006 * RATE))
    band = scipy.signal.butter(2, [300, 9000], "bandpass", fs=RATE, output="sos")
    return np.asarray(0.5 * scipy.signal.sosfilt(band, out))


def hiss(frames: int, seed: int) -> NDArray[np.float64]:
    return 1e-3 * np.random.default_rng(seed).standard_normal(frames)


def measured_of(lanes: dict[str, NDArray[np.float64]], options: AnalysisOptions | None = None) -> Measured:
    session, clips = fake_take(lanes, RATE)
    return measure_take(
        session, clips, options or AnalysisOptions(), progress=lambda _: None, cancelled=lambda: False
    )


def said_of(measured: Measured, anchor: int = 0, lane: int = 1) -> Account:
    return ask(measured.cuts, listen(measured.lanes, measured.cuts, measured.passage), anchor, lane)


@pytest.fixture(scope="module")
def one_clap() -> Measured:
    near = clap(RATE, 12_000)
    return measured_of({"near": near + hiss(RATE, 1), "far": -0.4 * shifted(near, 312.3) + hiss(RATE, 2)})


def test_one_clap_is_placed_by_curve_and_by_first_sound(one_clap: Measured) -> None:
    said = said_of(one_clap)
    lag, sign, height = said.whole.peaks[0]
    assert said.whole.finer(lag) == pytest.approx(312.3, abs=0.07)
    assert sign == -1 and height > 20
    assert said.first.alone == pytest.approx(312.3, abs=1.5)


def test_swapped_lanes_say_the_same_the_other_way_round(one_clap: Measured) -> None:
    one, other = said_of(one_clap, 0, 1), said_of(one_clap, 1, 0)
    assert one.whole.values == pytest.approx(other.whole.values[::-1], abs=1e-2)
    assert one.whole.peaks[0][0] == pytest.approx(-other.whole.peaks[0][0], abs=1e-3)
    assert one.windowed.peaks[0][0] == pytest.approx(-other.windowed.peaks[0][0], abs=1e-3)
    assert one.first.lag == pytest.approx(-other.first.lag, abs=1e-6)


def test_nothing_outside_the_passage_is_heard() -> None:
    near = clap(3 * RATE, RATE)
    late = clap(3 * RATE, 2 * RATE)
    lanes = {
        "near": near + late + hiss(3 * RATE, 1),
        "far": shifted(near, 30.0) + shifted(late, -90.0) + hiss(3 * RATE, 2),
    }
    measured = measured_of(lanes, AnalysisOptions(start=round(1.7 * RATE), stop=round(2.8 * RATE)))
    said = said_of(measured)
    assert said.whole.peaks[0][0] == pytest.approx(-90.0, abs=0.6)
    assert said.first.alone == pytest.approx(-90.0, abs=1.5)


def test_a_long_take_is_heard_where_most_happens() -> None:
    frames = 30 * RATE
    lively = np.zeros(frames)
    for k in range(8):
        lively += shifted(clap(frames, 21 * RATE), 0.7 * RATE * k)
    measured = measured_of({"near": lively + hiss(frames, 1), "far": shifted(lively, 77.0) + hiss(frames, 2)})
    said = said_of(measured)
    assert said.first.strokes >= 7
    assert said.first.lag == pytest.approx(77.0, abs=1.5)


def test_a_lane_s_own_player_is_heard_apart_from_a_louder_one() -> None:
    """Two players all the time, each in both spots and in a pair: the highest peak is the louder player's."""
    rng = np.random.default_rng(7)
    band = scipy.signal.butter(2, [200, 12_000], "bandpass", fs=RATE, output="sos")
    swell = np.abs(scipy.signal.lfilter([1e-3], [1, -0.999], rng.standard_normal((2, 4 * RATE))))
    loud, soft = (scipy.signal.sosfilt(band, rng.standard_normal(4 * RATE)) * x / x.max() for x in swell)
    lanes = {
        "pair": shifted(loud, 200.0) + 0.5 * shifted(soft, 340.0) + hiss(4 * RATE, 1),
        "at loud": loud + 0.05 * shifted(soft, 150.0) + hiss(4 * RATE, 2),
        "at soft": 0.7 * shifted(loud, 150.0) + soft + hiss(4 * RATE, 3),
    }
    measured = measured_of(lanes)
    assert said_of(measured, 0, 1).apart.peaks[0][0] == pytest.approx(-200.0, abs=0.6)
    assert said_of(measured, 0, 2).apart.peaks[0][0] == pytest.approx(-340.0, abs=0.6)
    said = said_of(measured, 0, 2)
    assert said.owned > said.anchor_owned


def test_of_two_lanes_none_is_heard_apart(one_clap: Measured) -> None:
    said = said_of(one_clap)
    assert said.apart.peaks == () and said.owned == 0
