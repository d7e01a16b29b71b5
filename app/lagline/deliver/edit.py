"""An edit over the recordings themselves: nothing is rendered, and everything can still be changed.

In OpenTimelineIO each lane is a track: a gap up to where the recording begins, to the sample, then all of
it. What an edit in samples can't say stands in each clip's metadata under "lagline" and in the table: the
fraction of a sample by which it should come still later, drift, polarity, gain and pan. AES31-3 would be
the audio trade's own form; its text is not free, so nothing could be checked against it. CMX lists count in
frames of a picture, some 1900 samples: too coarse for this.
"""

from __future__ import annotations

import os
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO
from urllib.parse import quote

from msgspec import Struct

from lagline.deliver.csv_text import csv_text
from lagline.deliver.placement import Placement
from lagline.deliver.stamps import first_sample
from lagline.deliver.timeline import Json, marker_objects, otio_object, time, track, whole_timeline
from lagline.files import readable
from lagline.session.values import Session, Version

EDIT_SUFFIXES = (".otio", ".csv")
BUNDLE_SUFFIX = ".otioz"
_BUNDLE_VERSION = "1.0.0"
_HEADINGS = (
    "lane", "file", "channel", "file_rate_hz", "in_samples", "out_samples", "rate_hz", "position_samples",
    "fraction_samples", "drift_ppm", "polarity", "gain_db", "pan", "plays",
)  # fmt: skip


class EditedLane(Struct, frozen=True):
    """Where one recording lies in the edit, and what else is to be done with it.

    channel : from 1, as editors count.
    position_samples : of its first sample from the edit's beginning, whole, at the session's rate.
    fraction_samples : how much later than that it should sound, at the session's rate, -0.5 to 0.5.
    drift_ppm : drift to take out; positive: the recording was getting later.
    plays : whether it is in the blend.
    """

    lane: str
    path: Path
    channel: int
    file_rate_hz: int
    frames: int
    position_samples: int
    fraction_samples: float
    drift_ppm: float
    polarity: int
    gain_db: float
    pan: float
    plays: bool


def edited_lanes(session: Session, version: Version, where: Placement) -> tuple[EditedLane, ...]:
    """Every lane, in order; the edit begins where a delivery of the version does."""
    rows = []
    heard = {lane.id for lane in session.audible_lanes(version)}
    for lane in session.lanes:
        move = version.move(lane.id)
        begins = first_sample(version, lane) - where.start
        position = round(begins)
        row = EditedLane(
            lane=lane.name,
            path=lane.source.path,
            channel=lane.source.channel + 1,
            file_rate_hz=lane.source.rate_hz,
            frames=lane.source.frames,
            position_samples=position,
            fraction_samples=begins - position,
            drift_ppm=move.rate_ppm,
            polarity=move.polarity,
            gain_db=version.balance(lane.id).gain_db,
            pan=version.balance(lane.id).pan,
            plays=lane.id in heard,
        )
        rows.append(row)
    return tuple(rows)


def edit_table(rows: tuple[EditedLane, ...], rate_hz: int, folder: Path) -> bytes:
    """The edit as CSV (RFC 4180); files are named from `folder`, out points lie behind the last sample."""
    cells = [
        (
            row.lane, readable(_relative(row.path, folder)), row.channel, row.file_rate_hz, 0, row.frames,
            rate_hz, row.position_samples, row.fraction_samples, row.drift_ppm, row.polarity, row.gain_db,
            row.pan, "yes" if row.plays else "no",
        )
        for row in rows
    ]  # fmt: skip
    return csv_text(_HEADINGS, cells).encode("utf-8")


def edit_timeline(
    session: Session, version: Version, rows: tuple[EditedLane, ...], where: Placement, urls: dict[Path, str]
) -> bytes:
    """The edit as OpenTimelineIO; `urls` : how each recording is reached."""
    tracks = [track(row.lane, _pieces(row, session.rate_hz, urls[row.path])) for row in rows]
    begins = time((session.time_reference or 0) + where.start, session.rate_hz)
    name = f"{session.name}, {version.name}, recordings"
    return whole_timeline(name, begins, version.note, tracks, marker_objects(session, where.start))


def urls_from(folder: Path, rows: tuple[EditedLane, ...]) -> dict[Path, str]:
    """Relative ones where they can be, so that folder and recordings may move together."""
    return {row.path: quote(_relative(row.path, folder), errors="surrogateescape") for row in rows}


def write_bundle(file: BinaryIO, timeline: bytes, urls: dict[Path, str]) -> None:
    """A file bundle of OpenTimelineIO (.otioz): the timeline and, uncompressed, every recording it names."""
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as bundle:
        bundle.writestr("version.txt", _BUNDLE_VERSION)
        bundle.writestr("content.otio", timeline, zipfile.ZIP_DEFLATED)
        for path, url in urls.items():
            bundle.write(path, url)


def bundled_urls(rows: tuple[EditedLane, ...]) -> dict[Path, str]:
    """Places in a bundle: "media/" and the file's name, told apart where two have the same."""
    urls: dict[Path, str] = {}
    for path in dict.fromkeys(row.path for row in rows):
        stem, suffix = readable(path.stem), readable(path.suffix)
        names = (stem + suffix, *(f"{stem} ({number}){suffix}" for number in range(2, len(rows) + 1)))
        urls[path] = next(url for url in (f"media/{name}" for name in names) if url not in urls.values())
    return urls


def _pieces(row: EditedLane, rate_hz: int, url: str) -> Iterator[Json]:
    if row.position_samples > 0:
        silence = otio_object(
            "TimeRange.1", start_time=time(0, rate_hz), duration=time(row.position_samples, rate_hz)
        )
        yield otio_object("Gap.1", name="", source_range=silence)
    whole = otio_object(
        "TimeRange.1", start_time=time(0, row.file_rate_hz), duration=time(row.frames, row.file_rate_hz)
    )
    media = otio_object("ExternalReference.1", target_url=url, available_range=whole)
    told = {
        "channel": row.channel,
        "position_samples": row.position_samples,
        "fraction_samples": row.fraction_samples,
        "drift_ppm": row.drift_ppm,
        "polarity": row.polarity,
        "gain_db": row.gain_db,
        "pan": row.pan,
    }
    yield otio_object(
        "Clip.1",
        name=row.lane,
        media_reference=media,
        source_range=whole,
        enabled=row.plays,
        metadata={"lagline": told},
    )


def _relative(path: Path, folder: Path) -> str:
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:  # on another drive
        return path.as_posix()
