"""Arrivals by source: what is told of each instrument of a take, and which one a lane goes by."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lagline.analysis.take.sources import SoundSource
from lagline.analysis.verdict.witnesses import Stretch
from lagline.session.findings import RunnerUp, SourceFinding, SourceLag
from lagline.session.values import Session

SAME_PLACE = 2.0  # samples beside twice the uncertainty: one place
FEWEST_TELLING = 3  # lanes that must tell an instrument, the anchor among them


def told(session: Session, stretch: Stretch | None, anchor: int) -> tuple[SourceFinding, ...]:
    """The instruments, the most struck first; none where there are not several at places of their own."""
    if stretch is None:
        return ()
    out: list[SourceFinding] = []
    for source in stretch.sources:
        one = _told(session, source, anchor)
        taken = {s.name for s in out}
        if (
            len(one.lags) >= FEWEST_TELLING
            and one.name not in taken
            and not any(_is_same(one, s) for s in out)
        ):
            out.append(one)
    return tuple(out) if len(out) > 1 else ()


def gone_by(sources: Sequence[SourceFinding], lane_id: str, arrival: float) -> SourceFinding | None:
    """The instrument at whose place a lane was put: its own before others, then the nearest."""
    near = []
    for source in sources:
        lag = source.lag(lane_id)
        if lag is not None and is_at(lag, arrival):
            near.append(
                (lane_id not in source.lane_ids, abs(lag.arrival_samples - arrival), source.name, source)
            )
    return min(near)[3] if near else None


def stands_at_one(sources: Sequence[SourceFinding], lane_id: str) -> bool:
    """Whether a lane is the spot microphone of an instrument."""
    return any(lane_id in source.lane_ids for source in sources)


def disagree(sources: Sequence[SourceFinding], lane_id: str) -> bool:
    """Whether no single place suits a lane for all instruments it tells."""
    lags = [lag for source in sources if (lag := source.lag(lane_id)) is not None]
    return any(not is_at(lag, other.arrival_samples) for lag in lags for other in lags)


def as_runners_up(sources: Sequence[SourceFinding], lane_id: str, taken: float) -> tuple[RunnerUp, ...]:
    """Every instrument's place in a lane but the one that was taken, samples, to be tried."""
    lags = [(source.name, lag) for source in sources if (lag := source.lag(lane_id)) is not None]
    return tuple(
        RunnerUp(
            arrival_samples=lag.arrival_samples,
            polarity=lag.polarity or 1,
            score=1 / (1 + lag.uncertainty_samples),
            source=name,
        )
        for name, lag in lags
        if not is_at(lag, taken)
    )


def _told(session: Session, source: SoundSource, anchor: int) -> SourceFinding:
    lags = zip(session.lanes, source.against(anchor), strict=True)
    owner = session.lanes[source.owner].name
    return SourceFinding(
        name=owner if source.is_spotted else f"first in {owner}",
        lane_ids=tuple(session.lanes[k].id for k in source.spots) if source.is_spotted else (),
        strokes=len(source.at),
        lags=tuple(
            SourceLag(lane.id, float(lag.lag), float(lag.uncertainty), lag.polarity)
            for lane, lag in lags
            if np.isfinite(lag.lag)
        ),
    )


def is_at(lag: SourceLag, arrival: float) -> bool:
    """Whether an arrival, samples, is that of the instrument as far as can be told."""
    return abs(lag.arrival_samples - arrival) <= SAME_PLACE + 2 * lag.uncertainty_samples


def _is_same(one: SourceFinding, other: SourceFinding) -> bool:
    """Whether two are one instrument: every lane that tells both hears them at the same place."""
    both = [(lag, there) for lag in one.lags if (there := other.lag(lag.lane_id)) is not None]
    return all(is_at(lag, there.arrival_samples) for lag, there in both)
