"""Draws a plan seen from above, on a screen or on paper."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFont, QFontMetricsF, QPainter, QPen

from lagline.desk.planner.figures import length_text
from lagline.desk.planner.view_scale import MARGIN_PX, ViewScale
from lagline.desk.theme import Theme
from lagline.session.plan import Plan

MARK_PX = 9.0
PAD_PX = 6.0


def draw_plan(
    painter: QPainter,
    scale: ViewScale,
    plan: Plan,
    markers_m: Mapping[str, tuple[float, float]],
    theme: Theme,
    font: QFont,
    *,
    chosen: str | None = None,
    is_focused: bool = False,
) -> None:
    """Draw the floor, the ways of sound, source and lanes. `markers_m`: by name, the source's name is ""."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setFont(font)
    painter.fillRect(QRectF(0, 0, scale.width_px, scale.height_px), QColor(theme.surface))
    _draw_floor(painter, scale, theme, font)
    _draw_lines(painter, scale, plan, theme, font, chosen)  # below the marks: those can be taken hold of
    source = QPointF(*scale.to_px(*markers_m[""]))
    for number, lane in enumerate(plan.lanes):
        if lane.name in markers_m:
            at = QPointF(*scale.to_px(*markers_m[lane.name]))
            colour = QColor(theme.lane(number))
            if lane.place_m is None:
                _ring(painter, source, plan.distance_m(lane) * scale.px_per_m, colour)
            _way(painter, source, at, length_text(plan.distance_m(lane)), theme, font)
    _draw_source(painter, source, theme, font, is_chosen=chosen == "")
    for number, lane in enumerate(plan.lanes):
        if lane.name in markers_m:
            at = QPointF(*scale.to_px(*markers_m[lane.name]))
            sign = "  (inverted)" if lane.polarity < 0 else ""
            _draw_lane(
                painter, at, QColor(theme.lane(number)), f"{number + 1}  {lane.name}{sign}", theme, font,
                is_chosen=chosen == lane.name, is_loose=lane.place_m is None,
            )  # fmt: skip
    if is_focused:
        painter.setPen(QPen(QColor(theme.accent), 2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(QRectF(1, 1, scale.width_px - 2, scale.height_px - 2))


def lines_foot_px(plan: Plan, font: QFont) -> float:
    """Height that the list of direct lines wants at the foot, beyond the margin that is free anyway."""
    count = sum(lane.is_direct_line for lane in plan.lanes)
    wanted = 2 * PAD_PX + count * (QFontMetricsF(font).height() + PAD_PX) + 2 * MARK_PX
    return max(wanted - MARGIN_PX, 0.0) if count else 0.0


def _draw_floor(painter: QPainter, scale: ViewScale, theme: Theme, font: QFont) -> None:
    painter.setPen(QPen(QColor(theme.line), 1))
    xs, ys = scale.lines_m()
    across = [scale.to_px(x, 0)[0] for x in xs]
    along = [scale.to_px(0, y)[1] for y in ys]
    painter.drawLines([QLineF(x, 0, x, scale.height_px) for x in across])
    painter.drawLines([QLineF(0, y, scale.width_px, y) for y in along])
    step_px = scale.step_m * scale.px_per_m
    left, base = scale.width_px - step_px - 2 * PAD_PX, scale.height_px - 2 * PAD_PX
    painter.setPen(QPen(QColor(theme.text_muted), 2))
    painter.drawLine(QLineF(left, base, left + step_px, base))
    text = length_text(scale.step_m)
    wide = QFontMetricsF(font).horizontalAdvance(text)
    painter.drawText(QPointF(left + (step_px - wide) / 2, base - PAD_PX), text)


def _ring(painter: QPainter, middle: QPointF, radius_px: float, colour: QColor) -> None:
    painter.setPen(QPen(colour, 1, Qt.PenStyle.DotLine))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawEllipse(middle, radius_px, radius_px)


def _way(painter: QPainter, a: QPointF, b: QPointF, text: str, theme: Theme, font: QFont) -> None:
    painter.setPen(QPen(QColor(theme.text_muted), 1, Qt.PenStyle.DashLine))
    painter.drawLine(QLineF(a, b))
    metrics = QFontMetricsF(font)
    middle = QPointF(a.x() + 0.55 * (b.x() - a.x()), a.y() + 0.55 * (b.y() - a.y()))
    if QLineF(a, b).length() < 70:
        return  # the table has it; here it would cover the marks
    box = metrics.boundingRect(text).adjusted(-3, -1, 3, 1)
    box.moveCenter(middle)
    painter.fillRect(box, QColor(theme.surface))
    painter.setPen(QColor(theme.text_muted))
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)


def _draw_source(painter: QPainter, at: QPointF, theme: Theme, font: QFont, *, is_chosen: bool) -> None:
    painter.setPen(QPen(QColor(theme.text), 2))
    painter.setBrush(QBrush(QColor(theme.text)))
    painter.drawEllipse(at, 4, 4)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawEllipse(at, MARK_PX + 2, MARK_PX + 2)
    _halo(painter, at, theme, is_chosen)
    _label(painter, at, "Source", theme, font, is_chosen)


def _draw_lane(
    painter: QPainter,
    at: QPointF,
    colour: QColor,
    text: str,
    theme: Theme,
    font: QFont,
    *,
    is_chosen: bool,
    is_loose: bool,
) -> None:
    painter.setPen(QPen(colour, 2.5))
    painter.setBrush(QBrush(QColor(theme.surface) if is_loose else colour))
    painter.drawEllipse(at, MARK_PX, MARK_PX)
    _halo(painter, at, theme, is_chosen)
    _label(painter, at, text, theme, font, is_chosen)


def _halo(painter: QPainter, at: QPointF, theme: Theme, is_chosen: bool) -> None:
    if is_chosen:
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(theme.accent), 2))
        painter.drawEllipse(at, MARK_PX + 6, MARK_PX + 6)


def _label(painter: QPainter, at: QPointF, text: str, theme: Theme, font: QFont, is_chosen: bool) -> None:
    bold = QFont(font)
    bold.setBold(is_chosen)
    painter.setFont(bold)
    metrics = QFontMetricsF(bold)
    box = QRectF(
        at.x() + MARK_PX + 8,
        at.y() - metrics.height() / 2,
        metrics.horizontalAdvance(text) + 6,
        metrics.height(),
    )
    painter.fillRect(box, QColor(theme.surface))
    painter.setPen(QColor(theme.text))
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)
    painter.setFont(font)


def _draw_lines(
    painter: QPainter, scale: ViewScale, plan: Plan, theme: Theme, font: QFont, chosen: str | None
) -> None:
    """Direct lines have no place: they stand as a list in the corner."""
    metrics = QFontMetricsF(font)
    y = scale.height_px - 2 * PAD_PX
    for number, lane in reversed(list(enumerate(plan.lanes))):
        if not lane.is_direct_line:
            continue
        mark = QRectF(2 * PAD_PX, y - 13, 13, 13)
        painter.setPen(QPen(QColor(theme.lane(number)), 2.5))
        painter.setBrush(QBrush(QColor(theme.lane(number))))
        painter.drawRect(mark)
        if lane.name == chosen:
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(theme.accent), 2))
            painter.drawRect(mark.adjusted(-4, -4, 4, 4))
        sign = ", inverted" if lane.polarity < 0 else ""
        painter.setPen(QColor(theme.text))
        painter.drawText(
            QPointF(mark.right() + 8, y - 2),
            f"{number + 1}  {lane.name}: direct line, {lane.latency_ms:g} ms{sign}",
        )
        y -= metrics.height() + PAD_PX
