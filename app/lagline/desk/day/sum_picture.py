"""Draws the small picture of a take's sum into its cell."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, QSize
from PySide6.QtGui import QColor, QPainter, QPixmap, QPixmapCache
from PySide6.QtWidgets import QStyledItemDelegate, QStyleOptionViewItem

from lagline.day.values import PICTURE_COLUMNS
from lagline.desk.day.takes_model import PICTURE
from lagline.desk.theme import theme_of

WIDE = 2 * PICTURE_COLUMNS
HIGH = 20


class SumPicture(QStyledItemDelegate):
    """Each picture is drawn once and kept as long as there is room for it."""

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        super().paint(painter, option, index)
        picture = index.data(PICTURE)
        if not picture:
            return
        colour = theme_of(option.palette).text_muted
        place = option.rect.adjusted(4, 2, -4, -2)
        ratio = painter.device().devicePixelRatio()
        key = f"{bytes(picture).hex()} {colour} {place.width()} {place.height()} {ratio}"
        drawn = QPixmap()
        if not QPixmapCache.find(key, drawn):
            drawn = _drawn(bytes(picture), colour, place.size(), ratio)
            QPixmapCache.insert(key, drawn)
        painter.drawPixmap(place.topLeft(), drawn)

    def sizeHint(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> QSize:
        return QSize(WIDE, HIGH)


def _drawn(picture: bytes, colour: str, size: QSize, ratio: float) -> QPixmap:
    pixmap = QPixmap(size * ratio)
    pixmap.setDevicePixelRatio(ratio)
    pixmap.fill(QColor(0, 0, 0, 0))
    painter = QPainter(pixmap)
    step, middle = size.width() / len(picture), size.height() / 2
    for column, level in enumerate(picture):
        half = max(level / 255 * middle, 0.5)
        bar = QRectF(column * step, middle - half, max(step - 0.5, 0.5), 2 * half)
        painter.fillRect(bar, QColor(colour))
    painter.end()
    return pixmap
