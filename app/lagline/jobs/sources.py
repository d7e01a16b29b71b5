"""The recordings behind a session: which are missing or changed, and pointing lanes to their new place."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from lagline.errors import FileMissing, MediaError, SourceChanged
from lagline.media.probe import RecordingInfo, probe
from lagline.session.edits import with_lane
from lagline.session.values import Lane, Session, Source

MOST_FILES_SEARCHED = 200_000


class SourceProblem(Struct, frozen=True):
    """A lane whose recording is not as the session knows it."""

    lane_id: str
    path: Path
    sentence: str
    missing: bool


def source_problems(session: Session) -> tuple[SourceProblem, ...]:
    """Every lane whose recording is missing, can't be read, or is no longer the same. Reads headers only."""
    checked: dict[Path, RecordingInfo | MediaError] = {}
    problems = []
    for lane in session.lanes:
        path = lane.source.path
        if path not in checked:
            checked[path] = _info(path)
        problem = _problem(lane.source, checked[path])
        if problem is not None:
            missing = isinstance(problem, FileMissing)
            problems.append(SourceProblem(lane.id, path, f"{lane.name}: {problem}", missing))
    return tuple(problems)


def _info(path: Path) -> RecordingInfo | MediaError:
    try:
        return probe(path)
    except MediaError as error:
        return error


def _problem(known: Source, found: RecordingInfo | MediaError) -> MediaError | None:
    if isinstance(found, MediaError):
        return found
    what = _change(known, found)
    return None if what is None else SourceChanged(known.path, what)


def found_again(session: Session, lane_ids: Iterable[str], folder: Path) -> Session:
    """The session with these lanes pointed to files of the same name and size somewhere below `folder`.

    Lanes for which there is no such file, or whose file there is not the recording the session knows,
    stay as they are (ask `source_problems` again). Symbolic links to folders are not followed.
    """
    lane_ids = tuple(lane_ids)
    wanted = {
        (session.lane(lane_id).source.path.name, session.lane(lane_id).source.size_bytes)
        for lane_id in lane_ids
    }
    there = _search(folder, wanted)
    for lane_id in lane_ids:
        lane = session.lane(lane_id)
        path = there.get((lane.source.path.name, lane.source.size_bytes))
        if path is not None:
            session = _pointed(session, lane, path)
    return session


def pointed_to(session: Session, lane_id: str, path: Path) -> Session:
    """The session with one lane's recording at another place, chosen by the engineer.

    Raises
    ------
    MediaError
        It can't be read, or (SourceChanged) it is not the same recording.
    """
    lane = session.lane(lane_id)
    what = _change(lane.source, probe(path), size_matters=False)
    if what is not None:
        raise SourceChanged(path, what)
    return with_lane(session, replace(lane, source=replace(lane.source, path=path.absolute())))


def _pointed(session: Session, lane: Lane, path: Path) -> Session:
    try:
        return pointed_to(session, lane.id, path)
    except MediaError:
        return session  # not the recording we look for: the lane stays named as missing


def _search(folder: Path, wanted: set[tuple[str, int]]) -> dict[tuple[str, int], Path]:
    found: dict[tuple[str, int], Path] = {}
    names = {name for name, _ in wanted}
    seen = 0
    for place, folders, files in os.walk(folder):
        folders.sort()
        seen += len(files)
        for name in sorted(names.intersection(files)):
            path = Path(place) / name
            with contextlib.suppress(OSError):  # a link to nowhere, or gone since it was listed
                found.setdefault((name, path.stat().st_size), path)
        if seen > MOST_FILES_SEARCHED or wanted <= found.keys():
            break
    return {key: path for key, path in found.items() if key in wanted}


def _change(known: Source, info: RecordingInfo, *, size_matters: bool = True) -> str | None:
    if info.rate_hz != known.rate_hz:
        return f"its rate was {known.rate_hz} Hz and is {info.rate_hz} Hz"
    if info.frames != known.frames:
        return f"it had {known.frames} samples and has {info.frames}"
    if known.channel >= info.channels:
        return f"its channel {known.channel + 1} is gone"
    if size_matters and info.size_bytes != known.size_bytes:
        return f"it had {known.size_bytes} bytes and has {info.size_bytes}"
    return None
