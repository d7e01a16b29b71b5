"""Waveforms as pixels: numpy in, numpy out. No Qt.

An image is uint32, shape (height, width), of pixels 0xAARRGGBB, as QImage.Format_RGB32 lays them out.
Writing the colours at once is faster than a colour table looked up while painting.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float32]
Pixels = NDArray[np.uint32]
Rows = NDArray[np.int32]


def rows_of(
    mins: FloatArray, maxs: FloatArray, height: int, scale: float
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """First and last pixel row of each column, both included.

    Parameters
    ----------
    mins, maxs : float32, shape (width,)
        Lowest and highest sample behind each column; full scale is 1.
    height : rows of the image; amplitude 0 lies on row height // 2.
    scale : how much of half the height full scale fills.

    Returns
    -------
    tops, bottoms : int32, shape (width,), 0 <= tops <= bottoms < height, so that every column has ink.
    """
    middle = height // 2
    half = scale * 0.5 * (height - 1)
    tops = np.rint(middle - half * maxs.astype(np.float64)).clip(0, height - 1).astype(np.int32)
    bottoms = np.rint(middle - half * mins.astype(np.float64)).clip(0, height - 1).astype(np.int32)
    return tops, np.maximum(tops, bottoms)


def joined(
    tops: NDArray[np.int32], bottoms: NDArray[np.int32]
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """The same columns, made to touch their left neighbour, so that a steep line has no gaps."""
    tops, bottoms = tops.copy(), bottoms.copy()
    low = np.minimum(tops[1:], bottoms[:-1])
    high = np.maximum(bottoms[1:], tops[:-1])
    tops[1:], bottoms[1:] = low, high
    return tops, bottoms


def fill(image: Pixels, tops: Rows, bottoms: Rows, colour: int) -> None:
    """Colour every column from its top to its bottom row, both included, in place."""
    highest, lowest = int(tops.min()), int(bottoms.max()) + 1  # nothing to do beyond these rows
    rows = np.arange(highest, lowest, dtype=np.uint16)[:, None]
    # Rows above the top wrap round to large numbers: one comparison instead of two.
    above = rows - tops.astype(np.uint16)[None, :]
    inside = above <= (bottoms - tops).astype(np.uint16)[None, :]
    np.copyto(image[highest:lowest], np.uint32(colour), where=inside)


def fill_thin(image: Pixels, tops: Rows, bottoms: Rows, colour: int) -> None:
    """The same as `fill`, faster where columns are a few rows high."""
    lengths = bottoms - tops + 1
    columns = np.repeat(np.arange(len(tops)), lengths)
    ends = np.cumsum(lengths)
    rows = np.arange(ends[-1]) - np.repeat(ends - lengths - tops, lengths)
    image[rows, columns] = colour


def outline(image: Pixels, tops: Rows, bottoms: Rows, colour: int) -> None:
    """Colour the upper and lower edge of a filled shape, in place, as lines without gaps."""
    for edge in (tops, bottoms):
        fill_thin(image, *joined(edge, edge), colour)


def mark_over(image: Pixels, mins: FloatArray, maxs: FloatArray, colour: int, rows: int = 2) -> None:
    """Colour the outermost rows of columns that reach full scale (clipping), in place."""
    over = (maxs >= 1.0) | (mins <= -1.0)
    if over.any():
        image[:rows, over] = colour
        image[-rows:, over] = colour


def columns_of(
    samples: FloatArray, first: float, per_column: float, count: int
) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest sample behind each of `count` columns.

    Parameters
    ----------
    samples : float32, shape (n,)
    first : where the first column begins, in samples (may have a fraction); inside the array.
    per_column : samples a column, at least 1; first + count * per_column <= n.

    Each column takes the samples floor(first + i * per_column) up to the next column's first, and that
    one too, so that neighbouring columns touch.
    """
    edges = np.floor(first + per_column * np.arange(count + 1)).astype(np.intp)
    starts = np.minimum(edges[:-1], len(samples) - 1)
    mins = np.minimum.reduceat(samples, starts)
    maxs = np.maximum.reduceat(samples, starts)
    # The last one ran on to the end of the array.
    last = samples[starts[-1] : max(edges[-1], starts[-1] + 1)]
    mins[-1], maxs[-1] = last.min(), last.max()
    nxt = samples[np.minimum(edges[1:], len(samples) - 1)]
    return np.minimum(mins, nxt), np.maximum(maxs, nxt)
