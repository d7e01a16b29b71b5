"""Where names of marks find room in a plot: beside their mark, clear of lines and of each other. No widgets.

Everything is in pixels, y downwards.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from PySide6.QtCore import QPointF, QRectF, QSizeF

LABEL_MARK_PX = 6.0  # half the side of the square that a mark takes

Crosses = Callable[[QRectF], bool]


def mark_box(at: QPointF) -> QRectF:
    """The square that a mark covers, about its middle."""
    return QRectF(at.x() - LABEL_MARK_PX, at.y() - LABEL_MARK_PX, 2 * LABEL_MARK_PX, 2 * LABEL_MARK_PX)


def label_boxes(
    marks: Sequence[QPointF],
    sizes: Sequence[QSizeF],
    upwards: Sequence[bool],
    view: QRectF,
    taken: Sequence[QRectF],
    crosses: Crosses,
) -> list[QRectF | None]:
    """A box for each mark's name, the most important mark first; None where there is no room.

    Parameters
    ----------
    upwards : whether a name would rather stand above its mark.
    taken : boxes that no name may touch, besides the marks.
    crosses : whether a curve or a line runs through a box. Such a box is taken only for want of another.
    """
    squares = [mark_box(mark) for mark in marks]
    full = list(taken)
    found: list[QRectF | None] = []
    for number, (mark, size, upward) in enumerate(zip(marks, sizes, upwards, strict=True)):
        others = [*squares[:number], *squares[number + 1 :], *full]
        # A mark out of sight has no name, or the name would stand at the edge for nothing.
        free = [
            box
            for box in _about(mark, size, upward)
            if view.contains(mark) and view.contains(box) and not any(box.intersects(o) for o in others)
        ]
        best = next((box for box in free if not crosses(box)), free[0] if free else None)
        found.append(best)
        if best is not None:
            full.append(best)
    return found


def _about(mark: QPointF, size: QSizeF, upward: bool) -> Iterator[QRectF]:
    """Outside, right, left, inside."""
    wide, high = size.width(), size.height()
    above, below = mark.y() - LABEL_MARK_PX - high, mark.y() + LABEL_MARK_PX
    yield QRectF(mark.x() - wide / 2, above if upward else below, wide, high)
    for left in (mark.x() + LABEL_MARK_PX, mark.x() - LABEL_MARK_PX - wide):
        for top in (mark.y() - high / 2, mark.y() - high if upward else mark.y()):
            yield QRectF(left, top, wide, high)
    yield QRectF(mark.x() - wide / 2, below if upward else above, wide, high)
