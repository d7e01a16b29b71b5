"""Before the first sound of all: the caution about headphones."""

from __future__ import annotations

from lagline.desk.dialogs.caution import Caution
from lagline.desk.parts import DeskParts


def read_caution(parts: DeskParts, *, again: bool = False) -> None:
    """Show the caution unless it was read; `again`: in any case."""
    if again or not parts.settings.caution_read:
        parts.questions.show(Caution(parts.window))
        parts.settings.caution_read = True
