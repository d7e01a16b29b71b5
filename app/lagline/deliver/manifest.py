"""The list of what was delivered, with checksums: for a program to read, and for `sha256sum -c`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

import msgspec
from msgspec.structs import replace

from lagline import __version__
from lagline.deliver.certificate import certificate_html
from lagline.deliver.delivered import DeliveredFile, Delivery, Kind
from lagline.deliver.own import MANIFEST_STEM, SCHEMA
from lagline.deliver.placement import Placement
from lagline.deliver.staging import Staging
from lagline.files import is_there
from lagline.media.write import write_file
from lagline.session.values import Session

MANIFEST_NAME = f"{MANIFEST_STEM}.json"
CHECKSUMS_NAME = "checksums.sha256"
CERTIFICATE_NAME = "certificate.html"


class Manifest(msgspec.Struct, frozen=True, rename={"schema_name": "schema"}):
    """What `delivery.json` holds."""

    schema_name: str
    made_by: str
    made_at: str  # ISO 8601 with offset
    take: str
    session_rate_hz: int
    rate_hz: int  # of the files
    start_samples: int  # session time of every file's first sample
    frames: int
    time_reference: int  # samples since midnight at `rate_hz`, in every file
    anchor: str
    files: tuple[DeliveredFile, ...]
    warnings: tuple[str, ...]


def manifest(session: Session, delivery: Delivery, where: Placement, made_at: str) -> Manifest:
    """What a delivery says of itself: the lanes, what was done to each, and where the files go."""
    anchor = next((lane.name for lane in session.lanes if lane.id == session.anchor_id), "")
    return Manifest(
        schema_name=SCHEMA,
        made_by=f"Lagline {__version__}",
        made_at=made_at,
        take=session.name,
        session_rate_hz=session.rate_hz,
        rate_hz=where.rate_hz,
        start_samples=where.start,
        frames=where.frames,
        time_reference=where.time_reference,
        anchor=anchor,
        files=delivery.files,
        warnings=delivery.warnings,
    )


def checksums(files: tuple[DeliveredFile, ...]) -> str:
    """Lines as GNU coreutils `sha256sum` writes and checks them, in binary mode."""
    return "".join(f"{file.sha256} *{file.name}\n" for file in files)


def stage_lists(
    session: Session,
    delivery: Delivery,
    where: Placement,
    staging: Staging,
    certified: Sequence[DeliveredFile] | None,
) -> tuple[DeliveredFile, ...]:
    """Write both lists into the staging folder, beside those of an earlier delivery that is there, and the
    certificate of the files `certified` unless that is None.
    """
    manifest_name, checksums_name, certificate_name = _free_names(staging)
    made_at = datetime.now().astimezone().isoformat(timespec="seconds")
    pages: tuple[DeliveredFile, ...] = ()
    if certified is not None:
        page = certificate_html(session.name, f"Lagline {__version__}", made_at, certified)
        pages = (stage_bytes(staging, certificate_name, page.encode("utf-8"), "certificate"),)
        delivery = replace(delivery, files=(*delivery.files, *pages))
    text = msgspec.json.format(msgspec.json.encode(manifest(session, delivery, where, made_at)), indent=2)
    sums = checksums(delivery.files)
    return (
        *pages,
        stage_bytes(staging, manifest_name, text + b"\n", "manifest"),
        stage_bytes(staging, checksums_name, sums.encode("utf-8"), "checksums"),
    )


def _free_names(staging: Staging) -> list[str]:
    """Of both lists and the certificate; " (2)" and on where an earlier delivery's are to be kept."""
    first = [MANIFEST_NAME, CHECKSUMS_NAME, CERTIFICATE_NAME]
    names, number = first, 1
    while not staging.overwrite and any(is_there(staging.folder / name) for name in names):
        number += 1
        names = [f"{Path(name).stem} ({number}){Path(name).suffix}" for name in first]
    return names


def stage_bytes(staging: Staging, name: str, data: bytes, kind: Kind, version: str = "") -> DeliveredFile:
    """Write a small file into the staging folder."""
    return stage_file(staging, name, lambda file: file.write(data), kind, version)


def stage_file(
    staging: Staging, name: str, fill: Callable[[BinaryIO], object], kind: Kind, version: str = ""
) -> DeliveredFile:
    """Let `fill` write a file into the staging folder."""
    written = write_file(staging.place(name), fill, sources=staging.sources)
    return DeliveredFile(kind, name, written.size_bytes, written.sha256, version)
