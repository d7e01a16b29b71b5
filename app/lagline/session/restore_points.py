"""Earlier states of a session file, dated, so that none is gone the moment another is saved over it.

A copy of what each save replaces lies in a hidden folder beside the session (`.NAME.lagline.points`), or in
the user's state folder where that can't be written. Kept are the last ten and the last one of each day.
"""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

from msgspec import Struct

from lagline.files import write_whole
from lagline.session.places import both, private_folder

POINTS_ENDING = ".points"
LAST, DAYS = 10, 90  # how many are kept whatever their day, and of how many days one
_NAME = "%Y-%m-%dT%H%M%S.%fZ.lagline"


class RestorePoint(Struct, frozen=True):
    """One earlier state: a session file whose paths are meant from where the session itself lies."""

    path: Path
    when: datetime  # it was saved, UTC


def keep(session_path: Path, data: bytes, when_s: float) -> Path:
    """Keep the bytes of a session file as of `when_s` (seconds since 1970); where they are now.

    What the newest point holds already is not kept twice. Raises OSError when neither place can be written.
    """
    first, second = both(session_path, POINTS_ENDING)
    try:
        return _keep_in(first, data, when_s)
    except OSError:
        return _keep_in(second, data, when_s)


def restore_points(session_path: Path) -> tuple[RestorePoint, ...]:
    """All that are kept of this session, newest first, with the one backup that earlier versions kept."""
    points = [point for folder in both(session_path, POINTS_ENDING) for point in _points_in(folder)]
    backup = session_path.with_name(session_path.name + ".bak")
    with suppress(OSError):
        points.append(RestorePoint(backup, _utc(backup.stat().st_mtime)))
    return tuple(sorted(points, key=lambda point: point.when, reverse=True))


def _keep_in(folder: Path, data: bytes, when_s: float) -> Path:
    private_folder(folder)
    points = _points_in(folder)
    if points and points[0].path.read_bytes() == data:
        return points[0].path
    when = _utc(when_s)
    while (path := folder / when.strftime(_NAME)).exists():
        when += timedelta(microseconds=1)
    write_whole(path, data, private=True)
    for point in _no_longer_kept([RestorePoint(path, when), *points]):
        with suppress(OSError):  # one too many does no harm
            point.path.unlink(missing_ok=True)
    return path


def _points_in(folder: Path) -> list[RestorePoint]:
    """Newest first. What bears another name is not ours."""
    points = []
    try:
        names = [path.name for path in folder.iterdir()]
    except OSError:
        return []
    for name in names:
        with suppress(ValueError):
            points.append(RestorePoint(folder / name, datetime.strptime(name, _NAME).replace(tzinfo=UTC)))
    return sorted(points, key=lambda point: point.when, reverse=True)


def _no_longer_kept(points: list[RestorePoint]) -> list[RestorePoint]:
    points = sorted(points, key=lambda point: point.when, reverse=True)
    last_of_day: dict[str, RestorePoint] = {}
    for point in points:
        last_of_day.setdefault(f"{point.when.astimezone():%Y-%m-%d}", point)
    kept = {point.path for point in [*points[:LAST], *list(last_of_day.values())[:DAYS]]}
    return [point for point in points if point.path not in kept]


def _utc(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)
