"""Small plots as SVG text, told apart by lines, dashes and shapes: they read the same without colour."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

import numpy as np
from msgspec import Struct

LEFT, RIGHT, TOP, BOTTOM = 54.0, 10.0, 12.0, 34.0  # margins of the drawing area
_LETTER, _ROW = 5.5, 11.0  # width of a letter, about, and height of a row of labels
_MOST_POINTS = 900  # a line with more is thinned to its extremes per column


class Axis(Struct, frozen=True):
    """Values along one side of a plot."""

    low: float
    high: float
    label: str
    is_log: bool = False
    ticks: tuple[float, ...] = ()  # found by `nice_ticks` when empty

    def place(self, value: float) -> float:
        """0 at the low end, 1 at the high end, not beyond."""
        low, high = (math.log10(self.low), math.log10(self.high)) if self.is_log else (self.low, self.high)
        at = math.log10(max(value, 1e-12)) if self.is_log else value
        return min(max((at - low) / (high - low), 0.0), 1.0)

    def marks(self) -> Sequence[float]:
        """Values to draw grid lines at: those given, else round ones."""
        return self.ticks or nice_ticks(self.low, self.high)


def nice_ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round values between two ends, in steps of 1, 2 or 5 times a power of ten."""
    span = high - low
    if not span > 0.0:
        return [low]
    raw = span / about
    unit = 10.0 ** math.floor(math.log10(raw))
    step = next(factor * unit for factor in (1.0, 2.0, 5.0, 10.0) if factor * unit >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    return [round(number * step, 10) for number in range(first, math.floor(high / step + 1e-9) + 1)]


class Plot:
    """One drawing. Add lines and marks in values of the axes, then ask for the text."""

    def __init__(
        self, x: Axis, y: Axis, title: str, width: float = 360.0, height: float = 180.0, says: str = ""
    ) -> None:
        """`says` : what the drawing shows, in words, for those who don't see it."""
        self.x, self.y, self.title, self.says = x, y, title, says
        self.width, self.height = width, height
        self._pieces: list[str] = []
        self._labels: list[str] = []  # over everything else
        self._tags: list[float] = []  # heights of the words of `tag`
        self._taken: list[list[tuple[float, float]]] = []  # from and to, of the labels of each row

    def line(
        self,
        xs: Sequence[float],
        ys: Sequence[float],
        *,
        dash: str = "",
        width: float = 1.2,
        colour: str = "#000",
    ) -> None:
        """A line through the points; gaps where a value is not finite."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        for part in _runs(*_thinned(xs, ys)):
            points = " ".join(f"{self._at_x(x):.1f},{self._at_y(y):.1f}" for x, y in part)
            self._pieces.append(
                f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="{width}"{dashed}/>'
            )

    def bars(self, edges: Sequence[tuple[float, float]], ys: Sequence[float]) -> None:
        """A bar from zero for each pair of edges; downward ones are hatched by being empty."""
        for (left, right), y in zip(edges, ys, strict=True):
            if not math.isfinite(y):
                continue
            x0, x1 = self._at_x(left) + 0.5, self._at_x(right) - 0.5
            top, bottom = sorted((self._at_y(y), self._at_y(0.0)))
            fill = "#555" if y >= 0.0 else "#fff"
            self._pieces.append(
                f'<rect x="{x0:.1f}" y="{top:.1f}" width="{max(x1 - x0, 0.5):.1f}" '
                f'height="{bottom - top:.1f}" fill="{fill}" stroke="#000" stroke-width="0.6"/>'
            )

    def dot(self, x: float, y: float, *, radius: float = 2.2, is_filled: bool = True) -> None:
        """A point at (x, y) in the axes' units; `radius` in pixels."""
        fill = "#000" if is_filled else "#fff"
        self._pieces.append(
            f'<circle cx="{self._at_x(x):.1f}" cy="{self._at_y(y):.1f}" r="{radius:.1f}" '
            f'fill="{fill}" stroke="#000" stroke-width="0.8"/>'
        )

    def upright(self, x: float, label: str, *, dash: str = "") -> None:
        """A line from top to bottom with a word near its head, clear of other words; nothing outside."""
        if not self.x.low <= x <= self.x.high:
            return
        at = self._at_x(x)
        width = _LETTER * len(label) + 2.0
        is_left = self.x.place(x) > 0.8
        first = at - 2.0 - width if is_left else at + 2.0
        row = self._free_row(first, first + width)
        self._pieces.append(_rule(at, TOP, at, self._floor, "#000", 0.9, dash))
        self._labels.append(
            f'<rect x="{first:.1f}" y="{TOP + 1 + _ROW * row:.1f}" width="{width:.1f}" height="{_ROW - 1:g}" '
            f'fill="#fff" fill-opacity="0.85"/>'
        )
        self._labels.append(_text(first + width / 2, TOP + 9 + _ROW * row, label, "middle"))

    def _free_row(self, first: float, last: float) -> int:
        """The highest row with room for a label, which is then taken."""
        for number, row in enumerate(self._taken):
            if all(last < start or stop < first for start, stop in row):
                row.append((first, last))
                return number
        self._taken.append([(first, last)])
        return len(self._taken) - 1

    def level(self, y: float, *, dash: str = "") -> None:
        """A line from left to right."""
        at = self._at_y(y)
        self._pieces.append(_rule(LEFT, at, self.width - RIGHT, at, "#000", 0.9, dash))

    def tag(self, x: float, y: float, words: str) -> None:
        """Words that begin at (x, y), in the axes' units, or before it where they would end outside; lower
        where others stand there already.
        """
        row = self._at_y(y) + 3.0
        while any(abs(row - other) < _ROW - 1.0 for other in self._tags):
            row += _ROW - 1.0
        self._tags.append(row)
        words = _fitted(words, self.width)
        first = max(min(self._at_x(x), self.width - _LETTER * len(words)), 0.0)
        self._labels.append(_text(first, row, words, "start"))

    def svg(self) -> str:
        """The whole plot as an SVG element, to stand inside HTML."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:g} {self.height:g}" '
            f'width="{self.width:g}" height="{self.height:g}" role="img" font-family="sans-serif" '
            f'font-size="9" aria-label="{escape(self._alternative())}"><title>{escape(self.title)}</title>'
            f'<rect x="{LEFT}" y="{TOP}" width="{self.width - LEFT - RIGHT:g}" '
            f'height="{self._floor - TOP:g}" fill="#fff" stroke="#999" stroke-width="0.6"/>'
            + "".join(self._grid())
            + "".join(self._pieces)
            + "".join(self._labels)
            + "</svg>"
        )

    def _alternative(self) -> str:
        return f"{self.title}. {self.says}" if self.says else self.title

    def _grid(self) -> Iterable[str]:
        right, floor = self.width - RIGHT, self._floor
        for value in self.x.marks():
            at = self._at_x(value)
            yield _rule(at, TOP, at, floor)
            word = tick_word(value)
            yield _text(min(at, self.width - 0.5 * _LETTER * len(word)), floor + 11, word, "middle")
        for value in self.y.marks():
            at = self._at_y(value)
            yield _rule(LEFT, at, right, at)
            yield _text(LEFT - 4, at + 3, tick_word(value), "end")
        label = _fitted(self.x.label, right - LEFT)
        yield _text((LEFT + right) / 2, self.height - 6, label, "middle")
        centre = (TOP + floor) / 2
        label = _text(0, 0, _fitted(self.y.label, floor - TOP), "middle")
        yield f'<g transform="translate(9 {centre:.1f}) rotate(-90)">{label}</g>'

    @property
    def _floor(self) -> float:
        return self.height - BOTTOM

    def _at_x(self, value: float) -> float:
        return LEFT + self.x.place(value) * (self.width - LEFT - RIGHT)

    def _at_y(self, value: float) -> float:
        return self._floor - self.y.place(value) * (self._floor - TOP)


def tick_word(value: float) -> str:
    """A short word for a tick: 2k for 2000."""
    if abs(value) >= 1000.0:
        return f"{value / 1000.0:g}k"
    return f"{value:g}".replace("-", "−")


def _fitted(words: str, room: float) -> str:
    """The words as far as there is room for them; what is left out of their middle shows as an ellipsis."""
    letters = max(int(room / _LETTER), 3)
    if len(words) <= letters:
        return words
    kept = letters - 1
    return f"{words[: kept - kept // 2]}…{words[len(words) - kept // 2 :]}"


def _rule(
    x0: float, y0: float, x1: float, y1: float, colour: str = "#ddd", width: float = 0.5, dash: str = ""
) -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}" '
        f'stroke="{colour}" stroke-width="{width}"{dashed}/>'
    )


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _thinned(xs: Sequence[float], ys: Sequence[float]) -> tuple[Sequence[float], Sequence[float]]:
    """At most about _MOST_POINTS points, keeping the lowest and highest of each stretch."""
    if len(xs) <= _MOST_POINTS:
        return xs, ys
    values = np.asarray(ys, dtype=np.float64)
    starts = np.linspace(0, len(values), _MOST_POINTS // 2, endpoint=False).astype(int)
    keep: set[int] = {0, len(values) - 1}
    for first, stop in zip(starts, [*starts[1:], len(values)], strict=True):
        part = np.nan_to_num(values[first:stop])
        keep |= {int(first + part.argmin()), int(first + part.argmax())}
    order = sorted(keep)
    return [xs[index] for index in order], [ys[index] for index in order]


def _runs(xs: Sequence[float], ys: Sequence[float]) -> Iterable[list[tuple[float, float]]]:
    run: list[tuple[float, float]] = []
    for x, y in zip(xs, ys, strict=True):
        if math.isfinite(x) and math.isfinite(y):
            run.append((x, y))
        elif run:
            yield run
            run = []
    if run:
        yield run
