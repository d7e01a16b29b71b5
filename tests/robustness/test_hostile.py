"""Sessions and names made to do harm: refused, or shown as the text they are."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QSettings
from PySide6.QtGui import Qt
from PySide6.QtWidgets import QLabel, QMessageBox, QWidget
from pytestqt.qtbot import QtBot
from tests.support.click_take import write_click_take
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.analysis.options import AnalysisOptions
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.report import report_html
from lagline.deliver.report_values import Measured
from lagline.deliver.sheet import delay_sheet
from lagline.deliver.sheet_text import sheet_csv
from lagline.desk.questions import Questions
from lagline.desk.window import DeskWindow
from lagline.errors import LaglineError, SessionUnreadable
from lagline.jobs.hand_over import hand_over_take
from lagline.jobs.line_up import line_up
from lagline.jobs.sources import source_problems
from lagline.session import edits
from lagline.session.checks import MOST_LANES
from lagline.session.storage import load, save
from lagline.session.values import Lane, Session, Source

MARK = "<img src='file:///etc/hostname'>"
NAMES = (f"{MARK} near", "</td><script>alert(1)</script>side", "<h1>room</h1>&amp;{{ 7*7 }}")
FORMULAS = ("=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(1)", "\t=1", "\r=1")


@pytest.fixture
def take(tmp_path: Path) -> Session:
    """Three lanes with markup in every name and text there is."""
    session = write_click_take(tmp_path / "take", {"near": 0, "side": 56, "room": 96})
    for lane, name in zip(session.lanes, NAMES, strict=True):
        session = edits.with_lane_name(session, lane.id, name)
    session = edits.with_new_version(session, f"{MARK} version")
    version = replace(session.current_version, note=f"{MARK} note")
    session = edits.with_version(session, version)
    session = replace(session, name=f"{MARK} take", notes=f"{MARK} notes")
    return edits.with_alignment(session, line_up(session, AnalysisOptions()))


def tree(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


# what reads markup


def rich_texts(root: QWidget) -> Iterator[str]:
    """Every text below a widget that Qt would read as markup, and that holds ours."""
    for widget in (root, *root.findChildren(QWidget)):
        if MARK in widget.toolTip() and Qt.mightBeRichText(widget.toolTip()):
            yield f"tooltip of {type(widget).__name__}: {widget.toolTip()}"
        if (
            isinstance(widget, QLabel)
            and MARK in widget.text()
            and is_rich(widget.textFormat(), widget.text())
        ):
            yield f"{type(widget).__name__} {widget.objectName()}: {widget.text()}"


def is_rich(text_format: Qt.TextFormat, text: str) -> bool:
    if text_format == Qt.TextFormat.AutoText:
        return Qt.mightBeRichText(text)
    return text_format != Qt.TextFormat.PlainText


def test_the_search_finds_markup(qtbot: QtBot) -> None:
    label = QLabel(MARK)
    qtbot.addWidget(label)
    label.setToolTip(MARK)
    assert len(list(rich_texts(label))) == 2


def test_the_desk_shows_names_as_they_are(take: Session, tmp_path: Path, qtbot: QtBot) -> None:
    settings = QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)
    window = DeskWindow(FakePlayer(), settings, FakeQuestions())
    qtbot.addWidget(window)
    window.show()
    window.parts.side.build()
    window.show_take(take)
    qtbot.waitUntil(window.is_drawn, timeout=20_000)
    tabs = window.parts.side.tabs
    for index in range(tabs.count()):
        tabs.setCurrentIndex(index)
        qtbot.wait(60)
    found = list(rich_texts(window))
    shown = [widget.text() for widget in window.findChildren(QLabel) if MARK in widget.text()]
    window.close()
    assert shown, "the names are not in the window at all"
    assert not found, "\n".join(found)


def test_questions_show_names_as_they_are(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[QMessageBox] = []

    def look(box: QMessageBox) -> int:
        seen.append(box)
        return 0

    parent = QWidget()
    qtbot.addWidget(parent)
    monkeypatch.setattr(QMessageBox, "exec", look)
    questions = Questions(parent)
    questions.unsaved(MARK)
    questions.yes("Title", MARK, MARK, "Yes", "No")
    assert len(seen) == 2
    for box in seen:
        assert not list(rich_texts(box))


# reports and tables


def test_the_report_holds_no_markup_of_names(take: Session) -> None:
    page = report_html(take, take.current_version, Measured())
    assert MARK not in page and "<h1>room" not in page and "alert(1)</script>" not in page
    assert "&lt;img src=" in page and "{{ 7*7 }}" in page


@pytest.mark.parametrize("formula", FORMULAS)
def test_no_cell_of_a_sheet_is_a_formula(take: Session, formula: str) -> None:
    lane = replace(take.lanes[0], name=formula)
    session = replace(take, name=formula, lanes=(lane, *take.lanes[1:]))
    version = replace(session.current_version, name=formula, note=formula)
    rows = list(csv.reader(io.StringIO(sheet_csv(delay_sheet(session, version)), newline="")))
    for cell in (cell for row in rows for cell in row):
        assert not cell.startswith(("=", "+", "@", "\t", "\r")), cell
        assert not cell.startswith("-") or _is_number(cell), cell


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def test_names_make_no_folders(take: Session, tmp_path: Path) -> None:
    names = ("../../escape", "/absolute", "a/../../b")
    for lane, name in zip(take.lanes, names, strict=True):
        take = edits.with_lane_name(take, lane.id, name)
    out = tmp_path / "deep" / "out"
    done = hand_over_take(take, out, take.current_version_id, DeliveryOptions())
    assert all(path.is_relative_to(out) and ".." not in path.parts for path in done.paths)
    assert {path.name for path in tmp_path.iterdir()} <= {"take", "deep"}


# session files


def test_opening_writes_nothing_and_runs_nothing(
    take: Session, tmp_path: Path, no_surprise: list[str]
) -> None:
    file = tmp_path / "take.lagline"
    save(take, file)
    before = tree(tmp_path)
    source_problems(load(file))  # the first time may import and compile
    no_surprise.clear()
    source_problems(load(file))
    assert tree(tmp_path) == before
    assert no_surprise == []


_RUNS = (
    "subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.spawn", "os.fork", "socket.connect",
    "socket.bind", "socket.getaddrinfo", "exec", "compile", "import", "pickle.find_class", "ctypes.dlopen",
    "os.remove", "os.rename", "os.mkdir", "os.rmdir", "os.chmod", "os.link", "os.symlink",
)  # fmt: skip
_heard: list[str] | None = None


def _listen(event: str, arguments: tuple[Any, ...]) -> None:
    if _heard is None:
        return
    if event in _RUNS:
        _heard.append(f"{event} {arguments[:1]}")
    if event == "open" and isinstance(arguments[1], str) and set(arguments[1]) & set("wax+"):
        _heard.append(f"open {arguments[0]!r} to write")


sys.addaudithook(_listen)


@pytest.fixture
def no_surprise() -> Iterator[list[str]]:
    """What the interpreter was asked to run, write or connect to."""
    global _heard
    _heard = []
    yield _heard
    _heard = None


def test_the_watch_sees_a_written_file(tmp_path: Path, no_surprise: list[str]) -> None:
    (tmp_path / "x").write_text("")
    assert any("to write" in heard for heard in no_surprise)


def test_paths_outside_are_only_read_as_recordings(tmp_path: Path) -> None:
    """A session may name any file. It is opened for reading as audio, and refused when it is none."""
    secret = tmp_path / "secret.txt"
    secret.write_text("a password")
    for named in (
        secret,
        Path("/etc/passwd"),
        Path("/dev/zero"),
        Path("/dev/stdin"),
        tmp_path,
        Path("/proc/self/mem"),
    ):
        source = Source(named, 0, 48_000, 100, 344)
        session = Session(rate_hz=48_000, lanes=(Lane("a", "Near", source),))
        save(session, tmp_path / "take.lagline")
        (problem,) = source_problems(load(tmp_path / "take.lagline"))
        assert "password" not in problem.sentence


def test_links_in_circles_and_out_are_no_harm(tmp_path: Path) -> None:
    (tmp_path / "circle.wav").symlink_to(tmp_path / "circle.wav")
    source = Source(tmp_path / "circle.wav", 0, 48_000, 100, 344)
    save(Session(rate_hz=48_000, lanes=(Lane("a", "Near", source),)), tmp_path / "take.lagline")
    (problem,) = source_problems(load(tmp_path / "take.lagline"))
    assert "circle.wav" in problem.sentence
    link = tmp_path / "link.lagline"
    link.symlink_to("/dev/zero")
    with pytest.raises(LaglineError):
        load(link)


def test_thousands_of_lanes_are_refused(tmp_path: Path) -> None:
    source = Source(tmp_path / "x.wav", 0, 48_000, 100, 344)
    lanes = tuple(Lane(f"lane-{n}", f"Lane {n}", source) for n in range(MOST_LANES + 1))
    save(Session(rate_hz=48_000, lanes=lanes), tmp_path / "take.lagline")
    with pytest.raises(SessionUnreadable, match="lanes are more"):
        load(tmp_path / "take.lagline")


WATCHED = """
import os, sys
def listen(event, arguments):
    if event.startswith(("socket.connect", "socket.bind", "socket.get", "socket.send", "urllib")):
        os.write(2, f"NETWORK {event} {arguments}\\n".encode())
    if event == "open" and isinstance(arguments[1], str) and set(arguments[1]) & set("wax+"):
        os.write(2, f"WRITES {arguments[0]}\\n".encode())
sys.addaudithook(listen)
from lagline.__main__ import main
sys.exit(main(["demo", "--out", sys.argv[1]]))
"""


def test_the_demo_opens_no_socket_and_writes_where_it_says(tmp_path: Path) -> None:
    """From end to end, in a process of its own that tells of every socket and every file it writes."""
    own = {
        name: str(tmp_path / name) for name in ("LAGLINE_CACHE_DIR", "LAGLINE_STATE_DIR", "LAGLINE_LOG_DIR")
    }
    done = subprocess.run(
        [sys.executable, "-B", "-c", WATCHED, str(tmp_path / "demo")],
        env={**os.environ, **own},
        capture_output=True,
        text=True,
        timeout=250,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "NETWORK" not in done.stderr
    written = [
        line.removeprefix("WRITES ") for line in done.stderr.splitlines() if line.startswith("WRITES ")
    ]
    named = [Path(name) for name in written if not name.isdecimal()]  # numbers are files already open
    assert any(path.is_relative_to(tmp_path / "demo") for path in named)
    outside = [path for path in named if not path.is_relative_to(tmp_path) and path != Path(os.devnull)]
    assert outside == []
