"""What is said when a command cannot do what was asked: the file, and the next step."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.desk_door import NotedDesk
from tests.support.takes import noise_take

from lagline.cli import deliver as deliver_module
from lagline.cli.run import run
from lagline.session.storage import save
from lagline.session.values import Move, Session, Version


def lagline(*arguments: object) -> int:
    return run([str(argument) for argument in arguments], NotedDesk())


@pytest.fixture
def session(tmp_path: Path) -> Session:
    versions = (
        Version("v1", "Close", {"near": Move(12.0)}),
        Version("v2", "Wide", {"near": Move(40.5, -1), "room": Move(3.0)}),
    )
    return replace(noise_take(tmp_path / "take", frames=24_000), versions=versions)


@pytest.fixture
def session_file(tmp_path: Path, session: Session) -> Path:
    path = tmp_path / "take.lagline"
    save(session, path)
    return path


def said(capsys: pytest.CaptureFixture[str]) -> str:
    printed = capsys.readouterr()
    assert printed.out == ""
    return printed.err


def test_rendering_again_offers_to_overwrite(
    tmp_path: Path, session_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert lagline("render", session_file, "--out", tmp_path / "out") == 0
    capsys.readouterr()
    assert lagline("render", session_file, "--out", tmp_path / "out") == 1
    message = said(capsys)
    assert "Near - Close.wav" in message and "--overwrite" in message
    assert lagline("render", session_file, "--out", tmp_path / "out", "--overwrite") == 0


def test_a_recording_in_the_way_is_never_offered(
    session: Session, session_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = session.lanes[0].source.path.parent
    aligned = folder / "aligned"
    aligned.symlink_to(folder, target_is_directory=True)
    assert lagline("render", session_file, "--out", folder, "--names", "{lane}") == 1
    message = said(capsys)
    assert "own recordings" in message and "--overwrite" not in message


@pytest.mark.parametrize(
    ("place", "options", "words"),
    [
        ("out", ("--names", "{colour}"), "{take}, {lane}"),
        ("a file", (), "A file is where a folder should be"),
        ("there", (), "--overwrite"),
    ],
)
def test_what_cannot_be_written_is_said_before_measuring(
    tmp_path: Path,
    session: Session,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    place: str,
    options: tuple[str, ...],
    words: str,
) -> None:
    (tmp_path / "a file").touch()
    (tmp_path / "there" / "aligned").mkdir(parents=True)
    (tmp_path / "there" / "aligned" / "take - Near - Shifted.wav").touch()
    monkeypatch.setattr(deliver_module, "_measured", lambda *_: pytest.fail("it was measured"))
    folder = session.lanes[0].source.path.parent
    assert lagline("render", folder, "--out", tmp_path / place, *options) == 1
    assert words in said(capsys)


def test_all_versions_are_printed_when_asked(
    tmp_path: Path, session_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert (
        lagline("render", session_file, "--out", tmp_path / "out", "--all-versions", "--version", "wide") == 0
    )
    names = {path.name for path in (tmp_path / "out").glob("*.wav")}
    assert names == {f"Invented take - blend - {name}.wav" for name in ("Original", "Close", "Wide")}
    assert len(list((tmp_path / "out" / "aligned").glob("*Wide.wav"))) == 3


def test_blends_are_left_as_mixed_only_when_asked(
    tmp_path: Path, session_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for folder, options in (("room", ("--true-peak", "-20")), ("mixed", ("--as-mixed",))):
        assert lagline("render", session_file, "--out", tmp_path / folder, *options) == 0
        assert ("so that none peaks above -20 dBTP" in capsys.readouterr().err) == (folder == "room")
        files = json.loads((tmp_path / folder / "delivery.json").read_text("utf-8"))["files"]
        gains = {file["gain_db"] for file in files if file["kind"] == "blend"}
        assert len(gains) == 1
        assert (gains == {0.0}) == (folder == "mixed")
    assert lagline("render", session_file, "--out", tmp_path / "no", "--true-peak", "3") == 2


def test_flac_is_written_when_asked(
    tmp_path: Path, session_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ("--format", "flac", "--depth", "float")
    assert lagline("render", session_file, "--out", tmp_path / "out", *options) == 0
    printed = capsys.readouterr()
    assert "Few editors read a time stamp" in printed.err and "24 bits" in printed.err
    assert not list((tmp_path / "out").rglob("*.wav")) and len(list((tmp_path / "out").rglob("*.flac"))) == 5


@pytest.mark.parametrize(
    "arguments",
    [
        ("render", "{session}", "{take}", "--out", "out"),
        ("render", "{session}", "--out", "out", "--anchor", "near"),
        ("render", "{session}", "--out", "out", "--from", "1"),
        ("render", "{take}", "--out", "out", "--version", "wide"),
        ("sheet", "{session}", "--csv", "--html"),
        ("plan", "near"),
        ("plan", "near=1m", "far"),
    ],
)
def test_what_does_not_go_together_is_wrong_usage(
    session: Session, session_file: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    take = session.lanes[0].source.path.parent
    assert lagline(*(word.format(session=session_file, take=take) for word in arguments)) == 2
    assert "Usage" in said(capsys)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("batch", "{tmp}/nosuch"), ("nosuch is missing", "folder that holds the takes")),
        (("batch", "{session}"), ("take.lagline is not a folder",)),
        (("merge", "{tmp}/nosuch", "--out", "{tmp}/merged"), ("nosuch holds no results", "lagline batch")),
        (("sheet", "{tmp}/take"), ("take cannot be read", "it is a folder", "Give a session file")),
        (("report", "{tmp}/take/Near.wav"), ("Near.wav cannot be read", "Give a session file")),
        (("align", "{session}"), ("take.lagline is a session file", "Give the recordings")),
        (("plan", "nosuch.lagline-plan"), ("nosuch.lagline-plan is missing",)),
        (("apply", "{tmp}/take/Near.wav", "{tmp}/take"), ("Near.wav cannot be read as a Lagline setup",)),
    ],
)
def test_the_wrong_thing_is_named_with_the_next_step(
    tmp_path: Path,
    session_file: Path,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    words: tuple[str, ...],
) -> None:
    assert lagline(*(word.format(session=session_file, tmp=tmp_path) for word in arguments)) == 1
    message = said(capsys)
    assert all(word in message for word in words), message


def test_a_damaged_session_points_to_its_restore_point_only_when_there_is_one(
    session: Session, session_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    session_file.write_text("{")
    assert lagline("sheet", session_file) == 1
    assert "is kept" not in said(capsys)
    save(session, session_file)
    save(replace(session, notes="new"), session_file)
    session_file.write_text("{")
    assert lagline("sheet", session_file) == 1
    assert "is kept: open the session in the desk to take it back" in said(capsys)


def test_a_lane_alone_is_said_once(session: Session, capsys: pytest.CaptureFixture[str]) -> None:
    assert lagline("align", session.lanes[0].source.path) == 1
    assert "only lane" not in said(capsys)


def test_the_sheet_is_shown_as_a_table_and_as_a_page(
    tmp_path: Path, session_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert lagline("sheet", session_file, "--html") == 0
    assert capsys.readouterr().out.startswith("<!DOCTYPE html>")
    assert lagline("sheet", session_file, "--csv", "--out", tmp_path / "sheet.csv") == 0
    assert (tmp_path / "sheet.csv").read_text("utf-8").startswith("take,version,lane")


def test_results_of_another_archive_are_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for archive in ("old", "new"):
        for song in ("a", "b"):
            (tmp_path / archive / song).mkdir(parents=True)
            for name in ("near.wav", "far.wav"):
                (tmp_path / archive / song / name).write_bytes(b"not audio")
    out = tmp_path / "results"
    assert lagline("batch", tmp_path / "old", "--out", out, "--workers", 1) == 1  # nothing could be measured
    assert (out / "report.html").is_file()
    capsys.readouterr()
    for other in ((tmp_path / "new",), (tmp_path / "old", "--pattern", "{take}_{lane}")):
        assert lagline("batch", *other, "--out", out) == 1
        message = said(capsys)
        assert "can't be continued" in message or "No take" in message
    (tmp_path / "moved").mkdir()
    for name in ("old", "results"):
        (tmp_path / name).rename(tmp_path / "moved" / name)
    moved = tmp_path / "moved"
    assert lagline("batch", moved / "old", "--out", moved / "results", "--workers", 1) == 1
    assert "2 failed" in capsys.readouterr().out


def test_the_report_is_written_as_a_page_and_as_a_pdf(
    tmp_path: Path, session_file: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = NotedDesk()
    assert run(["report", str(session_file), "--pdf", "--out", str(tmp_path / "r.html")], desk) == 0
    assert desk.pages == [(tmp_path / "r.html").read_text("utf-8")]
    assert (tmp_path / "r.pdf").read_bytes().startswith(b"%PDF")
    (tmp_path / "r.html").unlink()
    assert run(["report", str(session_file), "--pdf", "--out", str(tmp_path / "r.html")], desk) == 1
    assert not (tmp_path / "r.html").exists()  # the PDF stood in the way

    assert run(["report", str(session_file), "--out", str(tmp_path / "only.pdf")], desk) == 0
    assert (tmp_path / "only.pdf").read_bytes().startswith(b"%PDF")
    assert "<html" in (tmp_path / "only.html").read_text("utf-8")

    def missing(_: str) -> bytes:
        raise ImportError("PySide6")

    monkeypatch.setattr(desk, "paper", missing)
    capsys.readouterr()
    assert run(["report", str(session_file), "--pdf", "--out", str(tmp_path / "s.html")], desk) == 1
    assert "PySide6" in capsys.readouterr().err and not (tmp_path / "s.html").exists()


def test_the_help_of_the_level_match_says_among_which_versions(capsys: pytest.CaptureFixture[str]) -> None:
    assert lagline("render", "--help") == 0
    words = " ".join(capsys.readouterr().out.replace("│", " ").split())
    assert "quietest of all versions" in words and "quieter one" not in words


def test_a_report_keeps_the_whole_name_that_was_given(tmp_path: Path, session_file: Path) -> None:
    def written(*words: str) -> list[str]:
        before = set(tmp_path.iterdir())
        assert run(["report", str(session_file), *words], NotedDesk()) == 0
        return sorted(path.name for path in set(tmp_path.iterdir()) - before)

    assert written("-o", str(tmp_path / "mix 1.2"), "--pdf") == ["mix 1.2.html", "mix 1.2.pdf"]
    assert written("-o", str(tmp_path / "mix 1.3.PDF")) == ["mix 1.3.PDF", "mix 1.3.html"]
    assert written("-o", str(tmp_path / "mix 1.4.html"), "--pdf") == ["mix 1.4.html", "mix 1.4.pdf"]
    assert written("-o", str(tmp_path / "mix 1.5")) == ["mix 1.5"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize(
    "words", [("render", "{session}", "-o", "{out}"), ("report", "{session}"), ("check", "{session}")]
)
def test_a_named_pipe_where_a_recording_was_is_not_waited_for(
    tmp_path: Path, session: Session, session_file: Path, words: Sequence[str]
) -> None:
    path = session.lanes[1].source.path
    path.unlink()
    os.mkfifo(path)
    arguments = [word.format(session=session_file, out=tmp_path / "out") for word in words]
    command = [sys.executable, "-m", "lagline", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 1
    assert "Far.wav is not a file" in done.stdout + done.stderr
    assert not (tmp_path / "out").exists()
