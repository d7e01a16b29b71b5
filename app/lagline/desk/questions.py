"""Everything the desk asks in a dialog of its own, in one place, so that tests can answer."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QDialog, QFileDialog, QInputDialog, QLineEdit, QMessageBox, QWidget

from lagline.desk.dialogs.fitting import fit
from lagline.media.probe import AUDIO_SUFFIXES
from lagline.session.storage import SUFFIX

Unsaved = Literal["save", "discard", "stay"]
Dropped = Literal["add", "open", "leave"]


class Questions:
    """Asks the person. `parent` is the window the dialogs belong to."""

    def __init__(self, parent: QWidget) -> None:
        self._parent = parent

    @property
    def can_ask(self) -> bool:
        """False where nobody can see a dialog, and one would wait for ever."""
        return QGuiApplication.platformName() not in ("offscreen", "minimal")

    def files_to_open(self, folder: Path, *, sessions: bool = True) -> list[Path]:
        sounds = " ".join(f"*{suffix}" for suffix in sorted(AUDIO_SUFFIXES))
        both = f"Recordings and sessions (*{SUFFIX} {sounds})" if sessions else f"Recordings ({sounds})"
        from lagline.desk.dialogs.open_dialog import OpenDialog

        title = "Open recordings of one performance"
        dialog = OpenDialog(title, folder, f"{both};;All files (*)", self._parent)
        fit(dialog)
        chosen = dialog.chosen if dialog.exec() else []
        dialog.deleteLater()
        return chosen

    def folder_to_open(self, folder: Path, title: str = "Open a folder of recordings") -> Path | None:
        name = QFileDialog.getExistingDirectory(self._parent, title, str(folder))
        return Path(name) if name else None

    def where_to_save(self, suggestion: Path) -> Path | None:
        name, _ = QFileDialog.getSaveFileName(
            self._parent, "Save the session", str(suggestion), f"Lagline sessions (*{SUFFIX})"
        )
        if not name:
            return None
        path = Path(name)
        return path if path.suffix == SUFFIX else path.with_name(path.name + SUFFIX)

    def _box(self) -> QMessageBox:
        box = QMessageBox(self._parent)
        box.setTextFormat(Qt.TextFormat.PlainText)  # names of takes and files are in it
        return box

    def unsaved(self, name: str) -> Unsaved:
        box = self._box()
        box.setIcon(QMessageBox.Icon.Question)
        box.setWindowTitle("Unsaved changes")
        box.setText(f"“{name}” has changes that are not saved.")
        box.setInformativeText("Save them before you go on?")
        save = box.addButton("Save", QMessageBox.ButtonRole.AcceptRole)
        discard = box.addButton("Don’t save", QMessageBox.ButtonRole.DestructiveRole)
        box.addButton("Stay here", QMessageBox.ButtonRole.RejectRole)
        box.setDefaultButton(save)
        box.exec()
        clicked = box.clickedButton()
        return "save" if clicked is save else "discard" if clicked is discard else "stay"

    def dropped(self, names: Sequence[str], take: str) -> Dropped:
        """Recordings were dropped while a take is open."""
        box = self._box()
        box.setIcon(QMessageBox.Icon.Question)
        box.setWindowTitle("Recordings were dropped")
        what = f"Do {names[0]} and {len(names) - 1} more" if len(names) > 1 else f"Does {names[0]}"
        box.setText(f"{what} belong to “{take}”?")
        box.setInformativeText("Add them to the take that is open, or open them as a take of their own?")
        add = box.addButton("Add to this take", QMessageBox.ButtonRole.AcceptRole)
        own = box.addButton("Open as a take of its own", QMessageBox.ButtonRole.ActionRole)
        box.addButton("Leave them", QMessageBox.ButtonRole.RejectRole)
        box.setDefaultButton(add)
        box.exec()
        clicked = box.clickedButton()
        return "add" if clicked is add else "open" if clicked is own else "leave"

    def text(self, title: str, label: str, value: str) -> str | None:
        answer, accepted = QInputDialog.getText(self._parent, title, label, QLineEdit.EchoMode.Normal, value)
        return answer if accepted else None

    def yes(self, title: str, text: str, more: str, yes: str, no: str) -> bool:
        box = self._box()
        box.setIcon(QMessageBox.Icon.Question)
        box.setWindowTitle(title)
        box.setText(text)
        box.setInformativeText(more)
        agree = box.addButton(yes, QMessageBox.ButtonRole.AcceptRole)
        box.addButton(no, QMessageBox.ButtonRole.RejectRole)
        box.setDefaultButton(agree)
        box.exec()
        return box.clickedButton() is agree

    def show(self, dialog: QDialog) -> None:
        """Show a dialog until it is closed; never larger than its screen."""
        fit(dialog)
        dialog.exec()
        dialog.deleteLater()

    def missing(self, sentences: Sequence[str], folder: Path) -> Path | None:
        """Recordings of a session are not where it says; where else to look."""
        listed = "\n".join(sentences[:6]) + ("\n…" if len(sentences) > 6 else "")
        if self.yes(
            "Recordings are missing",
            "Some recordings are not where the session says.",
            f"{listed}\n\nShow the folder they are in now: they are found by name and size.",
            "Choose a folder…",
            "Open without them",
        ):
            return self.folder_to_open(folder, "Where are the recordings now?")
        return None
