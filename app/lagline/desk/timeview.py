"""Which stretch of the session is in view and which is chosen; the arithmetic of zooming and panning."""

from __future__ import annotations

from msgspec import Struct
from PySide6.QtCore import QObject, Signal

CLOSEST_PER_PIXEL = 1 / 64  # 64 pixels a sample
AIR = 1.06  # how much wider than the take the widest view is


class TimeView(Struct, frozen=True):
    """A view of session time. Pixels are device-independent, samples are at the session's rate."""

    first: float = 0.0  # session sample at the left edge
    per_pixel: float = 512.0  # samples a pixel

    def sample_at(self, x: float) -> float:
        return self.first + x * self.per_pixel

    def x_of(self, sample: float) -> float:
        return (sample - self.first) / self.per_pixel

    def zoomed(self, factor: float, x: float) -> TimeView:
        """Closer by `factor` (> 1) or wider (< 1); what is under pixel `x` stays there."""
        per_pixel = max(self.per_pixel / factor, CLOSEST_PER_PIXEL)
        return TimeView(self.sample_at(x) - x * per_pixel, per_pixel)

    def panned(self, pixels: float) -> TimeView:
        """Everything moves right by `pixels`, as if pushed by hand."""
        return TimeView(self.first - pixels * self.per_pixel, self.per_pixel)

    def clamped(self, span: tuple[int, int], width: int) -> TimeView:
        """Not wider than the take with a little air, and never wholly off it."""
        start, stop = span
        length = max(stop - start, 1)
        per_pixel = min(self.per_pixel, AIR * length / max(width, 1))
        seen = per_pixel * width
        air = min(0.5 * (AIR - 1) * length, 0.5 * seen)
        low, high = start - air, stop + air - seen
        first = min(max(self.first, low), high) if low <= high else 0.5 * (low + high)
        return TimeView(first, max(per_pixel, CLOSEST_PER_PIXEL))


def around(start: float, stop: float, width: int) -> TimeView:
    """The view that shows `start`..`stop` over the whole width, with a little air."""
    per_pixel = max(AIR * (stop - start) / max(width, 1), CLOSEST_PER_PIXEL)
    return TimeView(0.5 * (start + stop) - 0.5 * per_pixel * width, per_pixel)


class TimeViewModel(QObject):
    """The one view that ruler, lanes, sum and overview bar share."""

    changed = Signal()
    chosen_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._view = TimeView()
        self._chosen: tuple[int, int] | None = None
        self._span = (0, 1)
        self._width = 1
        self._fits = True

    @property
    def view(self) -> TimeView:
        return self._view

    @property
    def span(self) -> tuple[int, int]:
        """First and one-past-last sample of the take."""
        return self._span

    @property
    def width(self) -> int:
        return self._width

    @property
    def seen(self) -> tuple[float, float]:
        """First and last session sample in view."""
        return self._view.first, self._view.sample_at(self._width)

    @property
    def chosen(self) -> tuple[int, int] | None:
        """Start and stop of the stretch that is chosen by hand, in session samples; None for none."""
        return self._chosen

    @property
    def chosen_x(self) -> tuple[float, float] | None:
        """The same in pixels of the view."""
        if self._chosen is None:
            return None
        return self._view.x_of(self._chosen[0]), self._view.x_of(self._chosen[1])

    def choose(self, start: float, stop: float) -> None:
        """Choose the stretch between two session samples, in either order, as far as the take reaches."""
        first, last = (min(max(round(end), self._span[0]), self._span[1]) for end in sorted((start, stop)))
        self._choose((first, last) if first < last else None)

    def choose_nothing(self) -> None:
        """No stretch is chosen any more."""
        self._choose(None)

    def _choose(self, chosen: tuple[int, int] | None) -> None:
        if chosen != self._chosen:
            self._chosen = chosen
            self.chosen_changed.emit()

    @property
    def shows_all(self) -> bool:
        """Whether the view is of the whole take, and stays so when the window is made wider."""
        return self._fits

    def set_span(self, span: tuple[int, int]) -> None:
        """How far the take reaches. Moves nothing: a lane dragged past the end must not shake the others."""
        self._span = span

    def set_width(self, width: int) -> None:
        """The width of the waveforms, in pixels. A view of the whole take stays one."""
        if width > 0 and width != self._width:
            self._width = width
            self._set(around(*self._span, width) if self._fits else self._view, fits=self._fits)

    def zoom(self, factor: float, x: float | None = None) -> None:
        """Zoom around pixel `x`, the middle by default."""
        self._set(self._view.zoomed(factor, self._width / 2 if x is None else x))

    def pan(self, pixels: float) -> None:
        self._set(self._view.panned(pixels))

    def fit(self) -> None:
        """Show the whole take."""
        self._set(around(*self._span, self._width), fits=True)

    def show(self, view: TimeView) -> None:
        """Show what was shown before, as far as the take reaches."""
        self._set(view)

    def show_range(self, start: float, stop: float) -> None:
        self._set(around(start, stop, self._width))

    def centre_on(self, sample: float) -> None:
        self._set(TimeView(sample - 0.5 * self._width * self._view.per_pixel, self._view.per_pixel))

    def reveal(self, sample: float) -> None:
        """Bring a sample into view, if it is not, near the left so that what follows is seen."""
        first, last = self.seen
        if not first <= sample <= last:
            self._set(TimeView(sample - 0.1 * (last - first), self._view.per_pixel))

    def _set(self, view: TimeView, *, fits: bool = False) -> None:
        view = view.clamped(self._span, self._width)
        self._fits = fits
        if view != self._view:
            self._view = view
            self.changed.emit()
