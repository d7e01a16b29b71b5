"""The timeline of a delivery for editors that read OpenTimelineIO (.otio, JSON).

Chosen because its schema is open and versioned, its library is kept up by a foundation (Apache-2.0;
0.18.1 of November 2025) and its times may count in samples. AES31-3, the audio world's own project
interchange, has no maintained library and its text is not free, so nothing could be checked against it.
The few object types below are written here; tests read them with the library. Every file of a delivery
begins at the same moment and carries the same time stamp, so nothing is lost to an editor without it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from urllib.parse import quote

import msgspec

from lagline import __version__
from lagline.deliver.delivered import DeliveredFile, HeldLane
from lagline.deliver.placement import Placement
from lagline.session.values import Session, Version

SUFFIX = ".otio"
Json = Mapping[str, object]


def timeline(session: Session, version: Version, files: Iterable[DeliveredFile], where: Placement) -> bytes:
    """One audio track a lane, all of them at the delivery's time stamp; files are named relatively.

    Clips are written as schema Clip.1, which old and new readers take.
    """
    tracks = [
        track(held.lane, [_clip(file, held, channel, where)])
        for file in files
        if file.version == version.name
        for channel, held in enumerate(file.held, start=1)
    ]
    begins = time(where.time_reference, where.rate_hz)
    name = f"{session.name}, {version.name}"
    return whole_timeline(name, begins, version.note, tracks, marker_objects(session, where.start))


def marker_objects(session: Session, start: int) -> list[Json]:
    """The take's markers, from the timeline's start; a place is a range without length."""
    rate_hz = session.rate_hz
    return [
        otio_object(
            "Marker.2",
            name=marker.name,
            marked_range=otio_object(
                "TimeRange.1",
                start_time=time(marker.at_samples - start, rate_hz),
                duration=time((marker.stop_samples or marker.at_samples) - marker.at_samples, rate_hz),
            ),
        )
        for marker in session.markers
    ]


def whole_timeline(
    name: str, begins: Json, note: str, tracks: Iterable[Json], markers: Iterable[Json]
) -> bytes:
    """The document: tracks that begin together at a time, and marks over them."""
    document = otio_object(
        "Timeline.1",
        name=name,
        global_start_time=begins,
        metadata={"lagline": {"made_by": f"Lagline {__version__}", "note": note}},
        tracks=otio_object("Stack.1", name="tracks", children=list(tracks), markers=list(markers)),
    )
    return msgspec.json.format(msgspec.json.encode(document), indent=2) + b"\n"


def track(name: str, children: Iterable[Json]) -> Json:
    """An audio track: its children one after the other."""
    return otio_object("Track.1", name=name, kind="Audio", children=list(children))


def _clip(file: DeliveredFile, held: HeldLane, channel: int, where: Placement) -> Json:
    """A lane's file; which channel of it, from 1, is told where there are several."""
    there = otio_object(
        "TimeRange.1",
        start_time=time(where.time_reference, where.rate_hz),
        duration=time(file.frames, where.rate_hz),
    )
    media = otio_object("ExternalReference.1", target_url=quote(file.name), available_range=there)
    applied = {"shift_samples": held.shift_samples, "polarity": held.polarity, "sha256": file.sha256}
    if file.channels:
        applied["channel"] = channel
    return otio_object(
        "Clip.1", name=held.lane, media_reference=media, source_range=there, metadata={"lagline": applied}
    )


def time(samples: int, rate_hz: int) -> Json:
    """A time, or a length, in samples."""
    return otio_object("RationalTime.1", value=float(samples), rate=float(rate_hz))


def otio_object(schema: str, **fields: object) -> Json:
    """An object of a schema of OpenTimelineIO, as "Clip.1"."""
    return {"OTIO_SCHEMA": schema, **fields}
