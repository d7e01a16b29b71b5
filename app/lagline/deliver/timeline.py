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
from lagline.deliver.delivered import DeliveredFile
from lagline.deliver.placement import Placement
from lagline.session.values import Session, Version

SUFFIX = ".otio"
_Json = Mapping[str, object]


def timeline(session: Session, version: Version, files: Iterable[DeliveredFile], where: Placement) -> bytes:
    """One audio track a lane's file, all of them at the delivery's time stamp; files are named relatively.

    Clips are written as schema Clip.1, which old and new readers take.
    """
    tracks = [
        _object("Track.1", name=file.lane, kind="Audio", children=[_clip(file, where)])
        for file in files
        if file.kind == "lane" and file.version == version.name
    ]
    document = _object(
        "Timeline.1",
        name=f"{session.name}, {version.name}",
        global_start_time=_time(where.time_reference, where.rate_hz),
        metadata={"lagline": {"made_by": f"Lagline {__version__}", "note": version.note}},
        tracks=_object("Stack.1", name="tracks", children=tracks),
    )
    return msgspec.json.format(msgspec.json.encode(document), indent=2) + b"\n"


def _clip(file: DeliveredFile, where: Placement) -> _Json:
    there = _object(
        "TimeRange.1",
        start_time=_time(where.time_reference, where.rate_hz),
        duration=_time(file.frames, where.rate_hz),
    )
    media = _object("ExternalReference.1", target_url=quote(file.name), available_range=there)
    applied = {"shift_samples": file.shift_samples, "polarity": file.polarity, "sha256": file.sha256}
    return _object(
        "Clip.1", name=file.lane, media_reference=media, source_range=there, metadata={"lagline": applied}
    )


def _time(samples: int, rate_hz: int) -> _Json:
    return _object("RationalTime.1", value=float(samples), rate=float(rate_hz))


def _object(schema: str, **fields: object) -> _Json:
    return {"OTIO_SCHEMA": schema, **fields}
