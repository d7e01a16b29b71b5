"""What the planner asks about files, apart from the window so that tests can answer."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtPrintSupport import QPrintDialog, QPrinter
from PySide6.QtWidgets import QDialog, QFileDialog, QWidget

from lagline.desk.questions import Questions, Unsaved
from lagline.session.plan import SUFFIX
from lagline.session.setup import SUFFIX as SETUP_SUFFIX

PLANS = f"Lagline plans (*{SUFFIX})"
SETUPS = f"Lagline setups (*{SETUP_SUFFIX})"


class PlanFiles:
    """Asks where to open or save a plan, its tables and pictures."""

    def __init__(self, parent: QWidget) -> None:
        self._parent = parent

    def plan_to_open(self) -> Path | None:
        """A plan file that the person chooses; None when they don't."""
        name, _ = QFileDialog.getOpenFileName(self._parent, "Open a plan", "", f"{PLANS};;All files (*)")
        return Path(name) if name else None

    def where_to_save_plan(self, name: str) -> Path | None:
        """A file for a plan of this name; None when the person doesn't choose one."""
        return self._where("Save the plan", name, SUFFIX, PLANS)

    def where_to_save_setup(self, name: str) -> Path | None:
        """A file for a setup of this name; None when the person doesn't choose one."""
        return self._where("Save as a setup", name, SETUP_SUFFIX, SETUPS)

    def printer(self) -> QPrinter | None:
        """A printer that the person chooses; None when they don't."""
        printer = QPrinter(QPrinter.PrinterMode.HighResolution)
        wanted = QPrintDialog(printer, self._parent).exec() == QDialog.DialogCode.Accepted
        return printer if wanted else None

    def unsaved(self, name: str) -> Unsaved:
        """What to do with unsaved changes to the plan of this name."""
        return Questions(self._parent).unsaved(name)

    def _where(self, title: str, name: str, suffix: str, kinds: str) -> Path | None:
        chosen, _ = QFileDialog.getSaveFileName(self._parent, title, f"{name}{suffix}", kinds)
        if not chosen:
            return None
        path = Path(chosen)
        return path if path.suffix == suffix else path.with_name(path.name + suffix)
