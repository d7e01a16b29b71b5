import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lagline.media.extremes import bin_extremes, extremes


def one_by_one(
    lows: np.ndarray, highs: np.ndarray, begin: np.ndarray, end: np.ndarray
) -> tuple[list[float], list[float]]:
    pairs = list(zip(begin, end, strict=True))
    return [float(lows[a:b].min()) for a, b in pairs], [float(highs[a:b].max()) for a, b in pairs]


@given(
    seed=st.integers(0, 10_000),
    count=st.integers(1, 60),
    width=st.floats(1.0, 120.0),
    shared=st.integers(0, 2),
    before=st.integers(0, 5),
)
@settings(max_examples=200, deadline=None)
def test_even_stretches(seed: int, count: int, width: float, shared: int, before: int) -> None:
    edges = before + np.floor(width * np.arange(count + 1)).astype(np.intp)
    rng = np.random.default_rng(seed)
    lows, highs = rng.normal(size=(2, edges[-1] + 2)).astype(np.float32)
    begin, end = edges[:-1], edges[1:] + shared
    lowest, highest = extremes(lows, highs, begin, end)
    assert (lowest.tolist(), highest.tolist()) == one_by_one(lows, highs, begin, end)


@given(seed=st.integers(0, 10_000), widths=st.lists(st.integers(1, 50), min_size=1, max_size=60))
@settings(max_examples=200, deadline=None)
def test_stretches_of_any_widths(seed: int, widths: list[int]) -> None:
    edges = np.concatenate([[0], np.cumsum(widths)]).astype(np.intp)
    lows, highs = np.random.default_rng(seed).normal(size=(2, edges[-1])).astype(np.float32)
    lowest, highest = extremes(lows, highs, edges[:-1], edges[1:])
    assert (lowest.tolist(), highest.tolist()) == one_by_one(lows, highs, edges[:-1], edges[1:])


@pytest.mark.parametrize("width", [1, 2, 3, 16, 21, 40, 41, 200])
def test_an_end_that_is_cut_off(width: int) -> None:
    edges = np.minimum(np.arange(30) * width, 28 * width + 1).astype(np.intp)
    lows, highs = np.random.default_rng(width).normal(size=(2, edges[-1])).astype(np.float32)
    lowest, highest = extremes(lows, highs, edges[:-1], edges[1:])
    assert (lowest.tolist(), highest.tolist()) == one_by_one(lows, highs, edges[:-1], edges[1:])


@given(
    seed=st.integers(0, 10_000),
    length=st.integers(1, 300),
    count=st.integers(1, 40),
    widest=st.integers(1, 200),
)
@settings(max_examples=200, deadline=None)
def test_stretches_that_overlap_or_end_together(seed: int, length: int, count: int, widest: int) -> None:
    rng = np.random.default_rng(seed)
    begin = np.sort(rng.integers(0, length, count))
    end = np.maximum.accumulate(np.minimum(begin + rng.integers(1, widest + 1, count), length))
    lows, highs = rng.normal(size=(2, length)).astype(np.float32)
    lowest, highest = extremes(lows, highs, begin, end)
    assert (lowest.tolist(), highest.tolist()) == one_by_one(lows, highs, begin, end)


def test_stretches_of_one_value_that_stay_where_they_are() -> None:
    values = np.array([3.0, 1.0, 2.0], np.float32)
    begin = np.array([0, 0, 1, 1, 2], np.intp)
    lowest, highest = extremes(values, values, begin, begin + 1)
    assert lowest.tolist() == highest.tolist() == [3.0, 3.0, 1.0, 1.0, 2.0]


@given(frames=st.integers(1, 5_000), size=st.sampled_from([1, 2, 64, 256]), seed=st.integers(0, 1_000))
def test_bins_of_one_size(frames: int, size: int, seed: int) -> None:
    samples = np.random.default_rng(seed).normal(size=frames).astype(np.float32)
    lows, highs = bin_extremes(samples, size)
    assert lows.tolist() == [samples[at : at + size].min() for at in range(0, frames, size)]
    assert highs.tolist() == [samples[at : at + size].max() for at in range(0, frames, size)]
