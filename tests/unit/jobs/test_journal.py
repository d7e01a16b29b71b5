"""The journal survives a crash at any byte."""

from __future__ import annotations

from pathlib import Path

import pytest

from lagline.errors import JournalMismatch, NoBatch
from lagline.jobs.journal import NAME, Journal, LaneResult, TakeResult, finished, read_journal

RESULTS = [
    TakeResult(
        "song 1", "done", rate_hz=48000, anchor="far", lanes=(LaneResult("near", "strong", -9.5, -1, 9.5),)
    ),
    TakeResult("song 2", "failed", error="near.wav holds no audio"),
    TakeResult("søng 3", "done"),
]


def written(folder: Path) -> bytes:
    journal = Journal(folder, "align")
    for result in RESULTS:
        journal.add(result)
    journal.close()
    return (folder / NAME).read_bytes()


def test_what_was_added_is_read_back(tmp_path: Path) -> None:
    written(tmp_path)
    assert read_journal(tmp_path, "align") == RESULTS == finished(tmp_path)


def test_cut_off_at_any_byte_it_can_be_gone_on_with(tmp_path: Path) -> None:
    whole = written(tmp_path)
    for length in range(len(whole)):
        (tmp_path / NAME).write_bytes(whole[:length])
        left = read_journal(tmp_path, "align")
        assert left == RESULTS[: len(left)]
        journal = Journal(tmp_path, "align")
        for result in RESULTS[len(left) :]:
            journal.add(result)
        journal.close()
        assert read_journal(tmp_path, "align") == RESULTS


def test_nothing_begun(tmp_path: Path) -> None:
    assert read_journal(tmp_path, "align") == []
    with pytest.raises(NoBatch, match="no results of a batch"):
        finished(tmp_path)


def test_another_request_is_not_mixed_in(tmp_path: Path) -> None:
    written(tmp_path)
    with pytest.raises(JournalMismatch, match="begun there: align; asked for now: align --whole"):
        read_journal(tmp_path, "align --whole-samples")


@pytest.mark.parametrize("content", [b"hello\n", b"{}\n", b"\xff\xfe\n", b'{"schema":"other","asked":"x"}\n'])
def test_another_file_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / NAME).write_bytes(content)
    with pytest.raises(JournalMismatch, match="no journal"):
        read_journal(tmp_path, "align")
