"""Small pictures of all screens on one sheet."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QColor, QFont, QGuiApplication, QImage, QPainter

CELL_WIDTH, CELL_HEIGHT, GAP, TITLE = 192, 108, 6, 13
COLUMNS = 8  # two screens to a row, each in four ways
WAYS = (("1280x720@1", "light"), ("2560x1440@1", "dark"), ("2560x1440@2", "light"), ("1280x720@2", "dark"))


def make_sheet(folder: Path, sheet: Path) -> None:
    """Draw `folder/<screen>/<theme>/*.png`: each screen of the desk small and large, light and dark."""
    application = QGuiApplication.instance() or QGuiApplication(["sheet", "-platform", "offscreen"])
    assert application is not None
    pictures: list[tuple[str, Path]] = []
    names = sorted({path.name for path in folder.glob("*/*/*.png")})
    for name in names:
        for screen, theme in WAYS:
            path = folder / screen / theme / name
            if path.exists():
                pictures.append((f"{path.stem[3:]} · {screen.replace('@', ' × ')}", path))
    rows = -(-len(pictures) // COLUMNS)
    width = GAP + COLUMNS * (CELL_WIDTH + GAP)
    height = GAP + rows * (CELL_HEIGHT + TITLE + GAP)
    image = QImage(width, height, QImage.Format.Format_RGB32)
    image.fill(QColor("#808080"))
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
    font = QFont()
    font.setPixelSize(9)
    painter.setFont(font)
    for number, (title, path) in enumerate(pictures):
        x = GAP + number % COLUMNS * (CELL_WIDTH + GAP)
        y = GAP + number // COLUMNS * (CELL_HEIGHT + TITLE + GAP)
        small = QImage(str(path)).scaled(
            CELL_WIDTH,
            CELL_HEIGHT,
            Qt.AspectRatioMode.KeepAspectRatio,
            Qt.TransformationMode.SmoothTransformation,
        )
        small.setDevicePixelRatio(1)
        painter.setPen(QColor("#FFFFFF"))
        painter.drawText(QRect(x, y, CELL_WIDTH, TITLE), Qt.AlignmentFlag.AlignVCenter, title)
        painter.drawImage(x, y + TITLE, small)
    painter.end()
    # A palette of 256 colours is enough for pictures this small, and a third of the size.
    image.convertToFormat(QImage.Format.Format_Indexed8).save(str(sheet), "PNG", 0)
