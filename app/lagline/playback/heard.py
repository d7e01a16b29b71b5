"""Which part of a session can be heard, and which versions to keep ready."""

from __future__ import annotations

from msgspec.structs import replace

from lagline.session.values import ORIGINAL_ID, Session, Version

MOST_READY = 4  # versions rendered ahead; each costs the feeder its share


def what_is_heard(session: Session) -> Session:
    """The session without what makes no sound: small to send, and equal when nothing audible changed."""
    return replace(
        session,
        name="",
        alignment=None,
        anchor_id=None,
        trials=(),
        discarded_runs={},
        marks={},
        rankings=(),
        notes="",
        level_match=True,
        time_reference=None,
        temperature_c=20.0,
        extra={},
        lanes=tuple(replace(lane, link=None, extra={}) for lane in session.lanes),
        versions=tuple(
            Version(version.id, "", version.moves, version.balances) for version in session.versions
        ),
    )


def ready_versions(session: Session, wanted: tuple[str, ...]) -> tuple[str, ...]:
    """Ids to render ahead: the original, those last listened to, then the one being edited and others.

    In the session's own order, so that switching among them changes nothing.
    """
    there = every_version(session)
    by_need = dict.fromkeys((ORIGINAL_ID, *wanted, session.current_version_id, *there))
    chosen = [version_id for version_id in by_need if version_id in there][:MOST_READY]
    return tuple(version_id for version_id in there if version_id in chosen)


def every_version(session: Session) -> tuple[str, ...]:
    """Ids of all that can be heard, the original first."""
    return (ORIGINAL_ID, *(version.id for version in session.versions))


def same_take(one: Session, other: Session) -> bool:
    """Whether two sessions are edits of one take rather than two takes."""
    if one.rate_hz != other.rate_hz:
        return False
    return bool({lane.source.path for lane in one.lanes} & {lane.source.path for lane in other.lanes})
