"""The fence around fuzzed command lines: the test of the tests."""

from __future__ import annotations

import os
import shutil
import socket
from pathlib import Path

import pytest
import typer.main
from tests.robustness.fence import OutsideTheFence, only_below
from tests.robustness.targets import TARGETS

from lagline.cli import run
from lagline.jobs import many


@pytest.fixture(autouse=True)
def own_pool(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(many, "_pool", many._pool)  # the target puts threads there; take it back
    monkeypatch.setattr(typer.main, "get_command", typer.main.get_command)  # and a memory there


def test_below_the_folder_everything_is_free(tmp_path: Path) -> None:
    with only_below(tmp_path):
        (tmp_path / "a").mkdir()
        (tmp_path / "a" / "b").write_text("x")
        (tmp_path / "a" / "b").rename(tmp_path / "c")
        shutil.rmtree(tmp_path / "a")
        assert Path(os.devnull).write_text("x") == 1


def test_outside_nothing_is_written_moved_or_removed(tmp_path: Path) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "x").write_text("kept")
    with only_below(inside):
        assert (tmp_path / "x").read_text() == "kept"
        for change in (
            lambda: (inside / ".." / "y").write_text("new"),
            lambda: (tmp_path / "x").open("a"),
            lambda: (tmp_path / "x").unlink(),
            lambda: (tmp_path / "x").rename(inside / "x"),
            lambda: (tmp_path / "d").mkdir(),
        ):
            with pytest.raises(OutsideTheFence):
                change()
    assert {path.name for path in tmp_path.iterdir()} == {"inside", "x"}
    (tmp_path / "y").write_text("the fence is gone")


def test_no_connection_is_made(tmp_path: Path) -> None:
    with socket.socket() as one, only_below(tmp_path), pytest.raises(OutsideTheFence):
        one.connect(("127.0.0.1", 9))


def test_a_command_that_writes_elsewhere_would_be_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run, "_run_command", lambda _words, _desk: (tmp_path / "x").write_text("x"))
    with pytest.raises(AssertionError, match="OutsideTheFence"):
        TARGETS["command lines"].run(b"--version")
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize("words", ("align /etc", "align ~", "align ../x", "align --out=/x", "align -o/x"))
def test_command_lines_that_name_other_places_are_left_out(words: str) -> None:
    assert TARGETS["command lines"].run(words.replace(" ", "\0").encode()) == "left out"
