"""The health of recordings: what to know before trusting them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from lagline.errors import MediaError
from lagline.jobs.line_up import never, no_progress
from lagline.media.health import Health, remarks, twin_sentences
from lagline.media.overview import FileOverview, build_all
from lagline.media.watched import Watched


class ChannelCheck(Struct, frozen=True):
    """One channel of a recording and what there is to say of it; empty sentences when all is well."""

    name: str  # file name, with the channel when there are several
    path: Path
    health: Health | None  # None: the file could not be read
    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def check_recordings(
    paths: Sequence[Path],
    *,
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> tuple[ChannelCheck, ...]:
    """Read every file once and say what is wrong with each channel; a bad file does not stop the rest.

    Raises Cancelled.
    """
    done = dict.fromkeys(paths, 0.0)

    def tell(path: Path, fraction: float, _overviews: object) -> None:
        done[path] = fraction
        progress(sum(done.values()) / len(done))

    watched = {path: Watched([path]) for path in paths}
    read = build_all(paths, progress=tell, cancelled=cancelled)
    checks = [
        check for path, found in read.items() for check in _channels(path, _settled(watched[path], found))
    ]
    return tuple(_with_twin(check, checks) for check in checks)


def _settled(watched: Watched, found: FileOverview | MediaError) -> FileOverview | MediaError:
    """What was read, unless the file changed meanwhile."""
    try:
        watched.check()
    except MediaError as error:
        return error
    return found


def _with_twin(check: ChannelCheck, others: Sequence[ChannelCheck]) -> ChannelCheck:
    """The check with a sentence when an earlier channel holds exactly the same samples, upside down too."""
    health = check.health
    if health is None or health.peak == 0.0 or not health.fingerprint:
        return check
    for other in others:
        if other is check:
            return check
        known = (health.fingerprint, health.inverted_fingerprint)
        if other.health is not None and other.health.fingerprint in known:
            near = other.path.parent == check.path.parent
            earlier = other.name if near else str(other.path)
            here = check.name if earlier != check.name else str(check.path)
            found = twin_sentences({earlier: other.health, here: health})
            return replace(check, problems=(*check.problems, *found))
    return check


def _channels(path: Path, found: FileOverview | MediaError) -> list[ChannelCheck]:
    if isinstance(found, MediaError):
        return [ChannelCheck(path.name, path, None, (str(found),))]
    checks = []
    for channel, health in enumerate(found.health):
        name = path.name if len(found.health) == 1 else f"{path.name} channel {channel + 1}"
        said = remarks(name, found.info, health)
        checks.append(
            ChannelCheck(
                name,
                path,
                health,
                tuple(remark.text for remark in said if remark.grade == "problem"),
                tuple(remark.text for remark in said if remark.grade == "note"),
            )
        )
    return checks
