"""Pixels against a plain raster that does one column and one pixel at a time."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lagline.desk.lanes.raster import columns_of, fill, joined, mark_over, outline, rows_of

INK, GROUND = 0xFF3366AA, 0xFF1B1F24


def plain_fill(ground: np.ndarray, tops: np.ndarray, bottoms: np.ndarray) -> np.ndarray:
    image = ground.copy()
    for column, (top, bottom) in enumerate(zip(tops, bottoms, strict=True)):
        for row in range(top, bottom + 1):
            image[row, column] = INK
    return image


def waves(seed: int, width: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    low, high = np.sort(rng.uniform(-1.4, 1.4, (2, width)).astype(np.float32), axis=0)
    return low, high


@given(st.integers(0, 500), st.integers(1, 60), st.integers(2, 700), st.floats(0.001, 20))
def test_filled_columns_are_those_of_the_plain_raster(
    seed: int, width: int, height: int, scale: float
) -> None:
    """Thin and tall shapes, in images of more rows than a byte counts."""
    tops, bottoms = rows_of(*waves(seed, width), height, scale)
    ground = np.full((height, width), GROUND, np.uint32)
    image = ground.copy()
    fill(image, tops, bottoms, INK)
    np.testing.assert_array_equal(image, plain_fill(ground, tops, bottoms))


@given(st.integers(0, 500), st.integers(2, 60), st.integers(2, 300), st.floats(0.001, 20))
def test_an_outline_is_both_edges_of_the_plain_raster(
    seed: int, width: int, height: int, scale: float
) -> None:
    tops, bottoms = rows_of(*waves(seed, width), height, scale)
    ground = np.full((height, width), GROUND, np.uint32)
    image = ground.copy()
    outline(image, tops, bottoms, INK)
    expected = ground
    for edge in (tops, bottoms):
        expected = plain_fill(expected, *joined(edge, edge))
    np.testing.assert_array_equal(image, expected)


@given(st.integers(0, 500), st.integers(2, 60), st.integers(2, 90))
def test_joined_columns_touch_and_cover_the_old_ones(seed: int, width: int, height: int) -> None:
    tops, bottoms = rows_of(*waves(seed, width), height, 0.9)
    joined_tops, joined_bottoms = joined(tops, bottoms)
    assert (joined_tops <= tops).all() and (joined_bottoms >= bottoms).all()
    assert (joined_tops[1:] <= joined_bottoms[:-1]).all()
    assert (joined_bottoms[1:] >= joined_tops[:-1]).all()


def test_rows_put_full_scale_where_it_belongs() -> None:
    low, high = np.array([-1, 0, -0.5], np.float32), np.array([1, 0, 0.5], np.float32)
    tops, bottoms = rows_of(low, high, 101, 1.0)
    assert list(zip(tops, bottoms, strict=True)) == [(0, 100), (50, 50), (25, 75)]


def test_an_outline_has_its_edges_and_no_inside() -> None:
    tops = np.full(20, 10, np.int32)
    bottoms = np.full(20, 30, np.int32)
    image = np.zeros((40, 20), np.uint32)
    outline(image, tops, bottoms, INK)
    assert sorted(set(np.nonzero(image)[0])) == [10, 30]


def test_full_scale_is_marked_at_the_edges() -> None:
    image = np.zeros((20, 3), np.uint32)
    mark_over(image, np.array([-0.5, -1.0, 0.0], np.float32), np.array([0.5, 0.9, 0.999], np.float32), INK)
    assert image[:, 1].any() and not image[:, 0].any() and not image[:, 2].any()


@given(st.integers(0, 200), st.integers(1, 80), st.floats(1, 40), st.floats(0, 3))
def test_columns_hold_every_sample(seed: int, count: int, per_column: float, first: float) -> None:
    samples = np.random.default_rng(seed).normal(size=int(first + per_column * count) + 2).astype(np.float32)
    mins, maxs = columns_of(samples, first, per_column, count)
    for column in range(count):
        a = int(np.floor(first + per_column * column))
        b = int(np.floor(first + per_column * (column + 1)))
        assert mins[column] == samples[a : b + 1].min()
        assert maxs[column] == samples[a : b + 1].max()


def test_a_lone_peak_is_seen_at_every_zoom() -> None:
    samples = np.zeros(10_000, np.float32)
    samples[6_543] = 1.0
    for per_column in (1.0, 3.7, 50.0, 499.0):
        _, maxs = columns_of(samples, 0.0, per_column, int(9_990 / per_column))
        assert maxs.max() == pytest.approx(1.0)
