"""A real desk in a process of its own, told what to do and what to answer: `python desk_by_wire.py`.

Reads a JSON object a line ({"do": "open", "paths": [...]}) and answers each with one line: what is on the
desk, what was asked and what was told since the last. The player is silent and the person answers at once;
windows, files, timers and threads are real. `WiredDesk` is the other end.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 90.0


class WiredDesk:
    """The end that tests hold: `tell` waits for the answer; `kill` is SIGKILL."""

    def __init__(self, folder: Path, *, state: Path | None = None, name: str = "desk") -> None:
        self.folder = folder
        own = {
            "LAGLINE_STATE_DIR": str(state or folder / "state"),
            "LAGLINE_CACHE_DIR": str(folder / "cache"),
            "LAGLINE_LOG_DIR": str(folder / "logs"),
            "QT_QPA_PLATFORM": "offscreen",
            "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "app")]),
        }
        folder.mkdir(parents=True, exist_ok=True)
        self._said = (folder / f"{name}.err").open("wb")
        self.process = subprocess.Popen(
            [sys.executable, str(Path(__file__)), str(folder / f"{name}.ini")],
            env={**os.environ, **own},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._said,
            text=True,
        )

    def tell(self, do: str, **more: Any) -> dict[str, Any]:
        """Raises BrokenPipeError when the desk is gone, AssertionError with what it said when it failed."""
        self.send(do, **more)
        return self.answer()

    def send(self, do: str, **more: Any) -> None:
        """Without waiting for what comes of it."""
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps({"do": do, **more}, default=str) + "\n")
        self.process.stdin.flush()

    def answer(self) -> dict[str, Any]:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if not line:
            raise BrokenPipeError(Path(self._said.name).read_text("utf-8", "replace")[-3000:])
        answer: dict[str, Any] = json.loads(line)
        assert "failed" not in answer, answer
        return answer

    def until(self, is_so: Any, seconds: float = 20.0, **more: Any) -> dict[str, Any]:
        """Look again and again; what was asked and told meanwhile is gathered."""
        end = time.monotonic() + seconds
        asked: list[str] = []
        told: list[str] = []
        while True:
            state = self.tell("look", **more)
            asked, told = asked + state["asked"], told + state["told"]
            if is_so({**state, "asked": asked, "told": told}):
                return {**state, "asked": asked, "told": told}
            assert time.monotonic() < end, {**state, "asked": asked, "told": told}
            time.sleep(0.1)

    def kill(self) -> None:
        self.process.kill()
        self._over()

    def end(self) -> None:
        """In order, as a person closes the window; changes are let go."""
        if self.process.poll() is None:
            self.tell("quit")
        self._over()

    def _over(self) -> None:
        self.process.wait(PATIENCE_S)
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdout.close()
        with suppress(BrokenPipeError):
            self.process.stdin.close()
        self._said.close()


def main(settings_file: Path) -> int:
    from msgspec.structs import replace
    from PySide6.QtCore import QObject, QSettings, Qt, Signal
    from PySide6.QtWidgets import QApplication
    from tests.support.fake_desk import FakePlayer, FakeQuestions

    from lagline.desk.app import _begin
    from lagline.desk.window import DeskWindow
    from lagline.session.storage import load

    class Wire(QObject):
        came = Signal(str)

        def read(self) -> None:
            for line in sys.stdin:
                self.came.emit(line)
            self.came.emit('{"do": "quit"}')

    application = QApplication([])
    settings = QSettings(str(settings_file), QSettings.Format.IniFormat)
    settings.setValue("welcomed", True)
    settings.setValue("caution_read", True)
    questions = FakeQuestions()
    window = DeskWindow(FakePlayer(), settings, questions)
    window.show()
    files, store = window.parts.files, window.parts.store
    told: list[str] = []
    for told_by in (files.problem, files.note):
        told_by.connect(told.append)

    def settle() -> None:
        end = time.monotonic() + PATIENCE_S
        while files._job is not None and time.monotonic() < end:
            application.processEvents()
            time.sleep(0.002)
        application.processEvents()

    def look() -> dict[str, Any]:
        session = store.session
        state = {
            "session": session is not None,
            "notes": None if session is None else session.notes,
            "path": None if store.path is None else str(store.path),
            "modified": store.is_modified,
            "title": window.windowTitle(),
            "undo": store.undo_name,
            "redo": store.redo_name,
            "missing": [] if session is None else [
                lane.name for lane in session.lanes if not lane.source.path.exists()
            ],
            "message": window.parts.messages.text,
            "offered": window.parts.messages._action.text(),
            "asked": list(questions.asked),
            "told": list(told),
            "at": time.monotonic(),
        }  # fmt: skip
        questions.asked.clear()
        told.clear()
        return state

    def obey(words: dict[str, Any]) -> None:
        do = words["do"]
        for name, value in words.get("answers", {}).items():
            is_path = name in ("save_answer", "folder_answer") and value is not None
            setattr(questions, name, Path(value) if is_path else value)
        if do == "begin":
            _begin(window, [Path(path) for path in words.get("paths", [])])
        elif do == "open":
            files.open([Path(path) for path in words["paths"]])
        elif do == "edit":
            store.apply(f"Note {words['notes']}", lambda old: replace(old, notes=words["notes"]))
        elif do == "run":
            window.commands.view.run(words["command"])
        elif do == "call":
            getattr(files, words["name"])()
        elif do == "load":
            store.apply("Load", lambda _old: load(Path(words["path"])))
        elif do != "look":
            raise ValueError(do)
        settle()

    def took(line: str) -> None:
        words = json.loads(line)
        if words["do"] == "quit":
            questions.unsaved_answer = words.get("unsaved", "discard")
            window.close()
            print(json.dumps(look()), flush=True)
            os.close(0)
            application.quit()
            return
        try:
            obey(words)
            answer: dict[str, Any] = look()
        except Exception as error:  # noqa: BLE001 - told at the other end
            answer = {"failed": f"{type(error).__name__}: {error}"}
        print(json.dumps(answer), flush=True)

    wire = Wire()
    wire.came.connect(took, Qt.ConnectionType.QueuedConnection)
    threading.Thread(target=wire.read, daemon=True).start()
    application.exec()
    sys.stdout.flush()
    os._exit(0)  # the reading thread sits in a read that nothing ends


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
