"""Check marks and dots that stand off their ground in both themes, over the Fusion style."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QApplication, QProxyStyle, QStyle, QStyleOption, QWidget

from lagline.desk.theme import Theme, ThemeChoice, chosen_theme, palette_of, style_sheet, theme_of

_DRESSED = "lagline_desk_style"


class DeskStyle(QProxyStyle):
    """Fusion draws the frame of an empty check box too faint on a dark ground (WCAG 2.2, 1.4.11)."""

    def __init__(self) -> None:
        super().__init__("Fusion")

    def drawPrimitive(
        self,
        element: QStyle.PrimitiveElement,
        option: QStyleOption,
        painter: QPainter,
        widget: QWidget | None = None,
    ) -> None:
        if element == QStyle.PrimitiveElement.PE_IndicatorCheckBox:
            _box(option, painter, is_round=False)
        elif element == QStyle.PrimitiveElement.PE_IndicatorRadioButton:
            _box(option, painter, is_round=True)
        else:
            super().drawPrimitive(element, option, painter, widget)


def _box(option: QStyleOption, painter: QPainter, *, is_round: bool) -> None:
    theme = theme_of(option.palette)
    state = option.state
    enabled = bool(state & QStyle.StateFlag.State_Enabled)
    focused = bool(state & QStyle.StateFlag.State_HasFocus)
    side = min(option.rect.width(), option.rect.height()) - 2
    frame = QRectF(0, 0, side, side)
    frame.moveCenter(QPointF(option.rect.center()) + QPointF(0.5, 0.5))
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    edge = theme.accent if focused else theme.edge if enabled else theme.line
    painter.setPen(QPen(QColor(edge), 2 if focused else 1.2))
    painter.setBrush(QColor(theme.raised if enabled else theme.window))
    radius = side / 2 if is_round else 3
    painter.drawRoundedRect(frame, radius, radius)
    if state & QStyle.StateFlag.State_On:
        ink = QColor(theme.text if enabled else theme.edge)
        x, y = frame.left(), frame.top()
        if is_round:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(ink)
            painter.drawEllipse(frame.center(), side * 0.24, side * 0.24)
        else:
            painter.setPen(QPen(ink, 2, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawPolyline(
                QPolygonF(
                    [
                        QPointF(x + 0.24 * side, y + 0.52 * side),
                        QPointF(x + 0.43 * side, y + 0.72 * side),
                        QPointF(x + 0.78 * side, y + 0.28 * side),
                    ]
                )
            )
    painter.restore()


def dress(application: QApplication, choice: ThemeChoice) -> Theme:
    """Give the application a theme's style, palette and style sheet; returns the theme."""
    theme = chosen_theme(choice)
    if not application.property(_DRESSED):
        application.setStyle(DeskStyle())
        application.setProperty(_DRESSED, True)
    application.setPalette(palette_of(theme))
    application.setStyleSheet(style_sheet(theme))
    return theme
