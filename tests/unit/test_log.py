"""The log: it turns over, it is bounded, and what is copied of it names nobody."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from lagline import log


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("LAGLINE_LOG_DIR", str(tmp_path / "log"))
    yield tmp_path / "log"
    log.stop_log()


def test_log_turns_over_and_keeps_three_old_files(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log, "MOST_BYTES", 1_000)
    log.keep_log("desk")
    for number in range(200):
        logging.getLogger("lagline.test").warning("number %d", number)
    assert sorted(path.name for path in folder.iterdir()) == [
        "desk.log",
        *(f"desk.log.{n}" for n in (1, 2, 3)),
    ]
    assert all(path.stat().st_size <= 1_000 for path in folder.iterdir())
    assert log.last_lines(log.log_file("desk"))[-1].endswith("number 199")


def test_keeping_it_twice_writes_every_line_once(folder: Path) -> None:
    log.keep_log("desk")
    log.keep_log("desk")
    logging.getLogger("lagline.test").warning("once")
    assert (folder / "desk.log").read_text("utf-8").count("once") == 1


def test_details_hold_problem_versions_and_log_but_no_home(folder: Path) -> None:
    log.keep_log("desk")
    logging.getLogger("lagline.test").warning("lost %s", Path.home() / "takes" / "near.wav")
    text = log.details("near.wav is missing.", "desk")
    assert text.startswith("near.wav is missing.\n")
    assert "Python 3." in text
    assert f"lost {Path('~') / 'takes' / 'near.wav'}" in text
    assert str(Path.home()) not in text


def test_folder_that_cannot_be_made_raises(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_bytes(b"")
    monkeypatch.setenv("LAGLINE_LOG_DIR", str(tmp_path / "file" / "log"))
    with pytest.raises(OSError, match="log"):
        log.keep_log("desk")
