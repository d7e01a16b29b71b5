"""The summary of a batch: a table, JSON for scripts, a page to read; merging several runs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import msgspec

from lagline.deliver.csv_text import csv_text
from lagline.errors import CannotWrite
from lagline.files import write_whole
from lagline.jobs.batch_page import batch_page
from lagline.jobs.journal import TakeResult, finished

SCHEMA = "lagline/batch-summary/1"
HEADINGS = (
    "take", "state", "lane", "trust", "arrival samples", "polarity", "shift samples", "rate Hz", "anchor",
    "against setup", "difference samples", "remark",
)  # fmt: skip


def summary_csv(results: Iterable[TakeResult]) -> str:
    """One row a lane; a take that failed has one row with its reason."""
    rows: list[tuple[str | float | int | None, ...]] = []
    for result in results:
        remark = result.error or " ".join((*result.faults, *result.warnings))
        if not result.lanes:
            rows.append((result.take, result.state, *[None] * (len(HEADINGS) - 3), remark))
        for number, lane in enumerate(result.lanes):
            rows.append(
                (
                    result.take,
                    result.state,
                    lane.name,
                    lane.trust_word,
                    lane.arrival_samples,
                    lane.polarity,
                    lane.shift_samples,
                    result.rate_hz,
                    result.anchor,
                    lane.against_setup,
                    lane.difference_samples,
                    remark if number == 0 else "",
                )
            )
    return csv_text(HEADINGS, rows)


def summary_json(results: Sequence[TakeResult]) -> bytes:
    """The results of a batch as an indented JSON document, UTF-8."""
    document = {
        "schema": SCHEMA,
        "takes": len(results),
        "failed": sum(result.state == "failed" for result in results),
        "faulty": sum(bool(result.faults) for result in results),
        "results": results,
    }
    return msgspec.json.format(msgspec.json.encode(document), indent=1)


def write_summary(results: Sequence[TakeResult], folder: Path) -> tuple[Path, ...]:
    """Write `summary.csv`, `summary.json` and `report.html`, sorted by take. Raises CannotWrite."""
    ordered = sorted(results, key=lambda result: result.take)
    files = {
        folder / "summary.csv": summary_csv(ordered).encode("utf-8-sig"),  # tells spreadsheets it is UTF-8
        folder / "summary.json": summary_json(ordered),
        folder / "report.html": batch_page(ordered).encode("utf-8"),
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, data in files.items():
            write_whole(path, data)
    except OSError as error:
        raise CannotWrite(folder, error) from error
    return tuple(files)


def merged(folders: Iterable[Path]) -> tuple[TakeResult, ...]:
    """The finished takes of several result folders (shares of one archive), sorted, each once.

    A take that failed in one and was done in another counts as done. Raises NoBatch, JournalMismatch.
    """
    results: dict[str, TakeResult] = {}
    for folder in folders:
        for result in finished(folder):
            if result.take not in results or results[result.take].state == "failed":
                results[result.take] = result
    return tuple(sorted(results.values(), key=lambda result: result.take))
