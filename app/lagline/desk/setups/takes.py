"""A take with a setup held against it: matches, what was measured, what is chosen. Values, no Qt."""

from __future__ import annotations

from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from lagline.jobs.apply_setup import LaneComparison, compared, decided
from lagline.session.findings import Alignment
from lagline.session.setup import Setup, SetupLane, found_matches
from lagline.session.values import Session

State = Literal["new", "measured", "failed", "done"]


class LaneMatch(Struct, frozen=True):
    """The setup's lane that a lane of the take is; `told_by` is "name", "pattern", ... or "hand"."""

    known: SetupLane
    told_by: str


class TakeOnSetup(Struct, frozen=True):
    """One take in the dialog.

    `new_lanes` take what was measured, the others keep the setup. `is_chosen`: it is part of what is
    accepted. `on_desk`: the take that is open, which is edited rather than saved. `done`: what accepting
    it did, in words.
    """

    session: Session
    matches: dict[str, LaneMatch]  # by lane id; never changed in place
    on_desk: bool = False
    problems: tuple[str, ...] = ()
    alignment: Alignment | None = None
    failure: str = ""
    new_lanes: frozenset[str] = frozenset()
    is_chosen: bool = True
    done: str = ""

    @property
    def state(self) -> State:
        if self.done:
            return "done"
        if self.failure:
            return "failed"
        return "new" if self.alignment is None else "measured"

    def known_lanes(self) -> dict[str, SetupLane]:
        return {lane_id: match.known for lane_id, match in self.matches.items()}


def on_setup(
    setup: Setup, session: Session, *, on_desk: bool = False, problems: tuple[str, ...] = ()
) -> TakeOnSetup:
    """A take, its lanes matched with the setup's by name or pattern; nothing is measured yet."""
    found = found_matches(setup, session)
    matches = {lane_id: LaneMatch(match.known, match.by) for lane_id, match in found.items()}
    return TakeOnSetup(session, matches, on_desk, problems)


def rematched(take: TakeOnSetup, lane_id: str, known: SetupLane | None) -> TakeOnSetup:
    """The take with a lane matched by hand, or with none of the setup's lanes."""
    matches = {key: match for key, match in take.matches.items() if key != lane_id}
    if known is not None:
        matches[lane_id] = LaneMatch(known, "hand")
    return replace(take, matches=matches, done="")


def measured(take: TakeOnSetup, alignment: Alignment) -> TakeOnSetup:
    """The take with a fresh measurement; every lane keeps the setup until something else is chosen."""
    return replace(take, alignment=alignment, failure="", new_lanes=frozenset(), done="")


def failed(take: TakeOnSetup, sentence: str) -> TakeOnSetup:
    """The take could not be measured: it is left out unless it is chosen again by hand."""
    return replace(take, failure=sentence, alignment=None, is_chosen=False)


def taking(take: TakeOnSetup, lane_ids: frozenset[str], is_new: bool) -> TakeOnSetup:
    """The take with these lanes taking what was measured, or keeping the setup."""
    lanes = take.new_lanes | (lane_ids & offering(take)) if is_new else take.new_lanes - lane_ids
    return replace(take, new_lanes=lanes, done="")


def offering(take: TakeOnSetup) -> frozenset[str]:
    """Lanes of which something was found that could replace the setup: not the anchor itself."""
    if take.alignment is None:
        return frozenset()
    return frozenset(
        finding.lane_id
        for finding in take.alignment.findings
        if finding.arrival_samples is not None and finding.lane_id != take.alignment.anchor_id
    )


def comparisons(setup: Setup, take: TakeOnSetup) -> dict[str, LaneComparison]:
    """Every measured lane against the setup, by lane id; empty before measuring."""
    if take.alignment is None:
        return {}
    found = compared(take.session, take.alignment, take.known_lanes(), setup.rate_hz)
    return {one.lane_id: one for one in found}


def result(setup: Setup, take: TakeOnSetup, session: Session | None = None) -> Session:
    """The take's session as it is chosen.

    `session` is the take as it is on the desk now. Raises ValueError when that has other lanes than those
    that were matched and measured.
    """
    now = session or take.session
    if _sound(now) != _sound(take.session):
        raise ValueError("the lanes changed while the setup was held against them: apply it again")
    return decided(setup, now, take.alignment, take.known_lanes(), take.new_lanes)


def _sound(session: Session) -> dict[str, tuple[object, int]]:
    return {lane.id: (lane.source, lane.place_samples) for lane in session.lanes}
