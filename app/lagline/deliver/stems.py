"""Aligned files, of one lane or several, all of one start, one length and one time stamp."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from lagline.blend.mix import ClipLike
from lagline.deliver.delivered import Cancelled, DeliveredFile, Delivery, Progress, clipping_warning
from lagline.deliver.lane_files import LaneSet
from lagline.deliver.layout import file_lanes
from lagline.deliver.names import file_stem, unique
from lagline.deliver.options import DEFAULTS, DeliveryOptions, lane_subtype, shared_subtype
from lagline.deliver.placement import Placement, as_written, drift_warning, placement
from lagline.deliver.staging import Staging, staged
from lagline.media.write import SUFFIXES
from lagline.session.values import Session, Version
from lagline.spread import spread_in_parts

_AT_ONCE = min(4, os.cpu_count() or 1)


def write_stems(
    session: Session,
    version: Version,
    clips: Mapping[str, ClipLike],
    folder: Path,
    options: DeliveryOptions = DEFAULTS,
    *,
    progress: Progress = lambda _: None,
    cancelled: Cancelled = lambda: False,
) -> Delivery:
    """Write the lanes into `folder`, shifted and flipped as `version` says; gain and pan stay out.

    Either all files appear or none. A lane that needs no more than a shift by whole samples comes out
    bit for bit at its recording's own depth.

    Raises
    ------
    WouldOverwrite, CannotWrite, BadNameTemplate, TooManyChannels
    MediaError
        A recording cannot be read.
    Cancelled
    """
    with staged(folder, session_sources(session), overwrite=options.overwrite) as staging:
        where = placement(session, [as_written(version, options)], options.rate_hz)
        files, warnings = stage_stems(
            session, version, clips, staging, options, where, progress=progress, cancelled=cancelled
        )
    return Delivery(folder, tuple(files), (*where.warnings, *warnings))


def session_sources(session: Session) -> list[Path]:
    """The recordings behind the lanes, which nothing may be written over."""
    return list(dict.fromkeys(lane.source.path for lane in session.lanes))


def stage_stems(
    session: Session,
    version: Version,
    clips: Mapping[str, ClipLike],
    staging: Staging,
    options: DeliveryOptions,
    where: Placement,
    *,
    names: Sequence[str] = (),
    progress: Progress = lambda _: None,
    cancelled: Cancelled = lambda: False,
) -> tuple[list[DeliveredFile], list[str]]:
    """`write_stems` into a staging folder. `names`: of the files, where `lane_file_names` won't do."""
    applied = as_written(version, options)
    lane_set = LaneSet(session, applied, clips, staging, options, where, file_lanes(session, options))
    files = _written(lane_set, names or lane_file_names(session, version, options), progress, cancelled)
    said = [clipping_warning(file.lane, file.clipped_samples) for file in files]
    said.append(drift_warning(version, options))
    warnings = [warning for warning in said if warning is not None]
    warnings += _depth_notes(lane_set, files)
    if options.file_format == "FLAC":
        warnings.append(
            "Few editors read a time stamp from FLAC: where yours does not, line files up at their starts."
        )
        if options.depth == "float":
            warnings.append("FLAC holds no floats: 24 bits were written.")
    return files, warnings


def _depth_notes(lane_set: LaneSet, files: Sequence[DeliveredFile]) -> list[str]:
    """Files that are not of their recordings' depth, where that was asked for."""
    options = lane_set.options
    if options.depth != "source":
        return []
    as_copied = [
        shared_subtype(lane_subtype(lane.source, options, copied=True) for lane in file.lanes)
        for file in lane_set.files
    ]
    changed = [
        (file.lane, file.subtype) for file, own in zip(files, as_copied, strict=True) if file.subtype != own
    ]
    notes = []
    for subtype, words in (
        ("PCM_24", "written with 24 bits, since its samples are interpolated"),
        ("FLOAT", "written as 32-bit float, since interpolation lifts it above full scale"),
    ):
        names = [lane for lane, one in changed if one == subtype]
        if names:
            notes.append(f"{', '.join(names)}: {words}. Choose a depth to have that one.")
    return notes


def lane_file_names(
    session: Session, version: Version, options: DeliveryOptions, taken: Sequence[str] = ()
) -> tuple[str, ...]:
    """The names of the lanes' files, in the order of the lanes, none like one of `taken`.

    Raises BadNameTemplate, TooManyChannels.
    """
    stems = [
        file_stem(
            options.names, {"take": session.name, "lane": file.name, "version": version.name, "n": number}
        )
        for number, file in enumerate(file_lanes(session, options), start=1)
    ]
    suffix = SUFFIXES[options.file_format]
    others = [name.removesuffix(suffix) for name in taken if name.endswith(suffix)]
    return tuple(stem + suffix for stem in unique([*others, *stems])[len(others) :])


def _written(
    lane_set: LaneSet, names: Sequence[str], progress: Progress, cancelled: Cancelled
) -> list[DeliveredFile]:
    """The files in order, made some at a time. The first failure stops the others and is raised."""

    def make(number: int, part: Progress, stopped: Cancelled) -> DeliveredFile:
        return lane_set.write(number, names[number], part, stopped)

    return spread_in_parts(make, range(len(names)), threads=_AT_ONCE, progress=progress, cancelled=cancelled)
