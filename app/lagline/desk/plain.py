"""Names from files shown as they are: Qt guesses markup, and markup can name other files."""

from __future__ import annotations

import html

from PySide6.QtGui import Qt


def plain_tip(text: str) -> str:
    """The text for a tooltip; what Qt would take for markup is written so that its letters show."""
    if not Qt.mightBeRichText(text):
        return text
    return f"<span>{html.escape(text)}</span>".replace("\n", "<br>")
