"""What a batch leaves: a table, JSON and a page; shards put together are what one run would have given."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from lagline.errors import NoBatch
from lagline.jobs.batch_page import batch_page
from lagline.jobs.batch_summary import merged, write_summary
from lagline.jobs.journal import Journal, LaneResult, TakeResult

LANES = (
    LaneResult("Near", "strong", -101.0, -1, 101.0, "agrees", 0.1),
    LaneResult("Far", "strong", 0.0, 1, 0.0, "agrees", 0.0),
    LaneResult("Side", "usable", -48.0, 1, 96.0, "moved", 48.0),
    LaneResult("Talk", "none", None, None, 0.0, "not comparable", None),
)
GOOD = TakeResult("songs/one", "done", "", 48_000, "Far", LANES, ("Talk is silent.",))
BAD = TakeResult("songs/two", "failed", "two.wav cannot be read as audio <b>.")


def test_the_page_tells_failures_and_moved_lanes_first() -> None:
    page = batch_page([GOOD, BAD])
    order = [
        page.index(words)
        for words in (
            "1 of 2 takes were measured",
            "2 strong, 1 usable, 1 none",
            "cannot be read as audio &lt;b&gt;",
            "moved against the setup by +1.000 ms",
            "nothing found",
            "-2.104 ms",
            "Talk is silent.",
        )
    ]
    assert order == sorted(order)
    assert "<b>." not in page and "Far (anchor)" in page and "http" not in page
    alone = batch_page([GOOD])
    assert "could not be measured" not in alone


def test_all_three_are_written_sorted(tmp_path: Path) -> None:
    table, data, page = write_summary([BAD, GOOD], tmp_path / "out")
    rows = list(csv.DictReader(io.StringIO(table.read_text("utf-8-sig"))))
    assert [row["take"] for row in rows] == ["songs/one"] * 4 + ["songs/two"]
    document = json.loads(data.read_bytes())
    assert (document["takes"], document["failed"]) == (2, 1)
    assert "songs/two" in page.read_text("utf-8")


def test_shards_merged_are_the_whole_and_done_wins_over_failed(tmp_path: Path) -> None:
    for shard, results in (("1", [BAD]), ("2", [GOOD]), ("3", [TakeResult("songs/two", "done")])):
        journal = Journal(tmp_path / shard, "asked")
        for result in results:
            journal.add(result)
        journal.close()
    found = merged(tmp_path / shard for shard in "123")
    assert [(result.take, result.state) for result in found] == [("songs/one", "done"), ("songs/two", "done")]
    with pytest.raises(NoBatch, match="no results of a batch"):
        merged([tmp_path / "1", tmp_path / "nosuch"])
