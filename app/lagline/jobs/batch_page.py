"""The report of a batch: one page, first what failed, moved or is doubtful, then every lane."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime

from lagline import __version__
from lagline.deliver.page import filled_page
from lagline.deliver.tables import Table
from lagline.jobs.journal import LaneResult, TakeResult
from lagline.units import samples_to_ms

_WORDS = ("strong", "usable", "weak", "none")
_POLARITY = {1: "as anchor", -1: "inverted", None: ""}


def batch_page(results: Sequence[TakeResult]) -> str:
    """The page of these takes, in the order given: HTML that needs nothing beside it, without colour."""
    done = [result for result in results if result.state == "done"]
    counts = Counter(lane.trust_word for result in done for lane in result.lanes)
    with_setup = any(lane.against_setup for result in done for lane in result.lanes)
    return filled_page(
        "batch.html.j2",
        title="Batch report",
        made=datetime.now().astimezone().strftime("%Y-%m-%d %H:%M"),
        made_by=f"Lagline {__version__}",
        takes=len(results),
        done=len(done),
        trust=", ".join(f"{counts[word]} {word}" for word in _WORDS if counts[word]) or "none",
        failed=Table(["take", "why"], [[x.take, x.error] for x in results if x.state == "failed"]),
        faults=Table(
            ["take", "what is wrong with it"], [[x.take, fault] for x in done for fault in x.faults]
        ),
        to_hear=Table(["take", "lane", "what"], [row for result in done for row in _doubts(result)]),
        lanes=_lanes(done, with_setup),
        remarks=Table(["take", "remark"], [[x.take, " ".join(x.warnings)] for x in done if x.warnings]),
    )


def _doubts(result: TakeResult) -> list[list[str]]:
    """Lanes to look at: moved against the setup, or of little or no trust."""
    rows = []
    for lane in result.lanes:
        said = []
        if lane.against_setup == "moved":
            said.append(f"moved against the setup{_by(lane, result.rate_hz)}")
        if lane.trust_word == "weak":
            said.append("weak trust")
        if lane.trust_word == "none":
            said.append("nothing found")
        if said:
            rows.append([result.take, lane.name, ", ".join(said)])
    return rows


def _by(lane: LaneResult, rate_hz: int) -> str:
    difference = lane.difference_samples
    return "" if difference is None else f" by {samples_to_ms(difference, rate_hz):+.3f} ms"


def _lanes(done: Sequence[TakeResult], with_setup: bool) -> Table:
    headings = ["take", "lane", "arrival", "samples", "polarity", "trust", "shift now"]
    rows = []
    for result in done:
        for lane in result.lanes:
            arrival = lane.arrival_samples
            row = [result.take, f"{lane.name} (anchor)" if lane.name == result.anchor else lane.name]
            row += ["", ""] if arrival is None else [_ms(arrival, result.rate_hz), f"{arrival:+.2f}"]
            row += [_POLARITY[lane.polarity], lane.trust_word, _ms(lane.shift_samples, result.rate_hz)]
            rows.append([*row, lane.against_setup] if with_setup else row)
    return Table([*headings, "against the setup"] if with_setup else headings, rows)


def _ms(samples: float, rate_hz: int) -> str:
    return f"{samples_to_ms(samples, rate_hz):+.3f} ms"
