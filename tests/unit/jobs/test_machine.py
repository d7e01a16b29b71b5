"""What `lagline machine` finds where this or that is lacking."""

from __future__ import annotations

import importlib.util
import re
import sys
from importlib.machinery import ModuleSpec
from pathlib import Path

import pytest

from lagline.jobs import machine
from lagline.jobs.machine import Check, Diagnosis, examine
from lagline.playback.device import sound_system


@pytest.fixture(autouse=True)
def folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.setenv("LAGLINE_LOG_DIR", str(tmp_path / "log"))


def found(diagnosis: Diagnosis, name: str) -> Check:
    (check,) = [check for check in diagnosis.checks if check.name == name]
    return check


def a_window_opens() -> None:
    return None


def test_every_remedy_goes_with_something_wrong_and_the_other_way_round() -> None:
    diagnosis = examine(a_window_opens)
    assert [check.name for check in diagnosis.checks if bool(check.remedy) != (check.verdict != "good")] == []
    assert found(diagnosis, "window").verdict == "good"
    assert found(diagnosis, "own processes").verdict == "good"
    assert found(diagnosis, "demo takes").found.startswith("chapel")


def test_without_portaudio_the_rest_is_told_and_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)  # importing it fails
    diagnosis = examine(a_window_opens)
    check = found(diagnosis, "PortAudio")
    assert check.verdict == "missing"
    assert "PortAudio" in check.remedy or "libportaudio2" in check.remedy
    assert diagnosis.devices == ()
    assert found(diagnosis, "outputs").verdict == "note"
    assert found(diagnosis, "libsndfile").verdict == "good"
    assert not diagnosis.is_well


def test_without_qt_it_names_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    find = importlib.util.find_spec

    def without_qt(name: str, package: str | None = None) -> ModuleSpec | None:
        return None if name in ("PySide6", "pyqtgraph") else find(name, package)

    monkeypatch.setattr(importlib.util, "find_spec", without_qt)
    diagnosis = examine(lambda: "the window library PySide6 is not installed")
    assert found(diagnosis, "PySide6-Essentials").verdict == "missing"
    assert "pip install PySide6-Essentials" in found(diagnosis, "PySide6-Essentials").remedy
    assert found(diagnosis, "window").verdict == "note"


def test_no_screen_is_no_fault() -> None:
    check = found(examine(lambda: "there is no display"), "window")
    assert (check.verdict, check.remedy) == ("note", machine.NO_SCREEN)


def test_cache_is_weighed(tmp_path: Path) -> None:
    (tmp_path / "cache").mkdir()
    (tmp_path / "cache" / "a.overview").write_bytes(bytes(1_500_000))
    (tmp_path / "cache" / "b.rf64").write_bytes(bytes(500_000))
    diagnosis = examine(a_window_opens)
    assert (diagnosis.cache.size_bytes, diagnosis.cache.files) == (2_000_000, 2)
    assert "2.0 MB in 2 files" in found(diagnosis, "cache").found


def test_cache_in_the_way_of_a_file_is_noted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_bytes(b"")
    monkeypatch.setenv("LAGLINE_CACHE_DIR", str(tmp_path / "file" / "cache"))
    check = found(examine(a_window_opens), "cache")
    assert check.verdict == "note"
    assert "LAGLINE_CACHE_DIR" in check.remedy


def test_process_that_never_answers_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine, "START_WITHIN_S", 0.0)
    assert found(examine(a_window_opens), "own processes").verdict == "missing"


def test_portaudio_says_its_version() -> None:
    pytest.importorskip("sounddevice", exc_type=OSError)
    assert "PortAudio" in sound_system()


def test_what_to_install_is_what_readme_installs() -> None:
    root = Path(__file__).parents[3]
    assert "sh assets/packaging/linux_packages.sh &&" in (root / "README.md").read_text("utf-8")
    script = (root / "assets" / "packaging" / "linux_packages.sh").read_text("utf-8")
    (installed,) = re.findall(r'^packages="([^"]+)"', script, re.MULTILINE)
    named = machine.GET_WINDOW["linux"] + machine.GET_PORTAUDIO["linux"]
    assert [one for one in installed.split() if one not in named] == ["python3", "python3-venv"]
