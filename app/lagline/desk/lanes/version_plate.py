"""Which version the lanes show and edits go to, and whether that is what is heard."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QToolButton, QWidget

from lagline.desk.plain import plain_tip
from lagline.desk.theme import GAP, PAD, TARGET, theme_of
from lagline.session.trying import BEFORE_ID
from lagline.session.values import Session

CHIP, STAY = 10, 50
LONGEST_STATE = "before heard"


class VersionPlate(QWidget):
    """The edited version's name in its colour, at the head of the lanes, with the switch that lets it stay
    while others are listened to. It paints its words itself: a switch of what is heard lays nothing out."""

    stay_requested = Signal(bool)

    def __init__(self, width: int, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session: Session | None = None
        self._heard: str | None = None
        self._shown: tuple[object, ...] = ()
        self._state = ""
        self._stay = QToolButton(self)
        self._stay.setText("Stay")
        self._stay.setCheckable(True)
        self._stay.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.set_width(width)
        self._stay.clicked.connect(self.stay_requested)
        self.setAccessibleName("Version that is edited")

    def set_width(self, width: int) -> None:
        """How wide the plate is, in pixels."""
        self.setFixedSize(width, TARGET + 2)
        self._stay.setGeometry(width - PAD - STAY, 0, STAY, TARGET + 2)

    @property
    def stays(self) -> bool:
        """Edits stay in this version whatever is listened to, and listening stays whatever is edited."""
        return self._stay.isChecked()

    def show_stays(self, on: bool) -> None:
        """Show whether editing stays on one version while others are heard."""
        self._stay.setChecked(on)

    def show_session(self, session: Session | None) -> None:
        """Name the version that edits go to."""
        self._session = session
        self._refresh()

    def show_heard(self, version_id: str | None) -> None:
        """None while a blind trial hides what is heard."""
        if version_id != self._heard:
            self._heard = version_id
            self._refresh()

    def _refresh(self) -> None:
        session = self._session
        self.setVisible(session is not None)
        if session is None:
            return
        version = session.current_version
        wanted = (version.id, version.name, bool(version.trying), self._heard)
        if wanted == self._shown:
            return
        self._shown = wanted
        heard = {version.id: "heard", BEFORE_ID: "before heard", None: ""}.get(self._heard, "not heard")
        self._state = f"trying, {heard}" if version.trying and self._heard == version.id else heard
        self.setAccessibleDescription(f"{version.name}, {self._state}")
        self.setToolTip(
            plain_tip(
                f"Edits go to {version.name}, and the lanes show it. Another version that you listen to "
                "becomes the one you edit; the original cannot be edited."
            )
        )
        self._stay.setAccessibleName(f"Stay on {version.name}")
        self._stay.setToolTip(
            plain_tip(
                f"Go on editing {version.name} whatever you listen to, and go on listening to the same "
                "whatever you edit (Shift+S)"
            )
        )
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        if self._session is None:
            return
        version, theme = self._session.current_version, theme_of(self.palette())
        painter = QPainter(self)
        colour, height = QColor(theme.version(version.id)), self.height()
        left = PAD + 4
        painter.fillRect(QRectF(left, (height - CHIP) / 2, CHIP, CHIP), colour)
        left += CHIP + GAP + 2
        longest = painter.fontMetrics().horizontalAdvance(LONGEST_STATE)
        plain, bold = painter.font(), painter.font()
        bold.setBold(True)
        painter.setFont(bold)
        painter.setPen(colour)
        room = self.width() - left - longest - STAY - PAD - 3 * GAP
        name = painter.fontMetrics().elidedText(version.name, Qt.TextElideMode.ElideMiddle, room)
        painter.drawText(QRectF(left, 0, room, height), Qt.AlignmentFlag.AlignVCenter, name)
        left += painter.fontMetrics().horizontalAdvance(name) + 2 * GAP
        painter.setFont(plain)
        painter.setPen(QColor(theme.text_muted))
        painter.drawText(QRectF(left, 0, longest + GAP, height), Qt.AlignmentFlag.AlignVCenter, self._state)

    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange:
            self.update()
