"""Draws the icon's SVGs into PNGs of 16 to 512 pixels, and those into an .ico and an .icns.

    python assets/icon/make_icons.py [FOLDER]

Without a folder the PNGs beside this script are made again, for the window and the desktop entry; with one,
everything goes there (the bundle's recipe wants the .ico and the .icns). Both are containers of PNGs: ICO as
Microsoft's "Icons" documentation describes it, PNG entries since Windows Vista; ICNS after its commonly
known layout of types and lengths (from memory, not tried on a Mac).
"""

from __future__ import annotations

import os
import struct
import sys
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QBuffer, QIODevice, Qt
from PySide6.QtGui import QGuiApplication, QImage, QPainter
from PySide6.QtSvg import QSvgRenderer

HERE = Path(__file__).resolve().parent
SIZES = (16, 24, 32, 48, 64, 128, 256, 512)
SMALL = 32  # up to this size the small drawing is used
ICO_SIZES = (16, 24, 32, 48, 64, 128, 256)
ICNS_TYPES = {b"icp4": 16, b"icp5": 32, b"icp6": 64, b"ic07": 128, b"ic08": 256, b"ic09": 512}


def drawn(size: int) -> bytes:
    """The icon as a PNG of `size` by `size` pixels."""
    drawing = HERE / ("lagline-small.svg" if size <= SMALL else "lagline.svg")
    image = QImage(size, size, QImage.Format.Format_ARGB32)
    image.fill(Qt.GlobalColor.transparent)
    painter = QPainter(image)
    QSvgRenderer(str(drawing)).render(painter)
    painter.end()
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    if not image.save(buffer, "PNG"):
        raise SystemExit(f"make_icons.py: no PNG could be made of {drawing.name}")
    return bytes(buffer.data().data())


def ico(pngs: dict[int, bytes]) -> bytes:
    head = struct.pack("<HHH", 0, 1, len(ICO_SIZES))
    place = len(head) + 16 * len(ICO_SIZES)
    entries, bodies = b"", b""
    for size in ICO_SIZES:
        png = pngs[size]
        side = size % 256  # 0 stands for 256
        entries += struct.pack("<BBBBHHII", side, side, 0, 0, 1, 32, len(png), place + len(bodies))
        bodies += png
    return head + entries + bodies


def icns(pngs: dict[int, bytes]) -> bytes:
    body = b"".join(
        kind + struct.pack(">I", 8 + len(pngs[size])) + pngs[size] for kind, size in ICNS_TYPES.items()
    )
    return b"icns" + struct.pack(">I", 8 + len(body)) + body


def main(folder: Path | None) -> None:
    application = QGuiApplication([])
    pngs = {size: drawn(size) for size in SIZES}
    for size, png in pngs.items():
        ((folder or HERE) / f"lagline-{size}.png").write_bytes(png)
    if folder is not None:
        (folder / "lagline.ico").write_bytes(ico(pngs))
        (folder / "lagline.icns").write_bytes(icns(pngs))
    del application


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
