"""From recordings on disk to a session: which lanes there are and where each starts."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from pathlib import Path

from msgspec import Struct

from lagline.deliver.own import own_deliveries
from lagline.errors import (
    IsASession,
    MediaError,
    NoPermission,
    NoRecordings,
    NothingReadable,
    OwnDelivery,
    TooFewLanes,
)
from lagline.files import is_file, is_folder, readable
from lagline.media.fingerprint import fingerprints
from lagline.media.probe import AUDIO_SUFFIXES, RecordingInfo, probe
from lagline.session.storage import SUFFIX
from lagline.session.values import Balance, Lane, Session, Source, Version
from lagline.units import DEFAULT_TEMPERATURE_C

DAY_S = 24 * 3600.0


class OpenedTake(Struct, frozen=True):
    """A session ready to work on, and what the engineer should know of its recordings."""

    session: Session
    problems: tuple[str, ...] = ()

    def to_line_up(self) -> Session:
        """The session, for work that needs two lanes.

        Raises TooFewLanes, which names the files that could not be lanes.
        """
        lanes = self.session.lanes
        if len(lanes) < 2:
            others = [said for said in self.problems if said not in (only_lane(lane.name) for lane in lanes)]
            raise TooFewLanes((lane.name for lane in lanes), others)
        return self.session


def recordings_in(paths: Iterable[Path]) -> list[Path]:
    """The files given, and for each folder the recordings directly inside it, by name; each once.

    Raises NoRecordings for a folder that holds none, or when nothing is given.
    """
    found: dict[Path, Path] = {}
    for path in paths:
        inside = [path]
        if is_folder(path):
            try:
                inside = sorted(child for child in path.iterdir() if _looks_like_recording(child))
            except OSError as error:
                raise NoPermission(path) from error
            if not inside:
                raise NoRecordings([path])
        for file in inside:
            found.setdefault(file.absolute(), file)
    if not found:
        raise NoRecordings([])
    return list(found)


def only_lane(name: str) -> str:
    """What `open_take` says of a take of one lane; of no concern where it joins others."""
    return f"{name} is the only lane. Add another recording of the same performance to line it up."


def open_take(
    paths: Sequence[Path],
    *,
    rate_hz: int | None = None,
    temperature_c: float = DEFAULT_TEMPERATURE_C,
) -> OpenedTake:
    """Make a session of recordings of one performance.

    Multichannel files become one lane a channel (two channels: a linked pair). When every file carries a
    broadcast time stamp the lanes are placed by it, otherwise all start together. A file that can't be
    read is left out and named in `problems`, and so is what Lagline delivered itself, unless nothing else is
    given: aligned files, or any that are named one by one.

    Parameters
    ----------
    paths : files, or folders of files.
    rate_hz : the session's rate; by default the rate most of the files have (the highest of equals).
    temperature_c : of the air in the room, for distances.

    Raises
    ------
    NoRecordings
        Nothing was given, or a folder holds no recordings.
    OwnDelivery
        There is nothing but blends that Lagline made itself.
    IsASession
        A session file was given.
    MediaError, NothingReadable
        None of the files could be read (the one file's own error, or all of them together).
    """
    for path in paths:
        if path.suffix == SUFFIX:
            raise IsASession(path)
    files, told = _without_deliveries(recordings_in(paths), paths)
    infos: list[RecordingInfo] = []
    failures: list[MediaError] = []
    for file in files:
        try:
            infos.append(probe(file))
        except MediaError as error:
            failures.append(error)
    if not infos:
        raise failures[0] if len(failures) == 1 else NothingReadable(failures)
    rate = rate_hz or _usual_rate(infos)
    starts, time_reference, placed = _placement(infos, rate)
    lanes = _lanes(infos, starts)
    problems = [
        *told,
        *(str(error) for error in failures),
        *(info.warning for info in infos if info.warning),
        *_conversions(infos, rate),
        *placed,
    ]
    problems += [only_lane(lanes[0].name)] if len(lanes) == 1 else []
    session = Session(
        rate_hz=rate,
        lanes=tuple(lanes),
        versions=(Version(id="v1", name="Shifted", balances=_pair_pans(lanes)),),
        name=_take_name(infos),
        temperature_c=temperature_c,
        time_reference=time_reference,
    )
    return OpenedTake(session, tuple(problems))


def _pair_pans(lanes: Sequence[Lane]) -> dict[str, Balance]:
    """A stereo file sounds as it did: its channels lie hard left and right."""
    return {lane.id: Balance(pan=(-1.0, 1.0)[lane.source.channel]) for lane in lanes if lane.link}


def left_out_deliveries(files: str) -> str:
    """What is said of `files` that are in no take because Lagline made them itself."""
    return f"Left out, because Lagline delivered them itself: {files}."


def _without_deliveries(files: list[Path], given: Sequence[Path]) -> tuple[list[Path], list[str]]:
    """The files that are recordings of a take, and what to say of the others.

    A delivery into the take's own folder must not come back as lanes of it. Whoever gives aligned files and
    nothing else, or names single ones and nothing else, means them.
    """
    own = own_deliveries(files)
    if not own:
        return files, []
    taken = [file for file in files if file not in own]
    if not taken:
        named = {path.absolute() for path in given}
        taken = [file for file in files if own[file] == "lane" or file.absolute() in named]
        if not taken:
            raise OwnDelivery(given, [readable(file.name) for file in files])
    left_out = ", ".join(readable(file.name) for file in files if file not in taken)
    told = [left_out_deliveries(left_out)] if left_out else []
    if taken[0] in own:
        told.append("Lagline delivered these files itself, so the lanes among them are lined up already.")
    return taken, told


def _looks_like_recording(path: Path) -> bool:
    return path.suffix.lower() in AUDIO_SUFFIXES and not path.name.startswith(".") and is_file(path)


def _usual_rate(infos: Sequence[RecordingInfo]) -> int:
    counts = Counter(info.rate_hz for info in infos)
    return max(counts, key=lambda rate: (counts[rate], rate))


def _take_name(infos: Sequence[RecordingInfo]) -> str:
    folders = {info.path.parent for info in infos}
    return readable(folders.pop().name if len(folders) == 1 else infos[0].path.stem) or "take"


def _placement(infos: Sequence[RecordingInfo], rate_hz: int) -> tuple[list[int], int | None, list[str]]:
    """Start of each file in session samples, the time stamp of session time 0, and what to say of it."""
    together = [0] * len(infos)
    # A stamp of 0 is what writers leave that set none; beside real stamps it may be the start of the set.
    known = [info.bext.time_reference / info.rate_hz for info in infos if info.bext is not None]
    if not any(known):
        return together, None, []
    if len(known) < len(infos):
        without = ", ".join(info.path.name for info in infos if info.bext is None)
        said = f"No time stamp in {without}: time stamps are ignored and all files start together."
        return together, None, [said]
    if max(known) - min(known) > DAY_S / 2:  # a take across midnight: stamps count from there
        known = [stamp + DAY_S if stamp < DAY_S / 2 else stamp for stamp in known]
    first = min(known)
    if max(known) - first > sum(info.duration_s for info in infos):
        said = (
            "The time stamps are further apart than the recordings are long, so they are not of one take or "
            "some were never set: they are ignored and all files start together."
        )
        return together, None, [said]
    starts = [round((stamp - first) * rate_hz) for stamp in known]
    placed = []
    if any(starts):
        late = ", ".join(
            f"{info.path.name} {start / rate_hz:.3f} s"
            for info, start in zip(infos, starts, strict=True)
            if start
        )
        placed.append(f"Placed by their time stamps; later than the first: {late}.")
    return starts, round(first * rate_hz), placed


def _conversions(infos: Sequence[RecordingInfo], rate_hz: int) -> list[str]:
    return [
        f"{info.path.name} is at {info.rate_hz} Hz and is converted to the session's {rate_hz} Hz to be "
        f"heard and measured. If it sounds too high or too low, its rate is mislabelled: correct it first."
        for info in infos
        if info.rate_hz != rate_hz
    ]


def _lanes(infos: Sequence[RecordingInfo], starts: Sequence[int]) -> list[Lane]:
    lanes: list[Lane] = []
    taken: set[str] = set()
    for info, start, names in zip(infos, starts, _names(infos), strict=True):
        link = f"file-{len(lanes) + 1}" if info.channels == 2 else None
        known = _fingerprints(info)
        for channel, name in enumerate(names):
            lanes.append(
                Lane(
                    id=f"lane-{len(lanes) + 1}",
                    name=_unused(name, taken),
                    source=Source(
                        path=info.path,
                        channel=channel,
                        rate_hz=info.rate_hz,
                        frames=info.frames,
                        size_bytes=info.size_bytes,
                        subtype=info.subtype,
                        time_reference=info.time_reference,
                        fingerprint=known[channel],
                    ),
                    place_samples=start,
                    link=link,
                )
            )
    return lanes


def _fingerprints(info: RecordingInfo) -> tuple[str, ...]:
    try:
        return fingerprints(info)
    except (OSError, MediaError):  # gone since its header was read: reading it will tell
        return ("",) * info.channels


def _names(infos: Sequence[RecordingInfo]) -> list[list[str]]:
    """Of each file's channels; where files of several folders share a name, all with their folder's."""
    names = [_channel_names(info) for info in infos]
    folders: dict[str, set[Path]] = defaultdict(set)
    for info, own in zip(infos, names, strict=True):
        for name in own:
            folders[name.casefold()].add(info.path.parent)
    return [
        [
            f"{readable(info.path.parent.name)} {name}" if len(folders[name.casefold()]) > 1 else name
            for name in own
        ]
        for info, own in zip(infos, names, strict=True)
    ]


def _channel_names(info: RecordingInfo) -> list[str]:
    stem = readable(info.path.stem)
    if info.channels == 1:
        return [stem]
    if info.channels == 2:
        return [f"{stem} L", f"{stem} R"]
    return [f"{stem} {channel + 1}" for channel in range(info.channels)]


def _unused(name: str, taken: set[str]) -> str:
    candidates = [name, *(f"{name} ({n})" for n in range(2, len(taken) + 3))]
    chosen = next(candidate for candidate in candidates if candidate.casefold() not in taken)
    taken.add(chosen.casefold())
    return chosen
