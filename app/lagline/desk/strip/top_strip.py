"""The top strip: transport, position, the switch, loudness, monitor and output."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QSignalBlocker, QSize, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QCheckBox, QFrame, QHBoxLayout, QToolButton, QVBoxLayout, QWidget

from lagline.desk.amounts import number_text
from lagline.desk.icons import icon
from lagline.desk.strip.clock import Clock
from lagline.desk.strip.meter import Meter
from lagline.desk.strip.monitor import DeviceBox, MonitorLevel
from lagline.desk.strip.version_switch import HEIGHT, VersionSwitch
from lagline.desk.theme import GAP, MARGIN, PAD, theme_of
from lagline.desk.transport_state import TransportState
from lagline.session.values import Session

ROOM_FOR_ALL, ROOM_FOR_METER, ROOM_FOR_CHECKS = (
    1130,
    1000,
    800,
)  # pixels; below, what is also in a menu steps aside
ROOM_FOR_MOMENT = 1500
ROOM_FOR_FIVE, ROOM_FOR_FOUR = 1270, 1200  # versions in the switch; there are always three


class TopStrip(QFrame):
    """Transport, what is heard and how loud. Tells what is asked for; plays nothing itself."""

    play_requested = Signal()
    stop_requested = Signal()
    loop_requested = Signal(bool)
    heard_requested = Signal(str)
    match_requested = Signal(bool)
    difference_requested = Signal(bool)
    mono_requested = Signal(bool)
    moment_requested = Signal(bool)
    dim_requested = Signal(bool)
    monitor_requested = Signal(float)
    device_requested = Signal(str)
    devices_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._rate_hz = 48_000
        self._state = TransportState()
        self._shows: tuple[object, ...] | None = ()  # of the session; None for none, which is shown below
        self.setAccessibleName("Transport")
        self.play = self._big_button("Play (Space)", checkable=False)
        self.loop = self._big_button("Loop on or off (L)")
        self.clock = Clock()
        self.switch = VersionSwitch()
        self.match = QCheckBox("Equal loudness")
        self.match.setMinimumWidth(self.match.fontMetrics().horizontalAdvance("Equal loudness −88.8 dB") + 28)
        self.match.setToolTip("Turn the louder one down, so that louder does not sound better (E)")
        self.difference = QCheckBox("Difference")
        self.difference.setToolTip("Hear only what the shifts change: shifted minus original (D)")
        self.mono = QCheckBox("Mono")
        self.mono.setToolTip("Fold left and right together: cancellation hides in stereo (Shift+M)")
        self.moment = QCheckBox("Same moment")
        self.moment.setToolTip(
            "A switch keeps the moment of the music, whatever the shifts: nothing is skipped or repeated. "
            "Off, the clock goes on (J)"
        )
        self.monitor = MonitorLevel()
        self.meter = Meter()
        self.device = DeviceBox()
        self._lay_out()
        self._connect()
        self._show_icons()
        self.show_session(None)

    def _big_button(self, tip: str, *, checkable: bool = True) -> QToolButton:
        button = QToolButton()
        button.setFixedSize(HEIGHT, HEIGHT)
        button.setIconSize(QSize(22, 22))
        button.setToolTip(tip)
        button.setAccessibleName(tip.split(" (")[0])
        button.setCheckable(checkable)
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        return button

    def _lay_out(self) -> None:
        line = QHBoxLayout(self)
        line.setContentsMargins(MARGIN, PAD, MARGIN, PAD)
        line.setSpacing(MARGIN)
        buttons = QHBoxLayout()
        buttons.setSpacing(GAP)
        buttons.addWidget(self.play)
        buttons.addWidget(self.loop)
        line.addLayout(buttons)
        line.addWidget(self.clock)
        line.addWidget(self.switch)
        checks = QVBoxLayout()
        checks.setSpacing(0)
        checks.addWidget(self.match)
        below = QHBoxLayout()
        below.setSpacing(PAD)
        below.addWidget(self.difference)
        below.addWidget(self.mono)
        below.addWidget(self.moment)
        self._checks_below = QWidget()
        below.setContentsMargins(0, 0, 0, 0)
        self._checks_below.setLayout(below)
        checks.addWidget(self._checks_below)
        line.addLayout(checks)
        line.addStretch(1)
        line.addWidget(self.monitor)
        line.addWidget(self.meter)
        line.addWidget(self.device)

    def _connect(self) -> None:
        self.play.clicked.connect(self._ask_play)
        self.loop.clicked.connect(self.loop_requested)
        self.switch.heard_requested.connect(self.heard_requested)
        self.match.clicked.connect(self.match_requested)
        self.difference.clicked.connect(self.difference_requested)
        self.mono.clicked.connect(self.mono_requested)
        self.moment.clicked.connect(self.moment_requested)
        self.monitor.gain_requested.connect(self.monitor_requested)
        self.monitor.dim_requested.connect(self.dim_requested)
        self.device.device_requested.connect(self.device_requested)
        self.device.list_wanted.connect(self.devices_wanted)

    def show_session(self, session: Session | None) -> None:
        shows = None
        if session is not None:
            shows = (session.rate_hz, session.level_match, *session.version_names())
        if shows == self._shows:
            return  # a drag asks at every step
        self._shows = shows
        self.switch.show_session(session)
        for control in (self.play, self.loop, self.match, self.difference, self.mono, self.moment):
            control.setEnabled(session is not None)
        if session is not None:
            self._rate_hz = session.rate_hz
            with QSignalBlocker(self.match):
                self.match.setChecked(session.level_match)
        self.show_state(self._state)

    def show_looping(self, on: bool) -> None:
        with QSignalBlocker(self.loop):
            self.loop.setChecked(on)

    def show_state(self, state: TransportState) -> None:
        was_playing = self._state.is_playing
        self._state = state
        self.clock.show_position(state.position_samples, self._rate_hz)
        self.switch.show_state(state)
        self.meter.show_state(state)
        self._show_match(state)
        self.device.show_state(state.device, has_device=state.has_device)
        self.monitor.show_dim(state.is_dim)
        for box, on in (
            (self.difference, state.is_difference),
            (self.mono, state.is_mono),
            (self.moment, state.is_same_moment),
        ):
            if box.isChecked() != on:
                with QSignalBlocker(box):
                    box.setChecked(on)
        if state.is_playing != was_playing:
            self._show_icons()

    def _show_match(self, state: TransportState) -> None:
        """What equal loudness takes from the version being heard."""
        match_db = state.match_db.get(state.heard_id or "")
        off = state.is_difference or match_db is None
        text = "Equal loudness" if off else f"Equal loudness {number_text(match_db or 0.0, 1)} dB"
        if text != self.match.text():
            self.match.setText(text)

    def _show_icons(self) -> None:
        theme = theme_of(self.palette())
        playing = self._state.is_playing
        self.play.setIcon(icon("stop" if playing else "play", theme))
        self.play.setToolTip("Stop (Space)" if playing else "Play (Space)")
        self.play.setAccessibleName("Stop" if playing else "Play")
        self.loop.setIcon(icon("loop", theme))

    def _ask_play(self) -> None:
        (self.stop_requested if self._state.is_playing else self.play_requested).emit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        width = event.size().width()
        self.device.setVisible(width >= ROOM_FOR_ALL)
        self.meter.setVisible(width >= ROOM_FOR_METER)
        self.switch.be_narrow(width < ROOM_FOR_METER)
        self.switch.have_places(3 + (width >= ROOM_FOR_FOUR) + (width >= ROOM_FOR_FIVE))
        self.match.setVisible(width >= ROOM_FOR_CHECKS)
        self.moment.setVisible(width >= ROOM_FOR_MOMENT)
        self._checks_below.setVisible(width >= ROOM_FOR_CHECKS)
        self.switch.show_state(self._state)

    def minimumSizeHint(self) -> QSize:
        return QSize(620, super().minimumSizeHint().height())

    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and hasattr(self, "loop"):
            self._show_icons()
