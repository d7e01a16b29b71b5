"""A player without sound and a person who answers at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from msgspec.structs import replace
from PySide6.QtCore import QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QDialog

from lagline.desk.questions import Changed, Dropped, Elsewhere, Questions, Unsaved
from lagline.playback.protocol import OutputDevice
from lagline.playback.state import PlayState
from lagline.session.values import ORIGINAL_ID, Session


class FakePlayer:
    """Does what the real one says it does, except sounding. `told` lists what was asked, in order."""

    def __init__(self) -> None:
        self.now = PlayState(
            device_name="Fake output", is_silent=False, monitor_gain_db=-20.0, levels_known=True
        )
        self.session: Session | None = None
        self.told: list[tuple[object, ...]] = []
        self.is_closed = False

    def load(self, session: Session) -> None:
        new = self.session is None or {a.id for a in self.session.lanes} != {a.id for a in session.lanes}
        self.session = session
        self.told.append(("load",))
        if new:
            self.now = replace(self.now, playing=False, position=0, version_id=ORIGINAL_ID)
        self.now = replace(self.now, matching=session.level_match)

    def play(self) -> None:
        self._note("play", playing=True)

    def stop(self) -> None:
        self._note("stop", playing=False)

    def seek(self, position: int) -> None:
        self._note("seek", position=position)

    def select(self, version_id: str) -> None:
        if self.session is not None:
            self.session.version(version_id)
        self._note("select", version_id=version_id)

    def audition(self, version_id: str) -> None:
        self._note("audition", version_id=version_id, playing=True)

    def play_from(self, position: int) -> None:
        self._note("play_from", position=position, playing=True)

    def mix_from_lanes(self, on: bool) -> None:
        self.told.append(("mix", on))

    def set_dim(self, dim: bool) -> None:
        self._note("dim", is_dim=dim)

    def set_same_moment(self, on: bool) -> None:
        self._note("same moment", is_same_moment=on)

    def set_guard(self, rise_db: float, ceiling_dbfs: float) -> None:
        self._note("guard", most_rise_db=rise_db, ceiling_dbfs=ceiling_dbfs)

    def prepare(self) -> None:
        self.told.append(("prepare",))

    def set_difference(self, difference: bool) -> None:
        self._note("difference", difference=difference)

    def set_mono(self, mono: bool) -> None:
        self._note("mono", mono=mono)

    def set_monitor_gain(self, gain_db: float) -> None:
        self._note("monitor", monitor_gain_db=gain_db)

    def set_hidden(self, hidden: bool, version_ids: tuple[str, ...] = ()) -> None:
        self.told.append(("hidden", hidden, version_ids))

    def devices(self) -> tuple[OutputDevice, ...]:
        return (OutputDevice("Desk speakers", 2, 48_000, True), OutputDevice("Headphones", 2, 44_100))

    def set_device(
        self, name: str | None, *, rate_hz: int | None = None, block_frames: int | None = None
    ) -> None:
        self._note("device", device_name=name or "Fake output")

    def state(self) -> PlayState:
        return self.now

    def close(self) -> None:
        self.is_closed = True

    def say(self, message: str) -> None:
        self.now = replace(self.now, message=message, message_count=self.now.message_count + 1)

    def _note(self, what: str, **changes: object) -> None:
        self.told.append((what, *changes.values()))
        self.now = replace(self.now, **changes)  # type: ignore[arg-type]


class FakeQuestions(Questions):
    """Answers what the test has laid ready, and notes what was asked."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.open_answer: list[Path] = []
        self.folder_answer: Path | None = None
        self.save_answer: Path | None = None
        self.unsaved_answer: Unsaved = "stay"
        self.dropped_answer: Dropped = "open"
        self.elsewhere_answer: Elsewhere = "look"
        self.changed_answer: Changed = "stay"
        self.text_answer: str | None = None
        self.yes_answer = True
        self.with_dialog: Callable[[QDialog], None] | None = None
        self.suggested: list[Path] = []
        self.is_there = True

    @property
    def can_ask(self) -> bool:
        return self.is_there

    def files_to_open(self, folder: Path, *, sessions: bool = True) -> list[Path]:
        self.asked.append("open")
        return self.open_answer

    def folder_to_open(self, folder: Path, title: str = "") -> Path | None:
        self.asked.append("folder")
        return self.folder_answer

    def where_to_save(self, suggestion: Path) -> Path | None:
        self.asked.append("save")
        self.suggested.append(suggestion)
        return self.save_answer

    def unsaved(self, name: str) -> Unsaved:
        self.asked.append("unsaved")
        return self.unsaved_answer

    def dropped(self, names: Sequence[str], take: str) -> Dropped:
        self.asked.append("dropped")
        return self.dropped_answer

    def elsewhere(self, name: str, who: str) -> Elsewhere:
        self.asked.append("elsewhere")
        return self.elsewhere_answer

    def changed(self, name: str) -> Changed:
        self.asked.append("changed")
        return self.changed_answer

    def text(self, title: str, label: str, value: str) -> str | None:
        self.asked.append(f"text: {title}")
        return self.text_answer

    def yes(self, title: str, text: str, more: str, yes: str, no: str) -> bool:
        self.asked.append(f"yes: {title}")
        return self.yes_answer

    def missing(self, sentences: Sequence[str], folder: Path) -> Path | None:
        self.asked.append("missing")
        return self.folder_answer

    def show(self, dialog: QDialog) -> None:
        self.asked.append(f"dialog: {type(dialog).__name__}")
        self._dialog = dialog
        QTimer.singleShot(0, dialog, self._use_dialog)
        dialog.exec()
        dialog.deleteLater()

    def _use_dialog(self) -> None:
        """Inside the dialog's own event loop, once keys go to it."""
        dialog = self._dialog
        try:
            for _ in range(500):
                if dialog.isActiveWindow():
                    break
                QTest.qWait(10)
            if self.with_dialog is not None:
                self.with_dialog(dialog)
        finally:
            for _ in range(500):  # one that is writing stays until it is done
                if not dialog.isVisible() or dialog.close():
                    break
                QTest.qWait(10)
            dialog.done(0)
