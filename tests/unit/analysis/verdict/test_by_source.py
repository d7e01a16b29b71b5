"""Each instrument's arrival in every lane, which one a lane goes by, and lining up on a chosen one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.material.take import Take, make

from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions
from lagline.analysis.verdict import by_source
from lagline.blend.clips import open_clips
from lagline.errors import NoSuchSource
from lagline.jobs.open_take import open_take
from lagline.session.findings import Alignment, SourceFinding, SourceLag
from lagline.session.values import Session

VARIANT, SEED = "studio", 13


@pytest.fixture(scope="module")
def kit(tmp_path_factory: pytest.TempPathFactory) -> tuple[Take, Session]:
    folder = tmp_path_factory.mktemp("kit")
    take = make("kit", VARIANT, SEED)
    written = take.write(folder)
    return take, open_take([folder / row["file"] for row in written["lanes"]]).session


def lined_up(session: Session, source: str | None = None) -> Alignment:
    options = AnalysisOptions(anchor=session.lanes[0].id, source=source)
    return align(session, open_clips(session), options)


@pytest.fixture(scope="module")
def found(kit: tuple[Take, Session]) -> Alignment:
    return lined_up(kit[1])


def spot(take: Take, session: Session, instrument: str) -> str:
    return next(lane.id for lane, own in zip(session.lanes, take.lanes, strict=True) if own.own == instrument)


def test_every_instrument_is_told_in_every_lane(kit: tuple[Take, Session], found: Alignment) -> None:
    """Right: inside the truth's band, or within the uncertainty told."""
    take, session = kit
    right, wrong = 0, []
    for source in found.sources:
        if not source.lane_ids:
            continue
        places = [k for k, lane in enumerate(session.lanes) if lane.id in source.lane_ids]
        row = take.sources[take.lanes[places[0]].own or ""]
        for k, lane in enumerate(take.lanes):
            lag, span = source.lag(session.lanes[k].id), row.get(lane.name)
            if lag is None or span is None:
                continue
            slack = 2 * lag.uncertainty_samples
            if span.low - slack <= lag.arrival_samples <= span.high + slack:
                right += 1
            else:
                wrong.append(f"{source.name} in {lane.name}: {lag.arrival_samples:.1f} not {span}")
    assert len(found.sources) >= 3
    assert right >= 20
    assert right >= 0.85 * (right + len(wrong)), wrong


def test_lanes_of_no_instrument_line_up_on_the_chosen_one(
    kit: tuple[Take, Session], found: Alignment
) -> None:
    take, session = kit
    for instrument in ("kick", "snare"):
        chosen = lined_up(session, spot(take, session, instrument))
        row = take.sources[instrument]
        for k, lane in enumerate(take.lanes):
            me, at = session.lanes[k], chosen.finding(session.lanes[k].id)
            assert at is not None
            if k == 0 or any(me.id in source.lane_ids for source in chosen.sources):
                assert at == found.finding(me.id)
            elif lane.name in ("oh_r", "room_l"):
                assert at.arrival_samples == pytest.approx(row[lane.name].lag, abs=3)
                assert at.trust_word != "none"
                assert f"it goes by {me_name(session, spot(take, session, instrument))}" in at.sentence


def me_name(session: Session, lane_id: str) -> str:
    return session.lane(lane_id).name


def test_each_instrument_s_place_can_be_tried(found: Alignment) -> None:
    for finding in found.findings[1:]:
        if finding.arrival_samples is None:
            continue
        offered = {r.source: r.arrival_samples for r in finding.runners_up if r.source}
        for source in found.sources:
            lag = source.lag(finding.lane_id)
            if lag is not None and not by_source.is_at(lag, finding.arrival_samples):
                assert offered[source.name] == lag.arrival_samples


def test_an_instrument_that_no_lane_stands_at_is_refused(kit: tuple[Take, Session]) -> None:
    session = kit[1]
    with pytest.raises(NoSuchSource, match=r"(?s)told apart at .*oh_r.*snare_top"):
        lined_up(session, session.lanes[1].id)


def test_a_take_of_one_instrument_names_none(tmp_path: Path) -> None:
    written = make("array", "room", 13).write(tmp_path)
    session = open_take([tmp_path / row["file"] for row in written["lanes"]]).session
    alone = lined_up(session)
    assert alone.sources == ()
    assert not any("instrument" in finding.sentence for finding in alone.findings)


def source(name: str, *lags: tuple[str, float], spots: tuple[str, ...] = ()) -> SourceFinding:
    return SourceFinding(name, spots, 4, tuple(SourceLag(lane, at, 0.5, 1) for lane, at in lags))


def test_a_lane_goes_by_its_own_before_a_nearer_one() -> None:
    kick, snare = source("kick", ("a", 10.0), spots=("a",)), source("snare", ("a", 11.5), ("b", 40.0))
    assert by_source.gone_by([snare, kick], "a", 11.4) == kick
    assert by_source.gone_by([snare, kick], "b", 41.0) == snare
    assert by_source.gone_by([snare, kick], "b", 60.0) is None
    assert by_source.gone_by([snare, kick], "c", 0.0) is None


def test_lanes_disagree_where_instruments_lie_apart() -> None:
    near, far = source("kick", ("a", 10.0), ("b", 5.0)), source("snare", ("a", 12.0), ("b", 90.0))
    assert not by_source.disagree([near, far], "a")
    assert by_source.disagree([near, far], "b")
    assert by_source.disagree([far, near], "b")
    assert [r.source for r in by_source.as_runners_up([near, far], "b", 5.2)] == ["snare"]
    assert np.isclose(by_source.as_runners_up([near, far], "b", 5.2)[0].arrival_samples, 90.0)
