"""The program's icon, and whether a window can be opened at all."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QApplication

import lagline


def app_icon() -> QIcon:
    """The icon in every size there is: inside the installed package, or beside it in a checkout."""
    package = Path(lagline.__file__).parent
    icon = QIcon()
    for folder in (package / "icon", package.parents[1] / "assets" / "icon"):
        for picture in sorted(folder.glob("lagline-*.png")):
            icon.addFile(str(picture))
    return icon


def try_window() -> int:
    """Reach the screen as the desk would. Where it can't, Qt says why on stderr and ends the process."""
    return 0 if QApplication([]).primaryScreen() is not None else 1
