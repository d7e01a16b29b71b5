"""The menu of sessions saved or opened lately."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QMenu, QWidget


class RecentMenu(QMenu):
    """Filled whenever it is opened, so that it never names a session that is gone."""

    open_requested = Signal(object)  # Path

    def __init__(self, recent: Callable[[], tuple[Path, ...]], parent: QWidget | None = None) -> None:
        super().__init__("Open lately", parent)
        self._recent = recent
        self.aboutToShow.connect(self._fill)
        self.triggered.connect(self._ask)

    def _fill(self) -> None:
        self.clear()
        for path in self._recent():
            action = self.addAction(f"{path.stem}   {path.parent}".replace("&", "&&"))
            action.setData(str(path))
        if self.isEmpty():
            self.addAction("No saved sessions yet").setEnabled(False)

    def _ask(self, action: object) -> None:
        self.open_requested.emit(Path(action.data()))  # type: ignore[attr-defined]
