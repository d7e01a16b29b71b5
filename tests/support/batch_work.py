"""Work for the batch tests, without recordings. Named functions: worker processes find them by name."""

from __future__ import annotations

import os
import time
from pathlib import Path

from lagline.jobs.batch import BatchOptions
from lagline.jobs.find_takes import FoundTake
from lagline.jobs.journal import TakeResult


def by_name(take: FoundTake, results: Path, options: BatchOptions) -> TakeResult:
    """A take whose name says `bad` fails; `deadly` ends its process; each leaves a mark that it was done."""
    if "deadly" in take.name:
        os._exit(3)
    (results / f"{take.name}.done").open("a").write("once\n")
    if "bad" in take.name:
        return TakeResult(take.name, "failed", error="it is bad")
    return TakeResult(take.name, "done", rate_hz=48000)


def slowly(take: FoundTake, results: Path, options: BatchOptions) -> TakeResult:
    time.sleep(0.3)
    return by_name(take, results, options)
