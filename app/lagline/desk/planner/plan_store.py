"""The plan that is open in the planner, with its history."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

from PySide6.QtCore import QObject, Signal

from lagline.desk.store import SessionStore
from lagline.session.plan import Plan


class PlanStore(QObject):
    """One undo step an edit, as in the desk; a drag is one step."""

    changed = Signal(object)  # the new Plan
    history_changed = Signal()

    def __init__(self, plan: Plan, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._history = SessionStore(self)  # it knows no session logic: any frozen value will do
        self._history.changed.connect(self.changed)
        self._history.history_changed.connect(self.history_changed)
        self.open(plan)

    @property
    def plan(self) -> Plan:
        """The plan as it is now."""
        return cast(Plan, cast(Any, self._history.session))

    @property
    def path(self) -> Path | None:
        """Its file; None before it is saved."""
        return self._history.path

    @property
    def is_modified(self) -> bool:
        """Whether it differs from what was opened or saved last."""
        return self._history.is_modified

    @property
    def undo_name(self) -> str | None:
        """Name of the step that undo takes back; None at the beginning."""
        return self._history.undo_name

    @property
    def redo_name(self) -> str | None:
        """Name of the step that redo takes again; None at the end."""
        return self._history.redo_name

    def open(self, plan: Plan, path: Path | None = None) -> None:
        """Start over with another plan and an empty history."""
        self._history.open(cast(Any, plan), path)

    def apply(self, name: str, edit: Callable[[Plan], Plan], group: str | None = None) -> None:
        """Raises what the edit raises (ValueError, NotInSession); then nothing is changed."""
        self._history.apply(name, cast(Any, edit), group)

    def end_group(self) -> None:
        """Let the next edit be a step of its own, whatever its group."""
        self._history.end_group()

    def undo(self) -> None:
        """Take the last step back; does nothing at the beginning."""
        self._history.undo()

    def redo(self) -> None:
        """Take the step again that was taken back; does nothing at the end."""
        self._history.redo()

    def mark_saved(self, path: Path) -> None:
        """The plan as it is now is what `path` holds."""
        self._history.mark_saved(path)
