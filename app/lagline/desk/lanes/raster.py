"""Waveforms as pixels: numpy in, numpy out. No Qt.

An image is uint32, shape (height, width), of pixels 0xAARRGGBB, as QImage.Format_RGB32 lays them out.
Writing the colours at once is faster than a colour table looked up while painting.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lagline.media.extremes import extremes

FloatArray = NDArray[np.float32]
Pixels = NDArray[np.uint32]
Rows = NDArray[np.int32]

_SPARSE = 20  # where less than one pixel in so many is inside, they are written one by one


def rows_of(mins: FloatArray, maxs: FloatArray, height: int, scale: float) -> tuple[Rows, Rows]:
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
    tops = _rows_at(maxs, height, scale)
    return tops, np.maximum(tops, _rows_at(mins, height, scale))


def _rows_at(values: FloatArray, height: int, scale: float) -> Rows:
    """The row of each amplitude. In place: a frame has a lane's columns to place for every lane."""
    rows = np.multiply(values, -0.5 * scale * (height - 1), dtype=np.float64)
    rows += height // 2
    np.rint(rows, out=rows)
    np.maximum(rows, 0, out=rows)
    np.minimum(rows, height - 1, out=rows)
    return rows.astype(np.int32)


def joined(tops: Rows, bottoms: Rows) -> tuple[Rows, Rows]:
    """The same columns, made to touch their left neighbour, so that a steep line has no gaps."""
    low, high = tops.copy(), bottoms.copy()
    np.minimum(tops[1:], bottoms[:-1], out=low[1:])
    np.maximum(bottoms[1:], tops[:-1], out=high[1:])
    return low, high


def fill(image: Pixels, tops: Rows, bottoms: Rows, colour: int) -> None:
    """Colour every column from its top to its bottom row, both included, in place."""
    _ink(image, [(tops, bottoms)], colour)


def outline(image: Pixels, tops: Rows, bottoms: Rows, colour: int) -> None:
    """Colour the upper and lower edge of a filled shape, in place, as lines without gaps."""
    _ink(image, [joined(tops, tops), joined(bottoms, bottoms)], colour)


def _ink(image: Pixels, shapes: list[tuple[Rows, Rows]], colour: int) -> None:
    pixels = sum(int((bottoms - tops).sum()) + len(tops) for tops, bottoms in shapes)
    highest = min(int(tops.min()) for tops, _ in shapes)
    lowest = max(int(bottoms.max()) for _, bottoms in shapes) + 1  # nothing to do beyond these rows
    part = image[highest:lowest]
    if _SPARSE * pixels < part.size:
        for tops, bottoms in shapes:
            _write(image, tops, bottoms, colour)
        return
    # The narrowest numbers that hold a row: the processor compares more of them at a time.
    numbers = np.uint8 if len(part) <= 256 else np.uint16
    rows = np.arange(len(part), dtype=numbers)[:, None]
    # Rows above the top wrap round to large numbers: one comparison instead of two.
    outside, *others = (
        (rows - (tops - highest).astype(numbers)) > (bottoms - tops).astype(numbers)
        for tops, bottoms in shapes
    )
    for other in others:
        outside &= other
    # Arithmetic over all pixels, in place, takes half the time of writing only those inside.
    ink = np.uint32(colour)
    part ^= ink
    part *= outside
    part ^= ink


def _write(image: Pixels, tops: Rows, bottoms: Rows, colour: int) -> None:
    """Pixel by pixel."""
    heights = bottoms - tops + 1
    columns = np.repeat(np.arange(len(tops)), heights)
    ends = np.cumsum(heights)
    rows = np.arange(ends[-1]) - np.repeat(ends - heights - tops, heights)
    image[rows, columns] = colour


def mark_over(image: Pixels, mins: FloatArray, maxs: FloatArray, colour: int, rows: int = 2) -> None:
    """Colour the outermost rows of columns that reach full scale (clipping), in place."""
    if maxs.max() < 1.0 and mins.min() > -1.0:
        return
    over = (maxs >= 1.0) | (mins <= -1.0)
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
    begin = np.minimum(edges[:-1], len(samples) - 1)
    return extremes(samples, samples, begin, np.minimum(edges[1:] + 1, len(samples)))
