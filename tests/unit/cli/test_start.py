"""What the first second of a start must not load, and what must be known without loading it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from tests.support.desk_door import NotedDesk

from lagline.cli.app import app
from lagline.cli.command_names import COMMANDS
from lagline.cli.run import run


def loaded_by(statement: str) -> set[str]:
    """The top-level modules in a new interpreter after a statement."""
    code = f"import sys\n{statement}\nprint('modules', *{{name.split('.')[0] for name in sys.modules}})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.splitlines()[-1].split()[1:])


def test_names_are_those_of_the_commands() -> None:
    assert {command.name for command in app.registered_commands} == COMMANDS


def test_version_loads_nothing_slow() -> None:
    loaded = loaded_by("from lagline.__main__ import main; main(['--version'])")
    assert loaded.isdisjoint({"numpy", "typer", "msgspec", "PySide6", "scipy", "sounddevice", "rich"})


def test_way_to_the_desk_loads_no_command_line_and_no_plots() -> None:
    loaded = loaded_by("import lagline.cli.run, lagline.desk.app")
    assert "PySide6" in loaded
    assert loaded.isdisjoint({"typer", "rich", "pyqtgraph", "scipy", "sounddevice", "jinja2", "pyloudnorm"})


def test_commands_load_no_window_and_no_sound() -> None:
    loaded = loaded_by("import lagline.cli.app")
    assert loaded.isdisjoint({"PySide6", "pyqtgraph", "scipy", "sounddevice", "soundfile"})


def test_a_fault_of_ours_goes_into_the_log(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Broken(NotedDesk):
        def open(self, paths: object, *, measure: bool = False) -> int:
            raise ZeroDivisionError("made up")

    monkeypatch.setenv("LAGLINE_LOG_DIR", str(tmp_path))
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    assert run([], Broken()) == 1
    said = capsys.readouterr().err
    assert "ZeroDivisionError" in said and str(tmp_path / "command-line.log") in said
    assert "made up" in (tmp_path / "command-line.log").read_text("utf-8")
