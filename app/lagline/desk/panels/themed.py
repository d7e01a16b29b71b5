"""A panel that follows the theme: one hook, called at the start and whenever the palette changes."""

from __future__ import annotations

import sys

from PySide6.QtCore import QEvent, QSize, Qt
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget

from lagline.desk.theme import Theme, theme_of


class Themed(QWidget):
    """Base of the panels. Subclasses draw from `self.theme` and override `apply_theme`."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme | None = None

    @property
    def theme(self) -> Theme:
        """The theme that the palette stands for."""
        return theme_of(self.palette())

    def apply_theme(self, theme: Theme) -> None:
        """Set what the palette alone does not carry: pens, style sheets of parts."""

    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() in (QEvent.Type.PaletteChange, QEvent.Type.StyleChange):
            try:
                self.follow_theme()
            except Exception:  # noqa: BLE001 - WORKAROUND for PySide6 6.11: raised below another override of
                sys.excepthook(*sys.exc_info())  # ours (`event`), an error ends the whole process

    def follow_theme(self) -> None:
        """Call once at the end of a constructor; after that the palette calls it."""
        theme = self.theme
        if theme is not self._theme:  # applying a style sheet changes the palette again: stop there
            self._theme = theme
            self.apply_theme(theme)


class PlainLabel(QLabel):
    """A label that may get narrow: it wraps rather than forcing its panel wide. Never reads rich text."""

    def __init__(self, text: str = "") -> None:
        super().__init__(text)
        self.setTextFormat(Qt.TextFormat.PlainText)

    def minimumSizeHint(self) -> QSize:
        # A wrapping QLabel asks for the height of its narrowest shape, which makes docks hundreds of
        # pixels too tall. The height it needs at its real width comes from heightForWidth.
        if not self.wordWrap():
            return super().minimumSizeHint()
        return QSize(40, self.fontMetrics().height())


class ScrollBody(QWidget):
    """What stands inside a scroll area: as tall as its contents need at the width there is."""

    def minimumSizeHint(self) -> QSize:
        return QSize(super().minimumSizeHint().width(), 0)


def plain_label(text: str = "", *, wrap: bool = True, selectable: bool = False) -> QLabel:
    """A label for sentences (wrap) or single words; `selectable` lets the mouse copy it."""
    label = PlainLabel(text)
    label.setWordWrap(wrap)
    if wrap:
        label.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
    if selectable:
        label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    return label


def shown(label: QLabel, text: str) -> None:
    """Set a label's text only when it differs: an edit while dragging repaints nothing needlessly."""
    if label.text() != text:
        label.setText(text)
