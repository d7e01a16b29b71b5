"""A drop-down list that may get narrow, keeps what was chosen, and is filled without telling."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSignalBlocker
from PySide6.QtWidgets import QWidget

from lagline.desk.boxes import ComboBox


class Chooser(ComboBox):
    """Items are (text, key); `currentData()` is the key of the chosen one."""

    def __init__(self, name: str, tip: str, parent: QWidget | None = None, *, least_letters: int = 9) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.setToolTip(tip)
        self.setSizeAdjustPolicy(ComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(least_letters)

    def offer(self, items: Sequence[tuple[str, object]], default: object) -> None:
        """Offer these; keeps the choice where it is still offered, else takes the default. Tells nothing."""
        old = [(self.itemText(index), self.itemData(index)) for index in range(self.count())]
        if old == list(items):
            return
        chosen, keys = self.currentData(), [key for _, key in items]
        with QSignalBlocker(self):
            self.clear()
            for text, key in items:
                self.addItem(text, key)
            wanted = chosen if chosen is not None and chosen in keys else default
            self.setCurrentIndex(keys.index(wanted) if wanted in keys else (0 if keys else -1))

    def choose(self, key: object) -> None:
        """Choose the item of that key, if it is offered."""
        for index in range(self.count()):
            if self.itemData(index) == key:
                self.setCurrentIndex(index)
