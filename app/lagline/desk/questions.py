"""Everything the desk asks in a dialog of its own, in one place, so that tests can answer."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QDialog, QFileDialog, QInputDialog, QLineEdit, QMessageBox, QWidget

from lagline.desk.dialogs.fitting import fit
from lagline.files import is_there
from lagline.media.probe import AUDIO_SUFFIXES
from lagline.session.storage import SUFFIX

Unsaved = Literal["save", "discard", "stay"]
Dropped = Literal["add", "open", "leave"]
Elsewhere = Literal["look", "take", "leave"]
Changed = Literal["both", "replace", "stay"]
Role = QMessageBox.ButtonRole
MOST_LINES = 6


def in_lines(sentences: Sequence[str]) -> str:
    """A line each, as many as a dialog bears."""
    return "\n".join(sentences[:MOST_LINES]) + ("\n…" if len(sentences) > MOST_LINES else "")


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
        """Where to, a file that is there only when it may be replaced."""
        while True:
            name, _ = QFileDialog.getSaveFileName(
                self._parent, "Save the session", str(suggestion), f"Lagline sessions (*{SUFFIX})"
            )
            if not name:
                return None
            path = Path(name)
            if path.suffix == SUFFIX:
                return path  # the dialog has asked about just this file
            path = path.with_name(path.name + SUFFIX)
            if not is_there(path) or self.may_replace(path):
                return path
            suggestion = path

    def may_replace(self, path: Path) -> bool:
        """A session is there already, and the file dialog did not know that it would be written."""
        text = f"{path.name} is in that folder already."
        more = "Replace it, or choose another name? Replaced, it becomes a restore point."
        answers = (("Replace it", Role.DestructiveRole), ("Another name…", Role.RejectRole))
        return self._chosen("A session of that name", text, more, answers, enter=1) == 0

    def _box(self) -> QMessageBox:
        box = QMessageBox(self._parent)
        box.setTextFormat(Qt.TextFormat.PlainText)  # names of takes and files are in it
        return box

    def _chosen(
        self, title: str, text: str, more: str, answers: Sequence[tuple[str, Role]], *, enter: int = 0
    ) -> int:
        """Which of the answers was given; `enter` is the one that Enter gives, Escape gives the last."""
        box = self._box()
        box.setIcon(QMessageBox.Icon.Question)
        box.setWindowTitle(title)
        box.setText(text)
        box.setInformativeText(more)
        buttons = [box.addButton(answer, role) for answer, role in answers]
        box.setDefaultButton(buttons[enter])
        box.exec()
        clicked = box.clickedButton()
        return next((at for at, button in enumerate(buttons) if button is clicked), len(buttons) - 1)

    def unsaved(self, name: str) -> Unsaved:
        answers = (
            ("Save", Role.AcceptRole),
            ("Don’t save", Role.DestructiveRole),
            ("Stay here", Role.RejectRole),
        )
        text = f"“{name}” has changes that are not saved."
        given: tuple[Unsaved, ...] = ("save", "discard", "stay")
        return given[self._chosen("Unsaved changes", text, "Save them before you go on?", answers)]

    def dropped(self, names: Sequence[str], take: str) -> Dropped:
        """Recordings were dropped while a take is open."""
        what = f"Do {names[0]} and {len(names) - 1} more" if len(names) > 1 else f"Does {names[0]}"
        more = "Add to the take that is open, or open as a take of its own?"
        answers = (
            ("Add to this take", Role.AcceptRole),
            ("Open as a take of its own", Role.ActionRole),
            ("Leave", Role.RejectRole),
        )
        given: tuple[Dropped, ...] = ("add", "open", "leave")
        return given[self._chosen("Recordings were dropped", f"{what} belong to “{take}”?", more, answers)]

    def elsewhere(self, name: str, who: str) -> Elsewhere:
        """The session is being worked on; `who`: by whom, as it stands in a sentence."""
        more = (
            "Only look: try things out here; saving asks for another name.\n"
            "Take over: the other window is told, stops saving, and keeps its unsaved work."
        )
        answers = (
            ("Only look", Role.AcceptRole),
            ("Take over", Role.DestructiveRole),
            ("Don’t open", Role.RejectRole),
        )
        given: tuple[Elsewhere, ...] = ("look", "take", "leave")
        text = f"{name} is open elsewhere: {who}."
        return given[self._chosen("The session is open elsewhere", text, more, answers)]

    def changed(self, name: str) -> Changed:
        """What is on the disk is not what was opened."""
        more = (
            "Keep both: yours is saved beside it under another name.\n"
            "Replace it: the one on the disk becomes a restore point."
        )
        answers = (
            ("Keep both", Role.AcceptRole),
            ("Replace it", Role.DestructiveRole),
            ("Don’t save now", Role.RejectRole),
        )
        given: tuple[Changed, ...] = ("both", "replace", "stay")
        text = f"{name} was changed on the disk since you opened it."
        return given[self._chosen("The session has changed", text, more, answers)]

    def text(self, title: str, label: str, value: str) -> str | None:
        answer, accepted = QInputDialog.getText(self._parent, title, label, QLineEdit.EchoMode.Normal, value)
        return answer if accepted else None

    def yes(self, title: str, text: str, more: str, yes: str, no: str) -> bool:
        return self._chosen(title, text, more, ((yes, Role.AcceptRole), (no, Role.RejectRole))) == 0

    def show(self, dialog: QDialog) -> None:
        """Show a dialog until it is closed; never larger than its screen."""
        fit(dialog)
        dialog.exec()
        dialog.deleteLater()

    def missing(self, sentences: Sequence[str], folder: Path) -> Path | None:
        """Recordings of a session are not where it says; where else to look."""
        if self.yes(
            "Recordings are missing",
            "Some recordings are not where the session says.",
            f"{in_lines(sentences)}\n\nShow the folder they are in now: they are found by what they hold, "
            "whatever they are called.",
            "Choose a folder…",
            "Open without them",
        ):
            return self.folder_to_open(folder, "Where are the recordings now?")
        return None
