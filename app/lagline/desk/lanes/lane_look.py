"""How one lane is drawn at one moment: a value, and the raster it makes."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from msgspec import Struct
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPen

from lagline.desk.lanes.raster import FloatArray, Pixels, Rows, fill, joined, mark_over, outline, rows_of
from lagline.desk.lanes.ticks import ticks
from lagline.desk.lanes.wave_data import Stretch, WaveData
from lagline.desk.theme import Theme
from lagline.desk.timeview import TimeView
from lagline.session.values import ORIGINAL_ID

LINE_BELOW = 1.0  # samples a physical pixel: closer, a line joins the samples
DOTS_BELOW = 0.18  # closer still, every sample is a dot


class Trace(Struct, frozen=True):
    """A recording at a place: `at_samples` is the session time of its first sample, shift included."""

    lane_id: str
    at_samples: float
    polarity: int = 1
    scale: float = 1.0  # how much of half the height full scale fills


class LaneLook(Struct, frozen=True):
    """Everything a lane's picture depends on, except the sound behind it."""

    view: TimeView
    rate_hz: int
    wave: Trace
    colour: str
    ghost: Trace | None = None  # as recorded
    anchor: Trace | None = None  # laid faintly behind
    is_heard: bool = True
    is_selected: bool = False
    loop: tuple[int, int] | None = None
    ghost_colour: str = ""  # the original's, unless another is given


class Backdrop:
    """Pixels behind one lane's wave, kept once they are wanted twice: a hand that drags the wave repaints it
    alone. Views that zoom or pan never want the same again, and keep nothing."""

    def __init__(self) -> None:
        self._key: tuple[object, ...] = ()
        self._pixels: Pixels | None = None

    def lay(self, pixels: Pixels, key: tuple[object, ...], paint: Callable[[], None]) -> None:
        """Fill `pixels`: with what was painted for the same key, or by `paint`, which writes to them."""
        is_known = key == self._key
        if is_known and self._pixels is not None and self._pixels.shape == pixels.shape:
            pixels[:] = self._pixels
            return
        paint()
        self._key, self._pixels = key, pixels.copy() if is_known else None


@lru_cache(maxsize=256)
def mixed(a: str, b: str, part: float) -> int:
    """Colour `a` with `part` (0..1) of `b`, as an opaque pixel."""
    mix = 0xFF
    for at in (1, 3, 5):
        x, y = int(a[at : at + 2], 16), int(b[at : at + 2], 16)
        mix = mix << 8 | round(x + part * (y - x))
    return mix


def draw_lane(
    look: LaneLook,
    data: WaveData,
    theme: Theme,
    width: int,
    height: int,
    ratio: float,
    over: QImage | None = None,
    backdrop: Backdrop | None = None,
) -> QImage:
    """The lane as an image of `width` x `height` device-independent pixels at a device pixel `ratio`.

    `over`: an image that is no longer needed; when it has the right size its memory is used again.
    `backdrop`: what the lane's last image had behind its wave.
    """
    columns, rows = max(round(width * ratio), 1), max(round(height * ratio), 2)
    ground = theme.raised if look.is_selected else theme.surface
    image = over
    if image is None or (image.width(), image.height()) != (columns, rows):
        image = QImage(columns, rows, QImage.Format.Format_RGB32)
    pixels = np.frombuffer(image.bits(), np.uint32).reshape(rows, columns)  # 4 bytes a pixel: no padding
    drawer = _Drawer(pixels, look.view, data, ratio)
    colour = look.colour if look.is_heard else theme.edge

    ghost = look.ghost_colour or theme.version(ORIGINAL_ID)
    colours = ground, theme.accent, theme.line

    def paint_behind() -> None:
        pixels[:] = _ground_row(look.view, look.rate_hz, look.loop, *colours, columns, ratio)
        if look.anchor is not None:
            drawer.shape(look.anchor, mixed(ground, theme.text, 0.16))
        middle = rows // 2
        pixels[middle : middle + 1, :] = mixed(ground, theme.text_muted, 0.35)
        if look.ghost is not None:
            drawer.outline(look.ghost, mixed(ground, ghost, 0.7))

    if backdrop is None:
        paint_behind()
    else:
        behind = tuple((t, data.revision(t.lane_id)) for t in (look.anchor, look.ghost) if t is not None)
        backdrop.lay(
            pixels, (look.view, look.rate_hz, look.loop, theme, ground, ghost, ratio, behind), paint_behind
        )
    pale = 0.0 if look.is_heard else 0.45
    # Until its samples are there a close view has only their extremes: pale, not to be taken for them.
    drawer.shape(look.wave, mixed(colour, ground, 0.75 if drawer.waits_for(look.wave) else pale))
    drawer.over(look.wave, mixed(theme.danger, theme.danger, 0))
    image.setDevicePixelRatio(ratio)
    if drawer.is_close:
        painter = QPainter(image)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if look.anchor is not None:
            drawer.line(painter, look.anchor, QColor(mixed(ground, theme.text, 0.35)), height, width)
        if look.ghost is not None:
            drawer.line(painter, look.ghost, QColor(mixed(ground, ghost, 0.75)), height, width)
        drawer.line(painter, look.wave, QColor(colour), height, width, dots=True)
        painter.end()
    return image


@lru_cache(maxsize=4)  # every lane of a frame has the same, the selected ones another
def _ground_row(
    view: TimeView,
    rate_hz: int,
    loop: tuple[int, int] | None,
    ground: str,
    accent: str,
    line: str,
    columns: int,
    ratio: float,
) -> Pixels:
    """One row of what lies behind everything: the loop's stretch and the ruler's marks."""
    row = np.full(columns, mixed(ground, ground, 0), np.uint32)
    if loop is not None:
        a, b = (round(ratio * min(max(view.x_of(at), -1.0), 1e6)) for at in loop)
        row[max(a, 0) : max(b, 0)] = mixed(ground, accent, 0.10)
    marks = [tick.x for tick in ticks(view, columns / ratio, rate_hz) if tick.label]
    at = np.rint(np.array(marks) * ratio).astype(np.intp)
    row[at[(at >= 0) & (at < columns)]] = mixed(ground, line, 0.8)
    return row


class _Drawer:
    """Draws traces of one view into one array of pixels."""

    def __init__(self, pixels: Pixels, view: TimeView, data: WaveData, ratio: float) -> None:
        self._pixels = pixels
        self._view = view
        self._data = data
        self._ratio = ratio
        self._per_column = view.per_pixel / ratio
        self._found: dict[Trace, tuple[FloatArray, FloatArray] | None] = {}
        self.is_close = self._per_column < LINE_BELOW

    def waits_for(self, trace: Trace) -> bool:
        """A close view whose samples are still being read."""
        return self.is_close and self._stretch(trace) is None

    def shape(self, trace: Trace, colour: int) -> None:
        """The filled shape; nothing in a close view, where a line says more."""
        found = None if self.is_close and self._stretch(trace) else self._rows(trace)
        if found is not None:
            fill(self._pixels, *joined(*found), colour)

    def outline(self, trace: Trace, colour: int) -> None:
        found = None if self.is_close else self._rows(trace)
        if found is not None:
            outline(self._pixels, *found, colour)

    def over(self, trace: Trace, colour: int) -> None:
        """Marks where the recording reaches full scale."""
        found = self._columns(trace)
        if found is not None:
            mark_over(self._pixels, *found, colour, max(round(2 * self._ratio), 1))

    def line(
        self, painter: QPainter, trace: Trace, colour: QColor, height: int, width: int, *, dots: bool = False
    ) -> None:
        """Samples joined by a line, each at its own place, fractions of a sample included."""
        from pyqtgraph.functions import arrayToQPolygonF  # loads pyqtgraph: not before it is needed

        stretch = self._stretch(trace)
        if stretch is None:
            return
        first = max(math.floor(self._view.sample_at(0) - trace.at_samples) - 1, stretch.start)
        stop = min(math.ceil(self._view.sample_at(width) - trace.at_samples) + 2, stretch.stop)
        numbers = np.arange(first, stop)
        samples = stretch.samples[first - stretch.start : stop - stretch.start]
        x = (numbers + trace.at_samples - self._view.first) / self._view.per_pixel
        y = height // 2 - trace.polarity * trace.scale * 0.5 * (height - 1) * samples.astype(np.float64)
        painter.setPen(QPen(colour, 1.0))
        painter.drawPolyline(arrayToQPolygonF(x, y.clip(-height, 2 * height)))
        if dots and self._per_column < DOTS_BELOW:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(colour)
            for at_x, at_y in zip(x.tolist(), y.tolist(), strict=True):
                painter.drawEllipse(QPointF(at_x, at_y), 2.4, 2.4)
            painter.setBrush(Qt.BrushStyle.NoBrush)

    def _stretch(self, trace: Trace) -> Stretch | None:
        first = self._view.first - trace.at_samples
        return self._data.samples(trace.lane_id, first, first + self._view.per_pixel * self._width())

    def _width(self) -> float:
        return self._pixels.shape[1] / self._ratio

    def _columns(self, trace: Trace) -> tuple[FloatArray, FloatArray] | None:
        if trace not in self._found:
            self._found[trace] = self._looked_up(trace)
        return self._found[trace]

    def _looked_up(self, trace: Trace) -> tuple[FloatArray, FloatArray] | None:
        first = self._view.first - trace.at_samples
        return self._data.columns(trace.lane_id, first, self._per_column, self._pixels.shape[1])

    def _rows(self, trace: Trace) -> tuple[Rows, Rows] | None:
        found = self._columns(trace)
        if found is None:
            return None
        mins, maxs = found if trace.polarity > 0 else (-found[1], -found[0])
        return rows_of(mins, maxs, self._pixels.shape[0], trace.scale)
