import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lagline.media.extremes import FloatArray
from lagline.media.pyramid import BIN_SAMPLES, FINE_BINS, RADIX, Overview, bin_samples_for


def filled(samples: FloatArray, bin_samples: int = BIN_SAMPLES, step_bins: int = 37) -> Overview:
    """An overview built in steps, as from a file."""
    overview = Overview(len(samples), bin_samples)
    step = step_bins * bin_samples
    for start in range(0, len(samples), step):
        block = samples[start : start + step]
        edges = np.arange(0, len(block), bin_samples)
        overview.fill(np.minimum.reduceat(block, edges), np.maximum.reduceat(block, edges))
    return overview


def by_hand(samples: FloatArray, first: int, stop: int, count: int) -> tuple[FloatArray, FloatArray]:
    """Extremes of `count` equal columns of whole samples, silence outside, without any levels."""
    step = (stop - first) // count
    padded = np.pad(samples, (max(0, -first), max(0, stop - len(samples))))
    start = first + max(0, -first)
    columns = padded[start : start + count * step].reshape(count, step)
    return columns.min(axis=1), columns.max(axis=1)


@given(
    frames=st.integers(1, 40_000),
    first_bin=st.integers(-300, 700),
    column_bins=st.integers(1, 4 * FINE_BINS - 1),  # wider ones are looked up in coarser levels
    count=st.integers(1, 50),
    seed=st.integers(0, 99),
)
@settings(max_examples=150, deadline=None)
def test_columns_on_bin_edges_are_exact(
    frames: int, first_bin: int, column_bins: int, count: int, seed: int
) -> None:
    samples = np.random.default_rng(seed).standard_normal(frames).astype(np.float32)
    first, stop = first_bin * BIN_SAMPLES, (first_bin + column_bins * count) * BIN_SAMPLES
    lows, highs = filled(samples).columns(first, stop, count)
    right_lows, right_highs = by_hand(samples, first, stop, count)
    assert np.array_equal(lows, right_lows)
    assert np.array_equal(highs, right_highs)


@pytest.mark.parametrize("level", [1, 2, 3])
@given(first=st.integers(-20, 60), column=st.integers(FINE_BINS, 4 * FINE_BINS - 1), count=st.integers(1, 12))
@settings(max_examples=30, deadline=None)
def test_columns_on_the_edges_of_coarser_bins_are_exact(
    level: int, first: int, column: int, count: int
) -> None:
    samples = np.random.default_rng(level).standard_normal(64 * 9_001 + 5).astype(np.float32)
    size = BIN_SAMPLES * RADIX**level
    start, stop = first * size, (first + column * count) * size
    lows, highs = filled(samples, step_bins=401).columns(start, stop, count)
    right_lows, right_highs = by_hand(samples, start, stop, count)
    assert np.array_equal(lows, right_lows)
    assert np.array_equal(highs, right_highs)


@pytest.mark.parametrize("count", [3, 17, 500])
def test_wide_columns_are_exact_to_a_small_part_of_their_width(count: int) -> None:
    samples = np.random.default_rng(4).standard_normal(64 * 51_000).astype(np.float32)
    overview = filled(samples, step_bins=4_001)
    rng = np.random.default_rng(5)
    for _ in range(20):
        width = int(rng.integers(130, 35_000 // min(count, 200))) * BIN_SAMPLES
        first = int(rng.integers(-1_000, 20_000)) * BIN_SAMPLES
        lows, highs = overview.columns(first, first + count * width, count)
        reach = width // (2 * FINE_BINS) + 1
        for column in rng.integers(0, count, 5):
            start = first + int(column) * width
            least, most = by_hand(samples, start + reach, start + width - reach, 1)
            lowest, highest = by_hand(samples, start - reach, start + width + reach, 1)
            assert lowest[0] <= lows[column] <= least[0]
            assert most[0] <= highs[column] <= highest[0]


@given(place=st.integers(0, 64 * 51_000 - 1), first=st.floats(-1e5, 1e6), length=st.floats(2e5, 4e6))
@settings(max_examples=60, deadline=None)
def test_no_peak_is_lost_from_afar(place: int, first: float, length: float) -> None:
    samples = np.zeros(64 * 51_000, np.float32)
    samples[place] = 1.0
    _lows, highs = filled(samples, step_bins=4_001).columns(first, first + length, 12)
    if first + length / 300 < place < first + length - length / 300:
        assert (highs == 1.0).sum() == 1


@given(first=st.floats(-5_000, 30_000), length=st.floats(3_000, 60_000), count=st.integers(1, 40))
@settings(max_examples=100, deadline=None)
def test_no_peak_is_lost_and_none_is_drawn_twice(first: float, length: float, count: int) -> None:
    samples = np.zeros(30_000, np.float32)
    samples[12_345] = 1.0
    _lows, highs = filled(samples).columns(first, first + length, count)
    place = (12_345 - first) / length * count
    reach = max(BIN_SAMPLES / length * count, 0.5 / FINE_BINS)
    if reach < place < count - reach:
        assert (highs == 1.0).sum() == 1
        assert abs(int(np.argmax(highs)) + 0.5 - place) <= 0.5 + reach
    elif place < -reach or place > count + reach:
        assert not highs.any()


def test_finer_than_a_bin_shows_the_bin_it_lies_in() -> None:
    samples = np.repeat(np.arange(1, 11, dtype=np.float32), BIN_SAMPLES)
    lows, highs = filled(samples).columns(2 * BIN_SAMPLES, 4 * BIN_SAMPLES, 64)
    assert lows.tolist() == highs.tolist() == [3.0] * 32 + [4.0] * 32


def test_what_is_not_read_yet_is_silence() -> None:
    overview = Overview(10 * BIN_SAMPLES, BIN_SAMPLES)
    ones = np.ones(4, np.float32)
    overview.fill(ones, ones)
    assert overview.ready_frames == 4 * BIN_SAMPLES
    assert overview.columns(0, 10 * BIN_SAMPLES, 10)[1].tolist() == [1.0] * 4 + [0.0] * 6


def test_view_at_another_rate_counts_in_its_samples() -> None:
    samples = np.zeros(44_100, np.float32)
    samples[22_050] = 1.0
    overview = filled(samples).at_rate(44_100, 48_000)
    assert overview.frames == 48_000
    assert overview.ready_frames == 48_000
    assert overview.bin_samples == pytest.approx(64 * 48 / 44.1)
    _lows, highs = overview.columns(0, 48_000, 10)
    assert np.flatnonzero(highs).tolist() in ([4], [5])


def test_long_recordings_get_wider_bins_and_bounded_memory() -> None:
    assert bin_samples_for(3_600 * 48_000) == 64
    assert bin_samples_for(2 * 3_600 * 96_000) == 256


@pytest.mark.parametrize(
    ("first", "stop", "count"), [(0, 0, 10), (10, 5, 10), (0, 10, 0), (0, float("nan"), 1)]
)
def test_no_columns_to_give(first: float, stop: float, count: int) -> None:
    with pytest.raises(ValueError, match="no columns"):
        Overview(100, 64).columns(first, stop, count)


@pytest.mark.parametrize(("offset_bins", "first_bin"), [(0.45, 0), (0.55, 1), (1.4, 1), (-0.45, 0)])
def test_an_edge_goes_to_the_nearest_bin(offset_bins: float, first_bin: int) -> None:
    samples = np.repeat(np.arange(1, 41, dtype=np.float32), BIN_SAMPLES)
    first = offset_bins * BIN_SAMPLES
    lows, highs = filled(samples).columns(first, first + 20 * BIN_SAMPLES, 4)
    assert lows.tolist() == [first_bin + 1 + 5 * column for column in range(4)]
    assert highs.tolist() == [first_bin + 5 + 5 * column for column in range(4)]


def test_bins_put_in_any_order_are_those_filled_from_the_front() -> None:
    samples = np.random.default_rng(8).standard_normal(BIN_SAMPLES * 4_000).astype(np.float32)
    right = filled(samples)
    overview = Overview(len(samples), BIN_SAMPLES)
    lows, highs = right.bins
    for part in np.random.default_rng(9).permutation(40):
        at = slice(100 * part, 100 * (part + 1))
        overview.put(at.start, lows[at], highs[at])
    step = 499 * BIN_SAMPLES
    for a, b in zip(overview.columns(0, 8 * step, 8), right.columns(0, 8 * step, 8), strict=True):
        assert np.array_equal(a, b)
    assert overview.ready_frames == 0


@given(frames=st.integers(20_000, 400_000), count=st.integers(3, 40), behind=st.integers(1, 60))
@settings(max_examples=80, deadline=None)
def test_a_click_at_the_very_end_is_in_the_last_column(frames: int, count: int, behind: int) -> None:
    samples = np.zeros(frames, np.float32)
    samples[-behind] = 1.0
    _lows, highs = filled(samples).columns(0, frames, count)
    assert highs[-1] == 1.0
