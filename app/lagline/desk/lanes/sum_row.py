"""The sum at the bottom: the blend being heard, the other version as an outline."""

from __future__ import annotations

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from lagline.desk.lanes.lane_header import HEADER_WIDTH
from lagline.desk.lanes.lane_look import LaneLook, Trace
from lagline.desk.lanes.lane_wave import LaneWave
from lagline.desk.lanes.looks import fitting_scale
from lagline.desk.lanes.wave_data import WaveData
from lagline.desk.theme import PAD, theme_of
from lagline.desk.timeview import TimeViewModel
from lagline.session.trying import BEFORE_ID
from lagline.session.values import ORIGINAL_ID, Session

HEIGHT = 72


def sum_id(version_id: str) -> str:
    """Name of a version's sum among the lanes' sounds."""
    return f"sum of {version_id}"


class SumRow(QFrame):
    """The wave of the blend that is heard."""

    seek_requested = Signal(float)

    def __init__(self, data: WaveData, times: TimeViewModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._data, self._times = data, times
        self._session: Session | None = None
        self._shows: tuple[object, ...] | None = None  # of the session; None for none
        self._heard = ORIGINAL_ID
        self._start = 0
        self._frames = 1
        self._zoom_db = 0.0
        self._playhead: float | None = None
        self._name, self._detail = QLabel("Sum"), QLabel()
        self._name.setProperty("heading", True)
        self._detail.setProperty("muted", True)
        self._detail.setWordWrap(True)
        self._detail.setTextFormat(Qt.TextFormat.PlainText)  # names of versions
        self.header = header = QWidget()
        header.setFixedWidth(HEADER_WIDTH)
        column = QVBoxLayout(header)
        column.setContentsMargins(PAD + 4, PAD, PAD, PAD)
        column.setSpacing(2)
        column.addWidget(self._name)
        column.addWidget(self._detail)
        column.addStretch(1)
        self.wave = LaneWave(data)
        self.wave.setAccessibleName("Waveform of the sum")
        self.wave.clicked.connect(self._click)
        self.wave.swept.connect(self._sweep)
        self.wave.zoom_requested.connect(times.zoom)
        self.wave.pan_requested.connect(times.pan)
        line = QHBoxLayout(self)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(0)
        line.addWidget(header)
        line.addWidget(self.wave, 1)
        self.setMinimumHeight(HEIGHT)
        self.setToolTip("The blend you hear, left and right together; the other version as an outline.")
        times.changed.connect(self.refresh)
        times.chosen_changed.connect(self._show_chosen)

    def show_session(self, session: Session | None) -> None:
        self._session = session
        shows = (
            None
            if session is None
            else (session.rate_hz, session.loop, session.current_version_id, *session.version_names())
        )
        if shows != self._shows:  # a drag asks at every step
            self._shows = shows
            self.refresh()

    def show_heard(self, version_id: str | None) -> None:
        """None while a blind trial hides what is heard: then nothing is drawn either."""
        heard = version_id or ""
        if heard != self._heard:
            self._heard = heard
            self.refresh()
            self.update()  # the stripe

    def show_zoom(self, zoom_db: float) -> None:
        self._zoom_db = zoom_db
        self.refresh()

    def show_sums(self, start: int, frames: int) -> None:
        """New sums are in the data: they begin at session sample `start`."""
        self._start, self._frames = start, frames
        self.refresh()

    def show_playhead(self, sample: float | None) -> None:
        self._playhead = sample
        self.wave.show_playhead(None if sample is None else self._times.view.x_of(sample))

    def other_id(self) -> str:
        """The version drawn as an outline."""
        if self._session is None or self._heard not in (ORIGINAL_ID, BEFORE_ID):
            return ORIGINAL_ID
        return self._session.current_version_id

    def refresh(self) -> None:
        session = self._session
        if session is None or not self._heard:
            self._detail.setText("hidden during the trial" if session is not None else "")
            if session is not None:
                nothing = Trace("", 0.0, 1, 1.0)
                theme = theme_of(self.palette())
                self.wave.show_look(LaneLook(self._times.view, session.rate_hz, nothing, theme.edge))
                self.wave.refresh()
            return
        theme = theme_of(self.palette())
        # A version that is deleted while it is heard gives way to the current one in a moment.
        heard_id = self._heard if session.has_version(self._heard) else session.current_version_id
        heard, other = session.version(heard_id), session.version(self.other_id())
        is_drawn = heard_id == self._heard
        what = f"{heard.name} is heard" if is_drawn else f"A combination is heard; drawn: {heard.name}"
        self._detail.setText(f"{what}; outline: {other.name}")
        peak = max(self._data.peak(sum_id(one.id), self._frames) for one in (heard, other))
        scale = fitting_scale(peak, self._zoom_db)
        self.wave.show_look(
            LaneLook(
                view=self._times.view,
                rate_hz=session.rate_hz,
                wave=Trace(sum_id(heard.id), float(self._start), 1, scale),
                colour=theme.version(heard.id),
                ghost=Trace(sum_id(other.id), float(self._start), 1, scale),
                loop=session.loop,
                ghost_colour=theme.version(other.id),
            )
        )
        self.wave.refresh()
        self.show_playhead(self._playhead)
        self._show_chosen()

    def _show_chosen(self) -> None:
        self.wave.show_chosen(self._times.chosen_x)

    def _sweep(self, from_x: float, to_x: float, _y: float) -> None:
        self._times.choose(self._times.view.sample_at(from_x), self._times.view.sample_at(to_x))

    def _click(self, x: float) -> None:
        self._times.choose_nothing()
        self.seek_requested.emit(self._times.view.sample_at(x))

    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and hasattr(self, "wave"):
            self.refresh()

    def paintEvent(self, event: QPaintEvent) -> None:
        theme = theme_of(self.palette())
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(theme.surface))
        stripe = theme.version(self._heard) if self._heard else theme.edge
        painter.fillRect(0, 0, 5, self.height(), QColor(stripe))
