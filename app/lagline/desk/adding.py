"""More recordings for a take that is open already. No Qt."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec.structs import replace

from lagline.session.values import Balance, Session


def with_added(session: Session, new: Session) -> Session:
    """The session with the lanes of another take (at the same rate) below its own.

    Findings are dropped: they say nothing of the new lanes. Names and ids stay unique. When both takes
    have time stamps, the new lanes are placed by theirs; else they start at session time 0.
    """
    by = 0
    if session.time_reference is not None and new.time_reference is not None:
        by = new.time_reference - session.time_reference
    lanes, balances = list(session.lanes), dict[str, Balance]()
    names = {lane.name.casefold() for lane in lanes}
    ids = {lane.id for lane in lanes}
    for lane in new.lanes:
        name = next(n for n in _numbered(lane.name, " ") if n.casefold() not in names)
        lane_id = next(i for i in _numbered(lane.id, "-") if i not in ids)
        link = None if lane.link is None else f"{lane.link}-{len(session.lanes)}"
        names.add(name.casefold())
        ids.add(lane_id)
        if lane.id in new.current_version.balances:
            balances[lane_id] = new.current_version.balance(lane.id)
        lanes.append(replace(lane, id=lane_id, name=name, link=link, place_samples=lane.place_samples + by))
    versions = tuple(
        replace(version, balances={**version.balances, **balances}) for version in session.versions
    )
    return replace(session, lanes=tuple(lanes), versions=versions, alignment=None)


def already_there(session: Session, new: Session) -> tuple[str, ...]:
    """Names of the session's lanes whose recording, channel by channel, is in the other take too."""
    coming = {(lane.source.path, lane.source.channel) for lane in new.lanes}
    return tuple(lane.name for lane in session.lanes if (lane.source.path, lane.source.channel) in coming)


def _numbered(stem: str, between: str) -> Iterator[str]:
    yield stem
    number = 2
    while True:
        yield f"{stem}{between}{number}"
        number += 1
