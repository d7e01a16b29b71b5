"""Markers and named regions of a take."""

from __future__ import annotations

from itertools import count

from msgspec.structs import replace

from lagline.session.checks import LONGEST_NAME
from lagline.session.values import Marker, Session


def with_marker(session: Session, start: int, stop: int | None = None) -> Session:
    """A marker at a session sample, or a region from `start` to `stop`, named by the first free number."""
    taken = {marker.name for marker in session.markers}
    name = next(str(number) for number in count(1) if str(number) not in taken)
    return _sorted(session, (*session.markers, Marker(start, name, stop)))


def with_marker_name(session: Session, marker: Marker, name: str) -> Session:
    """Raises ValueError for an empty name or one that is too long."""
    wanted = name.strip()
    if not wanted or len(wanted) > LONGEST_NAME:
        raise ValueError(f"a marker needs a name, of {LONGEST_NAME} characters at most")
    renamed = replace(marker, name=wanted)
    return _sorted(session, tuple(renamed if one == marker else one for one in session.markers))


def without_marker(session: Session, marker: Marker) -> Session:
    """The session without a marker; as it is when there is none like it."""
    return _sorted(session, tuple(one for one in session.markers if one != marker))


def marker_words(marker: Marker, rate_hz: int) -> str:
    """`1.250 s`, or for a region `1.250 s to 2.000 s`."""
    start = f"{marker.at_samples / rate_hz:.3f} s"
    return start if marker.stop_samples is None else f"{start} to {marker.stop_samples / rate_hz:.3f} s"


def _sorted(session: Session, markers: tuple[Marker, ...]) -> Session:
    return replace(session, markers=tuple(sorted(markers, key=lambda one: (one.at_samples, one.name))))
