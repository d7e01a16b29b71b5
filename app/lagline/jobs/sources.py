"""The recordings behind a session: which are missing, changed, renamed or exchanged; and where they are now.

A recording is known again by its fingerprint; lanes of sessions from before there were any, by its header and
size.
"""

from __future__ import annotations

import contextlib
import os
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from itertools import islice
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from lagline.errors import FileMissing, MediaError, NotAudio, SourceChanged, SourcesNotAsKnown
from lagline.files import is_file
from lagline.media.fingerprint import fingerprints, is_comparable
from lagline.media.probe import AUDIO_SUFFIXES, RecordingInfo, probe
from lagline.session.edits import with_lane
from lagline.session.values import Lane, Session, Source

MOST_FILES_SEARCHED = 200_000
MOST_FILES_OPENED = 5_000  # of them, in search of a copy that is of another size


class Place(Struct, frozen=True):
    """One channel of a file."""

    path: Path
    channel: int


class SourceProblem(Struct, frozen=True):
    """A lane whose recording is not as the session knows it."""

    lane_id: str
    path: Path
    sentence: str
    missing: bool
    now: Place | None = None  # where its recording is now, as far as that is beside where it was
    replaced: bool = False  # another recording that fits, of the same rate and length, is in its place


class _Found(Struct, frozen=True):
    """A recording that could be read."""

    info: RecordingInfo
    fingerprints: tuple[str, ...]


_Look = Callable[[Path], "_Found | MediaError"]


def source_problems(session: Session) -> tuple[SourceProblem, ...]:
    """Every lane whose recording is missing, can't be read, or is no longer the same.

    Reads headers and some samples. Only where something is wrong, the folder is searched for where the
    recording is now.
    """
    look = _looking()
    problems = []
    for lane in session.lanes:
        error = _problem(lane.source, look(lane.source.path))
        if error is not None:
            problems.append(_told(session, lane, error, look))
    return tuple(problems)


def check_sources(session: Session) -> None:
    """Nothing may be made of other recordings than those that were decided on.

    Raises SourcesNotAsKnown, which tells of every lane.
    """
    problems = source_problems(session)
    if problems:
        can_be_used = any(problem.now is not None for problem in problems)
        raise SourcesNotAsKnown([problem.sentence for problem in problems], can_be_used=can_be_used)


def where_they_are(session: Session, problems: Iterable[SourceProblem]) -> Session:
    """The session with lanes pointed to where their recordings are now: renamed, or exchanged."""
    look = _looking()
    for problem in problems:
        if problem.now is not None:
            session = _at(session, session.lane(problem.lane_id), problem.now, look)
    return session


def as_they_are(session: Session, problems: Iterable[SourceProblem]) -> Session:
    """The session with other recordings of the same rate and length taken for those it was made of."""
    look = _looking()
    for problem in problems:
        lane = session.lane(problem.lane_id)
        if problem.replaced:
            session = _at(session, lane, Place(lane.source.path, lane.source.channel), look)
    return session


def with_fingerprints(session: Session) -> Session:
    """The session with the fingerprints that it lacks, of recordings that are as it knows them."""
    look = _looking()
    for lane in session.lanes:
        found = look(lane.source.path)
        if not is_comparable(lane.source.fingerprint) and _problem(lane.source, found) is None:
            session = _at(session, lane, Place(lane.source.path, lane.source.channel), look)
    return session


def found_again(session: Session, lane_ids: Iterable[str], folder: Path) -> Session:
    """The session with these lanes pointed to their recordings somewhere below `folder`, whatever they are
    called now; lanes without a fingerprint to files of the same name and size.

    Lanes whose recording is not there stay as they are (ask `source_problems` again), and so does one for
    which two files fit that differ. Symbolic links to folders are not followed.
    """
    look = _looking()
    lanes = [session.lane(lane_id) for lane_id in lane_ids]
    by_size = _sizes_below(folder, {lane.source.path.name for lane in lanes})
    for lane in lanes:
        place = _by_size(lane.source, by_size, look)
        if place is not None:
            session = _at(session, lane, place, look)
    left = [
        lane for lane in lanes if session.lane(lane.id) is lane and is_comparable(lane.source.fingerprint)
    ]
    if left:
        everything = (path for paths in by_size.values() for path in paths)
        places = _places(islice(everything, MOST_FILES_OPENED), left, look)
        for lane in left:
            place = places.get(lane.source.fingerprint)
            if place is not None:
                session = _at(session, lane, place, look)
    return session


def pointed_to(session: Session, lane_id: str, path: Path) -> Session:
    """The session with one lane's recording at another place, chosen by the engineer.

    Raises
    ------
    MediaError
        It can't be read, or (SourceChanged) it is not the same recording.
    """
    lane = session.lane(lane_id)
    look = _looking()
    found = look(path.absolute())
    if isinstance(found, MediaError):
        raise found
    place = _place_in(found, lane.source)
    if place is None:
        what = _change(lane.source, found, size_matters=False) or "its sound is another"
        raise SourceChanged(path, what)
    return _at(session, lane, place, look)


def _looking() -> _Look:
    """A way to look at files that opens each once."""
    seen: dict[Path, _Found | MediaError] = {}

    def look(path: Path) -> _Found | MediaError:
        if path not in seen:
            try:
                info = probe(path)
                seen[path] = _Found(info, fingerprints(info))
            except MediaError as error:
                seen[path] = error
            except OSError as error:
                seen[path] = NotAudio(path, error.strerror or "the disk does not answer")
        return seen[path]

    return look


def _problem(known: Source, found: _Found | MediaError) -> MediaError | None:
    if isinstance(found, MediaError):
        return found
    what = _change(known, found)
    return None if what is None else SourceChanged(known.path, what)


def _change(known: Source, found: _Found, *, size_matters: bool = True) -> str | None:
    """What is different about a recording; None where it is the one that is known."""
    info = found.info
    if info.rate_hz != known.rate_hz:
        return f"its rate was {known.rate_hz} Hz and is {info.rate_hz} Hz"
    if info.frames != known.frames:
        return f"it had {known.frames} samples and has {info.frames}"
    if known.channel >= info.channels:
        return f"its channel {known.channel + 1} is gone"
    if is_comparable(known.fingerprint):
        same = found.fingerprints[known.channel] == known.fingerprint
        return None if same else "it is as long as it was, but its sound is another"
    if size_matters and info.size_bytes != known.size_bytes:
        return f"it had {known.size_bytes} bytes and has {info.size_bytes}"
    return None


def _told(session: Session, lane: Lane, error: MediaError, look: _Look) -> SourceProblem:
    source = lane.source
    own = [one.source.path for one in session.lanes]
    place = _places({*own, *_alike_beside(source)}, [lane], look).get(source.fingerprint)
    there = _fingerprint_at(source, look(source.path))
    other = next((one for one in session.lanes if there and one.source.fingerprint == there), None)
    beside = place is not None and place.path.parent == source.path.parent
    now = "" if place is None else place.path.name if beside else str(place.path)
    if place is not None and other is not None:
        sentence = (
            f"{source.path.name} now holds the recording of {other.name}, and its own is in {now}. "
            f"Exchange the files back."
        )
    elif place is not None:
        sentence = (
            f"its recording is no longer in {source.path.name} but in {now}. Give the file its name back."
        )
    else:
        sentence = str(error)
    return SourceProblem(
        lane.id,
        source.path,
        f"{lane.name}: {sentence}",
        missing=isinstance(error, FileMissing),
        now=place,
        replaced=place is None and bool(there),
    )


def _fingerprint_at(known: Source, found: _Found | MediaError) -> str:
    """Of what is in a recording's place now; empty where nothing is, or nothing that fits."""
    if isinstance(found, MediaError):
        return ""
    info = found.info
    fits = (info.rate_hz, info.frames) == (known.rate_hz, known.frames) and known.channel < info.channels
    return found.fingerprints[known.channel] if fits else ""


def _at(session: Session, lane: Lane, place: Place, look: _Look) -> Session:
    """The session with a lane at a place that was looked at and found to be its recording."""
    found = look(place.path)
    assert isinstance(found, _Found)
    info = found.info
    source = replace(
        lane.source,
        path=place.path.absolute(),
        channel=place.channel,
        size_bytes=info.size_bytes,
        subtype=info.subtype,
        fingerprint=found.fingerprints[place.channel],
    )
    return with_lane(session, replace(lane, source=source))


# searching


def _places(paths: Iterable[Path], lanes: Iterable[Lane], look: _Look) -> dict[str, Place]:
    """Where the recordings of lanes are among some files, by fingerprint; not where two fit that differ."""
    wanted = {
        lane.source.fingerprint: lane.source for lane in lanes if is_comparable(lane.source.fingerprint)
    }
    found: dict[str, list[Place]] = defaultdict(list)
    if not wanted:
        return {}
    for path in paths:
        one = look(path)
        for channel, mark in enumerate(one.fingerprints if isinstance(one, _Found) else ()):
            if mark in wanted:
                found[mark].append(Place(path, channel))
    return {mark: places[0] for mark, places in found.items() if _are_one(places, look)}


def _are_one(places: list[Place], look: _Look) -> bool:
    """Whether all hold the same samples, every one of them."""
    if len(places) == 1:
        return True
    complete = set()
    for place in places:
        found = look(place.path)
        assert isinstance(found, _Found)
        complete.add(fingerprints(found.info, complete=True)[place.channel])
    return len(complete) == 1


def _place_in(found: _Found, known: Source) -> Place | None:
    """The channel of a file that is the known recording; without a fingerprint that of the same number."""
    if not is_comparable(known.fingerprint):
        same = _change(known, found, size_matters=False) is None
        return Place(found.info.path, known.channel) if same else None
    marks = found.fingerprints
    preferred = [known.channel] if known.channel < len(marks) else []
    for channel in (*preferred, *range(len(marks))):
        if marks[channel] == known.fingerprint:
            return Place(found.info.path, channel)
    return None


def _by_size(known: Source, by_size: Mapping[int, list[Path]], look: _Look) -> Place | None:
    """Among files of the same size: first those of the same name; others only where content can tell."""
    same_name = [path for path in by_size.get(known.size_bytes, ()) if path.name == known.path.name]
    others = by_size.get(known.size_bytes, ()) if is_comparable(known.fingerprint) else ()
    for path in (*same_name, *others):
        found = look(path)
        place = None if isinstance(found, MediaError) else _place_in(found, known)
        if place is not None:
            return place
    return None


def _sizes_below(folder: Path, names: Collection[str]) -> dict[int, list[Path]]:
    """The audio files below a folder, and those of these names, by their size in bytes; no more than
    MOST_FILES_SEARCHED are seen.
    """
    found: dict[int, list[Path]] = defaultdict(list)
    seen = 0
    for place, folders, files in os.walk(folder):
        folders.sort()
        seen += len(files)
        for name in sorted(files):
            if name in names or _is_audio(name):
                with contextlib.suppress(OSError):  # a link to nowhere, or gone since it was listed
                    path = Path(place) / name
                    found[path.stat().st_size].append(path)
        if seen > MOST_FILES_SEARCHED:
            break
    return found


def _alike_beside(known: Source) -> list[Path]:
    """The audio files in the folder of a recording that are of its size."""
    try:
        inside = sorted(path for path in known.path.parent.iterdir() if _is_audio(path.name))
        return [path for path in inside if is_file(path) and path.stat().st_size == known.size_bytes]
    except OSError:  # gone, or closed to us: then nothing is found there
        return []


def _is_audio(name: str) -> bool:
    return Path(name).suffix.lower() in AUDIO_SUFFIXES and not name.startswith(".")
