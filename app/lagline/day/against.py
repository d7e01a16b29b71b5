"""What differs in each take: from a setup, or from where the lanes usually are on this day."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path
from statistics import median
from typing import Literal

from msgspec import Struct

from lagline.day.values import Day, DayTake, LaneFact
from lagline.jobs.apply_setup import AGREEING_MS, LaneComparison, compared
from lagline.session.findings import Alignment, Finding
from lagline.session.setup import Setup, SetupLane, matched_lanes
from lagline.session.values import Lane, Move, Session, Source
from lagline.units import ms_to_samples, samples_to_metres, samples_to_ms

TELLING_TAKES = 3  # takes that tell where a lane usually is
REPEATED_SHARE = 0.1  # of the takes that have the lane: from here on weak findings bear each other out
TRUSTED = ("strong", "usable")

DifferenceWord = Literal[
    "moved",
    "other polarity",
    "swapped",
    "of another take",
    "unsure",
    "not found",
    "not in the setup",
    "missing",
]


class Difference(Struct, frozen=True):
    """How one lane of a take differs. Positive: it hears the source later than expected, from further off."""

    lane: str
    word: DifferenceWord
    samples: float | None = None
    ms: float | None = None
    cm: float | None = None  # of air
    other: str = ""  # the lane it is swapped with, or the take whose recording it is


class LaneMove(Struct, frozen=True):
    """A lane that stands elsewhere from one take to the next."""

    lane: str  # by its name in the setup
    before: str  # the take before, and the first in which it stands elsewhere
    after: str
    cm: float


class Held(Struct, frozen=True):
    """What takes are held against. `repeated`: weak findings, by take and lane, that other takes bear out.
    `copies`: by take and lane, the earlier take whose very recording it is.
    """

    setup: Setup
    repeated: frozenset[tuple[str, str]] = frozenset()
    copies: Mapping[tuple[str, str], str] = {}

    def trusts(self, take: DayTake, lane: LaneFact) -> bool:
        """Whether the lane's finding can be trusted: by itself, or because it repeats over the takes."""
        return lane.trust_word in TRUSTED or (take.name, lane.name) in self.repeated


def held_against(day: Day) -> Held | None:
    """The day's setup; without one where its lanes usually are; None while that is not known."""
    setup = day.setup or usual(day.takes)
    return None if setup is None else Held(setup, _repeated(day.takes, setup), copies_in(day.takes))


def copies_in(takes: Sequence[DayTake]) -> dict[tuple[str, str], str]:
    """Lanes whose very samples an earlier take has too, by take and lane: the name of that take."""
    first: dict[str, str] = {}
    copies = {}
    for take in takes:
        for lane in take.facts.lanes if take.facts is not None else ():
            if lane.fingerprint and first.setdefault(lane.fingerprint, take.name) != take.name:
                copies[take.name, lane.name] = first[lane.fingerprint]
    return copies


def usual(takes: Sequence[DayTake]) -> Setup | None:
    """Where each lane usually is: the median over the takes, against the lane that is trusted in most.

    None before three takes tell.
    """
    measured = [take for take in takes if take.is_measured]
    if len(measured) < TELLING_TAKES:
        return None
    facts = max((take.facts for take in measured if take.facts), key=lambda facts: len(facts.lanes))
    plain = Setup("", facts.rate_hz, tuple(SetupLane(lane.name, Move()) for lane in facts.lanes))
    found = [_found(take, plain) for take in measured]
    trusted = [name for one in found for name, place in one.items() if place.is_trusted]
    if not trusted:
        return None
    reference = max(dict.fromkeys(trusted), key=trusted.count)
    late: dict[str, list[tuple[float, int]]] = defaultdict(list)
    for one in found:
        if reference in one:
            zero = one[reference]
            for name, place in one.items():
                late[name].append((place.arrival - zero.arrival, place.polarity * zero.polarity))
    lanes = tuple(
        SetupLane(
            name,
            Move(
                -median(arrival for arrival, _ in known),
                1 if 2 * sum(polarity > 0 for _, polarity in known) >= len(known) else -1,
            ),
        )
        for name, known in late.items()
        if len(known) >= TELLING_TAKES
    )
    return Setup("usual", facts.rate_hz, lanes, anchor=reference) if len(lanes) > 1 else None


def _repeated(takes: Sequence[DayTake], setup: Setup) -> frozenset[tuple[str, str]]:
    """Weak findings at whose place the lane was found in three of the day's takes or more, and in one in ten.

    Findings by chance are spread, but on a long day a few lie together.
    """
    late: dict[str, list[tuple[float, str, str]]] = defaultdict(list)
    for take in takes:
        found = _found(take, setup) if take.is_measured else {}
        zero = found.get(setup.anchor or "")
        if zero is not None:
            for name, place in found.items():
                late[name].append((place.arrival - zero.arrival, take.name, place.lane))
    near = ms_to_samples(AGREEING_MS, setup.rate_hz)
    out = set()
    for places in late.values():
        places.sort()
        arrivals = [arrival for arrival, _, _ in places]
        for arrival, name, lane in places:
            alike = bisect_right(arrivals, arrival + near) - bisect_left(arrivals, arrival - near)
            if alike >= max(TELLING_TAKES, math.ceil(REPEATED_SHARE * len(places))):
                out.add((name, lane))
    return frozenset(out)


def differences(take: DayTake, held: Held) -> tuple[Difference, ...]:
    """What differs in a measured take, lanes in its order; nothing in one that agrees or is not measured.

    Where all lanes are off by the same, it is the one they were measured against that moved.
    """
    facts = take.facts
    if facts is None or not take.is_measured:
        return ()
    setup = held.setup
    session, alignment = _light(take)
    matches = matched_lanes(setup, session)
    comparisons = compared(session, alignment, matches, setup.rate_hz)
    by_lane = {lane.name: lane for lane in facts.lanes}
    out = [
        Difference(lane, "of another take", other=earlier)
        for (name, lane), earlier in held.copies.items()
        if name == take.name
    ]
    copied = {one.lane for one in out}
    comparisons = tuple(one for one in comparisons if one.lane_id not in copied)
    for one in comparisons:
        difference = _difference(one, by_lane[one.lane_id], take, held, one.lane_id in matches)
        if difference is not None:
            out.append(difference)
    out = _swapped(_of_the_anchor(out, comparisons, take), comparisons, take)
    there = {known.name for known in matches.values()}
    return (*out, *(Difference(known.name, "missing") for known in setup.lanes if known.name not in there))


def moved_lanes(take: DayTake, held: Held) -> frozenset[str]:
    """Names of the lanes of a take that moved or were turned over, as they were measured."""
    if take.facts is None or not take.is_measured:
        return frozenset()
    session, alignment = _light(take)
    found = compared(session, alignment, matched_lanes(held.setup, session), held.setup.rate_hz)
    trusted = {lane.name for lane in take.facts.lanes if held.trusts(take, lane)}
    return frozenset(one.lane_id for one in found if one.word == "moved" and one.lane_id in trusted)


def moves_over(takes: Sequence[DayTake], held: Held) -> tuple[LaneMove, ...]:
    """Who moved, and when: a lane that differs from where it stood in the takes before it.

    In the order of the takes. A lane stands where the median of its findings since its last move has it.
    """
    moves: list[tuple[int, LaneMove]] = []
    numbered = [(number, take) for number, take in enumerate(takes) if take.is_measured]
    off = {number: _off(take, held) for number, take in numbered}
    for known in held.setup.lanes:
        stood: list[float] = []
        last = ""
        for number, take in numbered:
            at = off[number].get(known.name)
            facts = take.facts
            if at is None or facts is None:
                continue
            if stood and abs(at - median(stood)) > AGREEING_MS:
                metres = samples_to_metres(
                    ms_to_samples(at - median(stood), facts.rate_hz), facts.rate_hz, facts.temperature_c
                )
                moves.append((number, LaneMove(known.name, last, take.name, 100.0 * metres)))
                stood = []
            stood.append(at)
            last = take.name
    return tuple(move for _, move in sorted(moves, key=lambda one: one[0]))


def late_ms(take: DayTake, held: Held) -> dict[str, float]:
    """By how many ms each lane hears the source later than the setup's anchor in a measured take, by its name
    in the setup. Lanes that can't be trusted are left out.
    """
    facts = take.facts
    if facts is None or not take.is_measured:
        return {}
    by_name = {lane.name: lane for lane in facts.lanes}
    found = {
        name: place.arrival
        for name, place in _found(take, held.setup).items()
        if held.trusts(take, by_name[place.lane])
    }
    zero = found.get(held.setup.anchor or "", next(iter(found.values()), 0.0))
    return {name: samples_to_ms(arrival - zero, held.setup.rate_hz) for name, arrival in found.items()}


def _off(take: DayTake, held: Held) -> dict[str, float]:
    """By how many ms each lane of the setup is later than it says, in a take where that can be trusted."""
    facts = take.facts
    assert facts is not None  # of a measured take
    session, _ = _light(take)
    matches = matched_lanes(held.setup, session)
    moved = {difference.lane: difference for difference in differences(take, held)}
    off = {}
    for lane in facts.lanes:
        known = matches.get(lane.name)
        if known is None or lane.arrival_samples is None or not held.trusts(take, lane):
            continue
        difference = moved.get(lane.name)
        off[known.name] = (difference.ms or 0.0) if difference is not None else 0.0
    return off


def _of_the_anchor(
    found: list[Difference], comparisons: Sequence[LaneComparison], take: DayTake
) -> list[Difference]:
    facts = take.facts
    assert facts is not None
    moved = [one for one in found if one.word == "moved" and one.ms is not None]
    comparable = [one for one in comparisons if one.difference_samples is not None]
    if len(moved) < 2 or len(moved) < len(comparable) - 1:
        return found
    by = median(one.samples or 0.0 for one in moved)
    if any(abs((one.samples or 0.0) - by) > ms_to_samples(AGREEING_MS, facts.rate_hz) for one in moved):
        return found
    others = [one for one in found if one not in moved]
    return [_measured(facts.anchor, "moved", -by, take), *others]


def _swapped(
    found: list[Difference], comparisons: Sequence[LaneComparison], take: DayTake
) -> list[Difference]:
    """Two lanes of which each is where the other belongs are not moved, but plugged the wrong way round."""
    by_lane = {one.lane_id: one for one in comparisons}
    moved = [one.lane for one in found if one.word in ("moved", "other polarity")]
    for number, a in enumerate(moved):
        for b in moved[number + 1 :]:
            if _is_at(by_lane.get(a), by_lane.get(b), take) and _is_at(by_lane.get(b), by_lane.get(a), take):
                rest = [one for one in found if one.lane not in (a, b)]
                return [Difference(a, "swapped", other=b), Difference(b, "swapped", other=a), *rest]
    return found


def _is_at(one: LaneComparison | None, other: LaneComparison | None, take: DayTake) -> bool:
    """Whether the one lane is where the other belongs."""
    if one is None or other is None or one.measured_samples is None or other.expected_samples is None:
        return False
    return not _is_off(one.measured_samples - other.expected_samples, take)


def _difference(
    one: LaneComparison, lane: LaneFact, take: DayTake, held: Held, is_known: bool
) -> Difference | None:
    if not is_known:
        return Difference(lane.name, "not in the setup")
    if one.measured_samples is None:
        return Difference(lane.name, "not found")
    if one.difference_samples is None:
        return None
    if not held.trusts(take, lane) and _is_off(one.difference_samples, take):
        return _measured(lane.name, "unsure", one.difference_samples, take)  # however uncertain: no agreement
    if one.word != "moved":
        return None
    turned = one.polarity_agrees is False
    return _measured(lane.name, "other polarity" if turned else "moved", one.difference_samples, take)


def _is_off(samples: float, take: DayTake) -> bool:
    return take.facts is not None and abs(samples_to_ms(samples, take.facts.rate_hz)) > AGREEING_MS


def _measured(lane: str, word: DifferenceWord, samples: float, take: DayTake) -> Difference:
    facts = take.facts
    assert facts is not None
    metres = samples_to_metres(samples, facts.rate_hz, facts.temperature_c)
    return Difference(lane, word, samples, samples_to_ms(samples, facts.rate_hz), 100.0 * metres)


class _Place(Struct, frozen=True):
    """Where a lane of the setup was found in a take: its arrival at the setup's rate, its polarity."""

    lane: str  # by its name in the take
    arrival: float
    polarity: int
    is_trusted: bool


def _found(take: DayTake, setup: Setup) -> dict[str, _Place]:
    """By the setup's names; lanes of which nothing was found are left out."""
    facts = take.facts
    assert facts is not None
    session, _ = _light(take)
    matches = matched_lanes(setup, session)
    return {
        matches[lane.name].name: _Place(
            lane.name,
            lane.arrival_samples * setup.rate_hz / facts.rate_hz,
            1 if lane.polarity is None else lane.polarity,
            lane.trust_word in TRUSTED,
        )
        for lane in facts.lanes
        if lane.name in matches and lane.arrival_samples is not None and math.isfinite(lane.arrival_samples)
    }


def _light(take: DayTake) -> tuple[Session, Alignment]:
    """The take's lanes and findings without recordings and evidence, each lane's name its id."""
    facts = take.facts
    assert facts is not None
    nothing = Source(Path(), 0, facts.rate_hz, 0, 0)
    session = Session(facts.rate_hz, tuple(Lane(lane.name, lane.name, nothing) for lane in facts.lanes))
    findings = tuple(
        Finding(
            lane.name, lane.arrival_samples, lane.uncertainty_samples, lane.polarity, 0.0, lane.trust_word, ""
        )
        for lane in facts.lanes
    )
    return session, Alignment(facts.anchor, facts.rate_hz, findings)
