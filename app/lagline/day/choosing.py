"""Which takes a piece of work is for, and what is asked of each."""

from __future__ import annotations

from collections.abc import Sequence

from lagline.day.against import TRUSTED, differences, held_against, moved_lanes
from lagline.day.asking import Accept, Asked, Deliver, Measure, What
from lagline.day.values import Day, DayTake


def to_measure(day: Day, takes: Sequence[DayTake]) -> tuple[Asked, ...]:
    """Those that were not measured; where all were, all of them once more if they are not the whole list."""
    new = [take for take in takes if not take.is_measured]
    if not new and len(takes) < len(day.takes):
        new = list(takes)
    return tuple(Asked(take, Measure(day.setup)) for take in new)


def to_accept(day: Day, takes: Sequence[DayTake]) -> tuple[Asked, ...]:
    """Measured takes that nothing was put in place in yet, and in which nothing differs. While there is
    nothing to hold them against: those with every lane found and to be trusted.
    """
    held = held_against(day)
    return tuple(
        Asked(take, Accept(day.setup))
        for take in takes
        if take.state == "measured" and (not differences(take, held) if held else _is_sure(take))
    )


def to_accept_moved(day: Day, takes: Sequence[DayTake]) -> tuple[Asked, ...]:
    """Measured takes that nothing was put in place in yet: what moved goes where it was measured."""
    held = held_against(day)
    return tuple(
        Asked(take, Accept(day.setup), moved=moved_lanes(take, held) if held else frozenset())
        for take in takes
        if take.state == "measured"
    )


def to_decide(takes: Sequence[DayTake], what: What) -> tuple[Asked, ...]:
    """Takes that are lined up, or further on."""
    return tuple(Asked(take, what) for take in takes if is_ready(take))


def to_deliver(takes: Sequence[DayTake], what: Deliver) -> tuple[Asked, ...]:
    """Takes that are lined up, or further on; not those that lie in this folder as they are, unless files may
    be replaced.
    """
    return tuple(
        Asked(take, what)
        for take in takes
        if is_ready(take) and (what.options.overwrite or not _lies_there(take, what))
    )


def is_ready(take: DayTake) -> bool:
    """Whether it is lined up, or further on."""
    return take.state in ("lined up", "decided", "delivered")


def _lies_there(take: DayTake, what: Deliver) -> bool:
    delivered = take.delivered if take.state == "delivered" else None
    return delivered is not None and delivered.folder == what.place_of(take)


def to_retry(day: Day, before: Sequence[Asked]) -> tuple[Asked, ...]:
    """What failed of the work that was asked before, once more."""
    again = []
    for asked in before:
        take = day.take(asked.take.name)
        if take is not None and take.error:
            again.append(Asked(take, asked.what, moved=asked.moved))
    return tuple(again)


def _is_sure(take: DayTake) -> bool:
    facts = take.facts
    return facts is not None and all(lane.trust_word in TRUSTED for lane in facts.lanes)
