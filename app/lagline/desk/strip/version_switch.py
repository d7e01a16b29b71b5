"""The large switch between the original and the versions."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QFont, QFontMetrics, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QSizePolicy, QWidget

from lagline.amounts import MINUS
from lagline.desk.amounts import number_text
from lagline.desk.plain import plain_tip
from lagline.desk.strip.short_name import short_name
from lagline.desk.theme import GAP
from lagline.desk.transport_state import TransportState
from lagline.session.trying import BEFORE_ID
from lagline.session.values import ORIGINAL, Session, Version
from lagline.session.version_colours import colour_place

MOST_BUTTONS = 5
LAST_KEY = 9  # further versions have no key
HEIGHT = 46
EDGES, LEAST_EDGES = 24, 8  # beside the text, both sides: as it should be, and where room is scarce


class VersionButton(QPushButton):
    """One version: its key and name, below its loudness and what equal loudness takes from it."""

    asked = Signal(str)

    def __init__(
        self, version: Version, number: int, others: Sequence[str] = (), parent: QWidget | None = None
    ) -> None:
        """others : the names of the versions that it must not be taken for."""
        super().__init__(parent)
        self.version_id = version.id
        self._number = number
        self._name, self._others = version.name, others
        self._known: tuple[bool, float | None, float | None, bool] = (False, None, None, False)
        self._shown: tuple[object, ...] = ()
        self.setFixedHeight(HEIGHT)
        self.setProperty("tight", True)  # for the style sheet
        self.setProperty("version", colour_place(version.id))
        self._is_narrow = False
        self.be_narrow(False)
        self.setMaximumWidth(200)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        key = f" ({number})" if number <= LAST_KEY else ""
        tip = f"Hear {version.name}{key}. Tab in the lanes goes back and forth."
        self.setToolTip(plain_tip(tip))
        self.clicked.connect(self._ask)

    def be_narrow(self, narrow: bool) -> None:
        """In a narrow window the loudness steps aside."""
        self._is_narrow = narrow
        self._shown = ()
        room = self._advance
        self._room_for_gain = room(f"{MINUS}88.8 LUFS · {MINUS}88.8 dB") + EDGES
        self._room_for_loudness = room("1  Original · heard") + EDGES
        self._room_for_name = room("1  Original") + EDGES
        self.setMinimumWidth(room("1  …50 %") + LEAST_EDGES)
        self.updateGeometry()

    def sizeHint(self) -> QSize:
        """Room for everything, whatever is known so far: the strip must not move when levels come in."""
        return QSize(self._room_for_name if self._is_narrow else self._room_for_gain, HEIGHT)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        heard, lufs, match_db, is_before = self._known
        self.show_state(heard=heard, lufs=lufs, match_db=match_db, is_before=is_before)

    def show_state(
        self, *, heard: bool, lufs: float | None, match_db: float | None, is_before: bool = False
    ) -> None:
        """lufs, match_db : its loudness and the gain of equal loudness; None where not known, or off.
        is_before : it is heard as it was before what is tried in it."""
        self._known = (heard, lufs, match_db, is_before)
        shown = (*self._known, self.width())
        if shown == self._shown:
            return
        self._shown = shown
        level = _level_text(lufs, match_db)
        mark, below = "", "heard" if heard else "before" if is_before else ""
        if level and not is_before and not self._is_narrow and self.width() >= self._room_for_loudness:
            has_room = self.width() >= self._room_for_gain  # between many versions the gain steps aside
            mark, below = " · heard" if heard else "", level if has_room else _level_text(lufs, None)
        self.setText(f"{self._short_name(mark)}{mark}\n{below}".replace("&", "&&"))
        self.setAccessibleName(f"Hear {self._name}" + (", heard now" if heard else ""))
        self.setAccessibleDescription(level or below)
        if self.property("heard") != heard:
            self.setProperty("heard", heard)
            self.style().unpolish(self)
            self.style().polish(self)

    def _short_name(self, mark: str) -> str:
        """Number and name in the room that is left beside the mark."""
        number = f"{self._number}  "
        room = max(self.width() - LEAST_EDGES, 40)
        return number + short_name(
            self._name, self._others, lambda text: self._advance(number + text + mark) <= room
        )

    def _advance(self, text: str) -> int:
        """Its width in bold letters, which what is heard has."""
        font = QFont(self.font())
        font.setBold(True)
        return QFontMetrics(font).horizontalAdvance(text)

    def _ask(self) -> None:
        self.asked.emit(self.version_id)


class VersionSwitch(QWidget):
    """Buttons for the original and up to four versions, fewer where there is less room.

    What is heard always has one: of more versions, the last place is for the one heard last.
    """

    heard_requested = Signal(str)  # version id

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._buttons: list[VersionButton] = []
        self._versions: tuple[tuple[str, str], ...] = ()
        self._places = MOST_BUTTONS
        self._current_id: str | None = None  # the version that is edited
        self._last_id: str | None = None  # has the last place, of more versions than there are places
        self._is_narrow = False
        self._line = QHBoxLayout(self)
        self._line.setContentsMargins(0, 0, 0, 0)
        self._line.setSpacing(GAP)
        self.setAccessibleName("What is heard")
        self.show_session(None)

    @property
    def buttons(self) -> list[VersionButton]:
        return list(self._buttons)

    def show_session(self, session: Session | None) -> None:
        versions = (ORIGINAL, *(session.versions if session else (Version(id="v1", name="Shifted"),)))
        self._current_id = session.current_version_id if session is not None else None
        names = tuple((version.id, version.name) for version in versions)
        if names != self._versions:
            self._versions = names
            self._build(session is not None)
        for button in self._buttons:
            button.setEnabled(session is not None)

    def _placed(self) -> list[tuple[int, str, str]]:
        """Number, id and name of the versions that have a place."""
        numbered = [(number, *version) for number, version in enumerate(self._versions, 1)]
        first, further = numbered[: self._places - 1], numbered[self._places - 1 :]
        last = [one for one in further if one[1] == self._last_id] or further[:1]
        return [*first, *last]

    def _build(self, enabled: bool) -> None:
        for button in self._buttons:
            self._line.removeWidget(button)
            button.deleteLater()
        names = [name for _, name in self._versions]
        self._buttons = [
            VersionButton(Version(id=version_id, name=name), number, names)
            for number, version_id, name in self._placed()
        ]
        for button in self._buttons:
            button.be_narrow(self._is_narrow)
            button.setEnabled(enabled)
            button.asked.connect(self.heard_requested)
            self._line.addWidget(button)

    def _give_place(self, version_id: str | None) -> None:
        """None while a blind trial hides what is heard: then nothing moves."""
        ids = [known for known, _ in self._versions]
        if version_id in ids and all(button.version_id != version_id for button in self._buttons):
            self._last_id = version_id
            self._build(self._buttons[0].isEnabled())

    def be_narrow(self, narrow: bool) -> None:
        if narrow != self._is_narrow:
            self._is_narrow = narrow
            for button in self._buttons:
                button.be_narrow(narrow)

    def have_places(self, places: int) -> None:
        """For so many buttons there is room."""
        if places != self._places:
            self._places = places
            self._build(self._buttons[0].isEnabled())

    def show_state(self, state: TransportState) -> None:
        self._give_place(state.heard_id)
        for button in self._buttons:
            button.show_state(
                heard=button.version_id == state.heard_id and button.isEnabled(),
                lufs=state.loudness_lufs.get(button.version_id),
                match_db=state.match_db.get(button.version_id),
                is_before=state.heard_id == BEFORE_ID and button.version_id == self._current_id,
            )


def _level_text(lufs: float | None, match_db: float | None) -> str:
    """Loudness and gain in a line; empty where the version is silent or was not measured."""
    if lufs is None or not math.isfinite(lufs):
        return ""
    gain = "" if match_db is None else f" · {number_text(match_db, 1)} dB"
    return f"{number_text(lufs, 1)} LUFS{gain}"
