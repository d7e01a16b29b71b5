"""Commands for setups: save the current version as one, apply one to takes."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject

from lagline.desk.proposed_place import proposed_folder
from lagline.errors import LaglineError
from lagline.session.setup import SUFFIX, Setup

if TYPE_CHECKING:  # the dialogs load when they are first opened
    from lagline.desk.parts import DeskParts
    from lagline.desk.setups.asking import SetupQuestions
    from lagline.desk.setups.save_dialog import SaveSetupDialog


class SetupCommands(QObject):
    """`ask` is for tests; by default the file dialogs of the system."""

    def __init__(self, parts: DeskParts, ask: SetupQuestions | None = None) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self._asked = ask

    def handlers(self) -> dict[str, Callable[[], object]]:
        return {"save_setup": self.save, "apply_setup": self.apply}

    @property
    def _ask(self) -> SetupQuestions:
        if self._asked is None:
            from lagline.desk.setups.asking import SetupQuestions

            self._asked = SetupQuestions(self._parts.window)
        return self._asked

    def save(self) -> None:
        """Keep the current version as a setup file."""
        from lagline.desk.setups.save_dialog import SaveSetupDialog

        session = self._parts.store.session
        if session is None:
            return
        dialog = SaveSetupDialog(session, self._parts.window)
        dialog.save_requested.connect(partial(self._save, dialog))
        self._parts.questions.show(dialog)

    def _save(self, dialog: SaveSetupDialog, setup: Setup) -> None:
        from lagline.deliver.names import safe_stem
        from lagline.session.setup import save_setup

        path = self._ask.where_to_save_setup(self._folder() / f"{safe_stem(setup.name)}{SUFFIX}")
        if path is None:
            return
        try:
            save_setup(setup, path)
        except LaglineError as error:
            dialog.show_failed(str(error))
            return
        self._parts.messages.show_note(f"Setup saved as {path.name}")
        dialog.accept()

    def apply(self) -> None:
        """Choose a setup, then put it on the open take and on further ones. Works without an open take."""
        from lagline.desk.setups.applying import ApplyingSetup
        from lagline.jobs.apply_setup import read_setup

        path = self._ask.setup_to_open(self._folder())
        if path is None:
            return
        try:
            setup = read_setup(path)
        except LaglineError as error:
            self._parts.messages.show_problem(str(error))
            return
        parts = self._parts
        applying = ApplyingSetup(
            setup, path, parts.store.session, parts.questions, self._ask, path.parent, parts.window
        )
        applying.edit_requested.connect(parts.edits.apply)
        applying.note.connect(parts.messages.show_note)
        parts.questions.show(applying.dialog)
        applying.close()
        applying.deleteLater()

    def _folder(self) -> Path:
        store = self._parts.store
        if store.session is None:
            return self._parts.settings.folder
        return proposed_folder(store.session, store.path)
