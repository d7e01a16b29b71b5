"""What the dialogs on setups ask the file system's own dialogs, in one place, so that tests can answer."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

from PySide6.QtWidgets import QFileDialog, QWidget

from lagline.session import setup, storage


class TakeQuestions(Protocol):
    """The part of `desk.questions.Questions` that finds recordings."""

    def files_to_open(self, folder: Path, *, sessions: bool = True) -> list[Path]: ...

    def folder_to_open(self, folder: Path, title: str = "") -> Path | None: ...


class SetupQuestions:
    """Asks the person for setup files. `parent` is the window the dialogs belong to."""

    def __init__(self, parent: QWidget) -> None:
        self._parent = parent

    def setup_to_open(self, folder: Path) -> Path | None:
        """A setup, or a session whose current version is one."""
        kinds = f"Setups and sessions (*{setup.SUFFIX} *{storage.SUFFIX});;All files (*)"
        name, _ = QFileDialog.getOpenFileName(self._parent, "Apply a setup", str(folder), kinds)
        return Path(name) if name else None

    def where_to_save_setup(self, suggestion: Path) -> Path | None:
        """Asks by itself before a file is replaced."""
        dialog = QFileDialog(self._parent, "Save the setup", str(suggestion))
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.setNameFilter(f"Lagline setups (*{setup.SUFFIX})")
        dialog.setDefaultSuffix(setup.SUFFIX.removeprefix("."))  # before it asks, not after
        dialog.selectFile(suggestion.name)
        if not dialog.exec():
            return None
        return Path(dialog.selectedFiles()[0])
