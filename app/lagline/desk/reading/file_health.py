"""What is to be known of recordings before they are opened: facts from their headers, health from reading
them once. No Qt. What was read is kept in the cache, so that opening them afterwards is quick."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from msgspec import Struct

from lagline.desk.panels.figures import clock_text
from lagline.desk.panels.health_rows import ALL_WELL, bits_text
from lagline.errors import MediaError
from lagline.media.health import remarks
from lagline.media.overview import build_overviews
from lagline.media.probe import RecordingInfo, probe

READING = "Being read …"


class FileHealth(Struct, frozen=True):
    """One recording, as far as it is known. `grade`: problem, note, well, or reading."""

    path: Path
    facts: str
    sentences: tuple[str, ...]
    grade: str


def check_files(
    paths: tuple[Path, ...], tell: Callable[[FileHealth], None], cancelled: Callable[[], bool]
) -> None:
    """Tell the facts of every recording, then read each and tell its health. Raises Cancelled."""
    readable = []
    for path in paths:
        try:
            info = probe(path)
        except MediaError as error:
            tell(FileHealth(path, "", (str(error),), "problem"))
            continue
        readable.append(info)
        tell(FileHealth(path, facts_of(info), (READING,), "reading"))
    for info in readable:
        tell(_read(info, cancelled))


def facts_of(info: RecordingInfo) -> str:
    """`0:18.50 · 48 kHz · 24 bit · 2 channels`."""
    channels = "1 channel" if info.channels == 1 else f"{info.channels} channels"
    stamp = " · time stamp" if info.bext is not None else ""
    return (
        f"{clock_text(info.duration_s)} · {info.rate_hz / 1000:g} kHz · {bits_text(info)} · {channels}{stamp}"
    )


def _read(info: RecordingInfo, cancelled: Callable[[], bool]) -> FileHealth:
    try:
        found = build_overviews(info.path, info=info, cancelled=cancelled)
    except MediaError as error:
        return FileHealth(info.path, facts_of(info), (str(error),), "problem")
    name = info.path.stem
    names = [name] if info.channels == 1 else [f"{name}, channel {n}" for n in range(1, info.channels + 1)]
    said = [
        one for each, health in zip(names, found.health, strict=True) for one in remarks(each, info, health)
    ]
    said.sort(key=lambda one: one.grade != "problem")  # stable: problems first
    grade = said[0].grade if said else "well"
    return FileHealth(
        info.path, facts_of(info), tuple(dict.fromkeys(one.text for one in said)) or (ALL_WELL,), grade
    )
