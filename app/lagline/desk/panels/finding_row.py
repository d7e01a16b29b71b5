"""One lane's row in the findings panel."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QFocusEvent, QKeyEvent, QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QMenu,
    QPushButton,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.amounts import Unit
from lagline.desk.panels.finding_texts import (
    ACCEPTED,
    AS_RECORDED,
    FINDING_INDEX,
    FindingTexts,
    candidate_text,
    candidates,
    finding_texts,
    next_to_try,
)
from lagline.desk.panels.flow import FlowLayout
from lagline.desk.panels.themed import Themed, plain_label, shown
from lagline.desk.panels.trust_bar import TrustBar
from lagline.desk.theme import GAP, PAD, RADIUS, TARGET, Theme, number_font
from lagline.session.findings import Finding
from lagline.session.values import Lane, Session

NO_BREAK = "\N{NO-BREAK SPACE}"
STRIPE = 4  # px of the lane's colour at the left edge


class FindingRow(Themed):
    """Shows one lane's finding.

    Signals: accept_requested(lane_id), try_requested(lane_id, index) with FINDING_INDEX for the finding
    itself, leave_requested(lane_id), put_back_requested(lane_id), selected(lane_id),
    step_requested(lane_id, +1 or -1): the focus should move to a neighbour, read_requested(lane_id): the
    sentence or its question mark was clicked, open the guide at what explains it.

    Keys while it has the focus: Enter accepts, R tries the next candidate, Delete leaves or puts back,
    Up and Down go to the neighbours.
    """

    accept_requested = Signal(str)
    try_requested = Signal(str, int)
    leave_requested = Signal(str)
    put_back_requested = Signal(str)
    selected = Signal(str)
    step_requested = Signal(str, int)
    read_requested = Signal(str)

    def __init__(self, lane_id: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.lane_id = lane_id
        self._colour = "#000000"
        self._finding: Finding | None = None
        self._texts: FindingTexts | None = None
        self._is_left = False
        self._is_chosen = False
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setToolTip("Enter accepts · R tries the next place · Delete leaves it · Up and Down change lane")

        self._name = plain_label()
        bold = self._name.font()
        bold.setBold(True)
        self._name.setFont(bold)
        self._placement = plain_label()
        self._placement.setProperty("muted", True)
        self._placement.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop)
        self._arrival = plain_label()
        self._arrival.setFont(number_font(self.font()))
        self._trust = TrustBar()
        self._trust.setFixedHeight(TARGET + 2)
        self._polarity = plain_label(wrap=False)
        self._sentence = plain_label()
        self._sentence.setProperty("muted", True)
        self._sentence.setCursor(Qt.CursorShape.WhatsThisCursor)
        self._sentence.installEventFilter(self)
        self._read = QToolButton()
        self._read.setText("?")
        self._read.setMinimumSize(TARGET, TARGET)
        self._read.setToolTip("Read in the guide what this says and what to do")
        self._read.clicked.connect(self._ask_to_read)

        self._accept = QPushButton("Accept")
        self._accept.clicked.connect(self._ask_accept)
        self._try = QPushButton("Try")
        self._try.clicked.connect(self._ask_next)
        self._menu = QMenu(self)
        self._menu.aboutToShow.connect(self._fill_menu)
        self._places = QToolButton()
        self._places.setText("▾")
        self._places.setStyleSheet("QToolButton::menu-indicator { image: none; }")
        self._places.setMinimumWidth(TARGET)
        self._places.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self._places.setMenu(self._menu)
        self._leave = QPushButton("Leave")
        self._leave.clicked.connect(self._ask_leave)

        head = QHBoxLayout()
        head.setSpacing(PAD)
        head.addWidget(self._name, 1)
        head.addWidget(self._polarity)
        head.addWidget(self._placement)
        self._buttons = QWidget()
        self._buttons.setStyleSheet("QPushButton { padding: 2px 6px; } QToolButton { padding: 2px 2px; }")
        buttons = QHBoxLayout(self._buttons)
        buttons.setContentsMargins(0, 0, 0, 0)
        buttons.setSpacing(GAP)
        for button in (self._accept, self._try, self._places, self._leave, self._read):
            buttons.addWidget(button)
        tools = QWidget()
        flow = FlowLayout(tools)
        flow.addWidget(self._trust)
        flow.addWidget(self._buttons)
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        tools.setSizePolicy(policy)
        self._tools = tools
        column = QVBoxLayout(self)
        column.setContentsMargins(STRIPE + PAD + 2, GAP + 2, PAD, GAP + 2)
        column.setSpacing(GAP)
        column.addLayout(head)
        column.addWidget(self._arrival)
        column.addWidget(self._sentence)
        column.addWidget(tools)
        self.follow_theme()

    def show_lane(
        self, session: Session, lane: Lane, finding: Finding | None, colour: str, unit: Unit = "samples"
    ) -> None:
        """Show a lane as it stands in the session's current version. `unit`: feet for "ft" and "in"."""
        texts = finding_texts(session, lane, finding, unit)
        if finding is not self._finding:
            self._is_left = False
        if (texts, finding, colour) == (self._texts, self._finding, self._colour):
            return
        self._session, self._texts, self._finding, self._colour = session, texts, finding, colour
        self._refresh()

    def show_chosen(self, chosen: bool) -> None:
        if chosen != self._is_chosen:
            self._is_chosen = chosen
            self._sentence.setVisible(chosen)  # the others are kept short, so that more of them are in view
            self.update()

    @property
    def is_left(self) -> bool:
        """The engineer said to leave this lane where it was recorded."""
        return self._is_left

    def _refresh(self) -> None:
        texts, finding = self._texts, self._finding
        assert texts is not None
        shown(self._name, texts.name)
        shown(self._arrival, _in_pieces(f"{texts.arrival} · {texts.way}" if texts.way else texts.arrival))
        shown(self._sentence, texts.sentence)
        has_finding = finding is not None and not texts.is_anchor
        self._trust.setVisible(has_finding)
        self._polarity.setVisible(has_finding and texts.proposes)
        self._buttons.setVisible(has_finding)
        self._tools.setVisible(has_finding)
        self._read.setVisible(has_finding)
        self._sentence.setVisible(self._is_chosen)
        self._read.setAccessibleName(f"Read about the finding of {texts.name}")
        moved = texts.placement != AS_RECORDED
        left = self._is_left and not moved
        shown(self._placement, _placement_words(texts, left))
        if finding is not None:
            self._trust.show_trust(finding.trust, finding.trust_word)
            shown(self._polarity, f"{'⊖' if finding.polarity == -1 else '⊕'} {texts.polarity}")
            if finding.polarity_sureness == "unclear":
                shown(self._polarity, texts.polarity)
        can_accept = texts.proposes and texts.placement != ACCEPTED
        if self._accept.hasFocus() and not can_accept:
            self.setFocus()  # Qt would hand it to "Try", which moves the lane away again
        self._accept.setEnabled(can_accept)
        upcoming = next_to_try(finding, texts.placed_index) if finding is not None else None
        self._try.setEnabled(upcoming is not None)
        self._places.setEnabled(bool(finding is not None and candidates(finding)))
        self._leave.setText("Put back" if moved else "Leave")
        self._leave.setEnabled(moved or not left)
        name = texts.name
        for button, spoken, tip in (
            (self._accept, f"Accept {name}", "Line this lane up on the finding (Enter)"),
            (self._try, f"Try another place for {name}", "Put the lane at the next candidate to hear it (R)"),
            (self._places, f"Places to try for {name}", "Choose among the finding and its runners-up"),
            (
                self._leave,
                f"{self._leave.text()} {name}",
                "Put it back where it was recorded (Delete)" if moved else "Leave it as recorded (Delete)",
            ),
        ):
            button.setAccessibleName(spoken)
            button.setToolTip(tip)
        trust = f", trust {finding.trust_word}" if finding is not None and has_finding else ""
        self.setAccessibleName(texts.spoken + trust)
        self.setAccessibleDescription(texts.sentence)

    def _fill_menu(self) -> None:
        menu = self._menu
        menu.clear()
        if self._finding is None or self._texts is None:
            return
        for index, candidate in candidates(self._finding):
            action = menu.addAction(candidate_text(self._session, index, candidate))
            action.setCheckable(True)
            action.setChecked(index == self._texts.placed_index)
            action.setData(index)
            action.triggered.connect(self._ask_menu_choice)

    def _ask_menu_choice(self) -> None:
        self._is_left = False
        self.try_requested.emit(self.lane_id, int(self.sender().data()))  # type: ignore[attr-defined]

    def _ask_accept(self) -> None:
        if self._accept.isEnabled() and not self._buttons.isHidden():
            self._is_left = False
            self.accept_requested.emit(self.lane_id)

    def _ask_next(self) -> None:
        if self._finding is None or self._texts is None or self._buttons.isHidden():
            return
        upcoming = next_to_try(self._finding, self._texts.placed_index)
        if upcoming is not None:
            self._is_left = False
            self.try_requested.emit(self.lane_id, upcoming)

    def _ask_leave(self) -> None:
        if self._texts is None or self._buttons.isHidden():
            return
        self._is_left = True
        if self._texts.placement != AS_RECORDED:
            self.put_back_requested.emit(self.lane_id)
        else:
            self._refresh()
            self.leave_requested.emit(self.lane_id)

    def _ask_to_read(self) -> None:
        self.read_requested.emit(self.lane_id)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """A click on the sentence opens the guide; the row is chosen too, as by a click beside it."""
        if watched is self._sentence and event.type() == QEvent.Type.MouseButtonRelease:
            has_page = not self._read.isHidden()
            if has_page and self._sentence.rect().contains(event.position().toPoint()):  # type: ignore[attr-defined]
                self._ask_to_read()
        return super().eventFilter(watched, event)

    def event(self, event: QEvent) -> bool:
        # Single letters are shortcuts of the window; while the row has the focus its own keys win.
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent) and _is_ours(event):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = event.key()
        if not _is_ours(event):
            super().keyPressEvent(event)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._ask_accept()
        elif key == Qt.Key.Key_R:
            self._ask_next()
        elif key in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
            self._ask_leave()
        else:
            self.step_requested.emit(self.lane_id, 1 if key == Qt.Key.Key_Down else -1)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        event.accept()

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.update()
        self.selected.emit(self.lane_id)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.update()

    def apply_theme(self, theme: Theme) -> None:
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        theme = self.theme
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        frame = QRectF(self.rect()).adjusted(1, 1, -1, -1)
        painter.setBrush(QColor(theme.accent_soft if self._is_chosen else theme.surface))
        edge = theme.accent if self.hasFocus() else (theme.edge if self._is_chosen else theme.line)
        painter.setPen(QColor(edge))
        painter.drawRoundedRect(frame, RADIUS, RADIUS)
        if self.hasFocus():  # two hairlines rather than one thick pen
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(frame.adjusted(1, 1, -1, -1), RADIUS - 1, RADIUS - 1)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(self._colour))
        painter.drawRoundedRect(QRectF(PAD - 2, PAD, STRIPE, self.height() - 2 * PAD), 2, 2)


def _in_pieces(text: str) -> str:
    """The same, breaking into lines only between its pieces, never between a figure and its unit."""
    return text.replace(" ", NO_BREAK).replace(f"{NO_BREAK}·{NO_BREAK}", f"{NO_BREAK}· ")


def _placement_words(texts: FindingTexts, left: bool) -> str:
    if texts.is_anchor:
        return ""
    if left:
        return "left as recorded"
    return f"✓ {texts.placement}" if texts.placement == ACCEPTED else texts.placement


def _is_ours(event: QKeyEvent) -> bool:
    plain = event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier == Qt.KeyboardModifier.NoModifier
    return plain and event.key() in (
        Qt.Key.Key_Return,
        Qt.Key.Key_Enter,
        Qt.Key.Key_R,
        Qt.Key.Key_Delete,
        Qt.Key.Key_Backspace,
        Qt.Key.Key_Up,
        Qt.Key.Key_Down,
    )


__all__ = ["FINDING_INDEX", "FindingRow"]
