"""Real recordings against what is known of them (the table beside the recordings; see their README)."""

from __future__ import annotations

from functools import lru_cache

import pytest
from tests.support.fake_clips import fake_take, shifted
from tests.support.real_takes import ROOT
from tests.support.real_truth import KICK, SNARE, TABLE, Row, lanes_of

from lagline.analysis import report
from lagline.analysis.align import align, measure_take
from lagline.analysis.options import AnalysisOptions
from lagline.session.findings import Alignment

pytestmark = [
    pytest.mark.real_takes,
    pytest.mark.skipif(not ROOT.is_dir(), reason=f"the real recordings are not here: {ROOT} is absent"),
]


@lru_cache(maxsize=8)
def answers(name: str, part: int) -> dict[str, Alignment]:
    """Answers for every anchor; part 0: the whole take, 1 and 2: its halves."""
    take, rate_hz = lanes_of(name)
    middle = min(len(lane) for lane in take.values()) // 2
    if part:
        take = {k: lane[:middle] if part == 1 else lane[middle:] for k, lane in take.items()}
    session, clips = fake_take(take, rate_hz)
    measured = measure_take(
        session, clips, AnalysisOptions(), progress=lambda _: None, cancelled=lambda: False
    )
    return {anchor: report.alignment(session, AnalysisOptions(anchor=anchor), measured) for anchor in take}


def difference(answer: Alignment, row: Row) -> tuple[float, int]:
    one, other = answer.finding(row.first), answer.finding(row.second)
    assert one is not None and other is not None
    assert one.arrival_samples is not None and other.arrival_samples is not None, "refused"
    return other.arrival_samples - one.arrival_samples, (one.polarity or 0) * (other.polarity or 0)


ROWS = [(name, row) for name, rows in TABLE.items() for row in rows]
# The rows of `groove` are the snare's. In its halves the hi-hat's microphone goes by the hi-hat's strokes, 35
# samples earlier; in the second half it hardly hears the snare at all.
HALVES = [
    (name, row, part) for name, row in ROWS for part in (1, 2) if (name, row.second) != ("groove", "hihat")
]


@pytest.mark.parametrize(("name", "row"), ROWS, ids=lambda v: v if isinstance(v, str) else f"{v.second}")
def test_rows_of_the_table_hold_from_every_lane(name: str, row: Row) -> None:
    """The rows of `groove` are the snare's. Its hi-hat's microphone goes by the hi-hat, as it should; against
    the snare's own microphone it is the snare that both hear."""
    for anchor, answer in answers(name, 0).items():
        if name == "groove" and (anchor == "hihat" or (row.second == "hihat" and anchor != row.first)):
            continue
        arrival, polarity = difference(answer, row)
        assert row.low <= arrival <= row.high
        if row.polarity:
            assert polarity == row.polarity


@pytest.mark.parametrize(
    ("name", "row", "part"), HALVES, ids=lambda v: v.second if isinstance(v, Row) else f"{v}"
)
def test_rows_of_the_table_hold_in_either_half(name: str, row: Row, part: int) -> None:
    for anchor in (row.first, row.second):
        arrival, polarity = difference(answers(name, part)[anchor], row)
        assert row.low - 3.0 <= arrival <= row.high + 3.0
        if row.polarity:
            assert polarity == row.polarity


@pytest.mark.parametrize(("name", "row"), ROWS, ids=lambda v: v if isinstance(v, str) else f"{v.second}")
def test_nothing_is_called_strong_outside_its_band(name: str, row: Row) -> None:
    for anchor, answer in answers(name, 0).items():
        words = [
            f.trust_word
            for f in answer.findings
            if f.lane_id in (row.first, row.second) and f.lane_id != anchor
        ]
        if all(word == "strong" for word in words):
            arrival, _ = difference(answer, row)
            assert row.low <= arrival <= row.high


@pytest.mark.parametrize(("lane", "by", "sign"), [("ohl", 211.0, -1), ("snare_bottom", -87.4, -1)])
def test_an_extra_shift_is_recovered(lane: str, by: float, sign: int) -> None:
    take, rate_hz = lanes_of("snare")
    take = {**take, lane: sign * shifted(take[lane], by)}
    session, clips = fake_take(take, rate_hz)
    after = align(session, clips, AnalysisOptions(anchor="snare_top"))
    before = answers("snare", 0)["snare_top"]
    for finding in before.findings:
        moved = after.finding(finding.lane_id)
        assert moved is not None and moved.arrival_samples is not None and finding.arrival_samples is not None
        extra, flip = (by, sign) if finding.lane_id == lane else (0.0, 1)
        assert moved.arrival_samples - finding.arrival_samples == pytest.approx(extra, abs=0.1)
        assert finding.polarity is not None and moved.polarity == flip * finding.polarity


@pytest.mark.parametrize("snare_lane", ["snare_top", "ohl", "ambr"])
@pytest.mark.parametrize("kick_lane", ["ohl", "ambl", "tom4"])
def test_lanes_of_two_takes_are_refused(snare_lane: str, kick_lane: str) -> None:
    snare, rate_hz = lanes_of("snare")
    kick, _ = lanes_of("kick")
    session, clips = fake_take({"one": snare[snare_lane], "other": kick[kick_lane]}, rate_hz)
    found = align(session, clips, AnalysisOptions(anchor="one")).finding("other")
    assert found is not None and found.trust_word == "none"


@pytest.mark.parametrize("lane", ["snare_top", "hihat", "ambl"])
@pytest.mark.parametrize(
    ("other_take", "other_lane"), [("drums_snare_edge_7mics", "wndw"), ("piano_close_far_n84", "close_L")]
)
def test_a_few_strokes_of_another_take_are_no_common_source(
    lane: str, other_take: str, other_lane: str
) -> None:
    snare, rate_hz = lanes_of("snare")
    other, _ = lanes_of(other_take)
    session, clips = fake_take({"one": snare[lane], "other": other[other_lane]}, rate_hz)
    found = align(session, clips, AnalysisOptions(anchor="one")).finding("other")
    assert found is not None and found.trust_word == "none"


def test_the_tables_name_lanes_that_are_there() -> None:
    assert {row.second for row in SNARE} <= set(lanes_of("snare")[0])
    assert {row.second for row in KICK} <= set(lanes_of("kick")[0])
