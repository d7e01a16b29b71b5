"""Aligned files: one a lane, all of one start, one length and one time stamp."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from msgspec.structs import replace

from lagline.blend.mix import ClipLike
from lagline.deliver.delivered import Cancelled, DeliveredFile, Delivery, Progress, clipping_warning
from lagline.deliver.loudness_fields import FileLoudness
from lagline.deliver.names import file_stem, unique
from lagline.deliver.options import DEFAULTS, DeliveryOptions, lane_subtype, lies_on_steps
from lagline.deliver.placement import Placement, placement, with_whole_shifts
from lagline.deliver.render import lane_blocks, watched
from lagline.deliver.staging import Staging, staged
from lagline.deliver.stamps import lane_chunks
from lagline.media.carry import Carried, read_carried
from lagline.media.riff import Chunk
from lagline.media.write import SUFFIXES, write_audio
from lagline.session.values import Lane, Session, Version


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
    """Write one file a lane into `folder`, shifted and flipped as `version` says; gain and pan stay out.

    Either all files appear or none. A lane that needs no more than a shift by whole samples comes out
    bit for bit at its recording's own depth.

    Raises
    ------
    WouldOverwrite, CannotWrite, BadNameTemplate
    MediaError
        A recording cannot be read.
    Cancelled
    """
    with staged(folder, session_sources(session), overwrite=options.overwrite) as staging:
        where = placement(session, [version], options.rate_hz)
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
    taken: Sequence[str] = (),
    progress: Progress = lambda _: None,
    cancelled: Cancelled = lambda: False,
) -> tuple[list[DeliveredFile], list[str]]:
    """`write_stems` into a staging folder. `taken`: file names without suffix that others have already."""
    applied = with_whole_shifts(version) if options.whole_samples else version
    stems = [
        file_stem(
            options.names, {"take": session.name, "lane": lane.name, "version": version.name, "n": number}
        )
        for number, lane in enumerate(session.lanes, start=1)
    ]
    names = unique([*taken, *stems])[len(taken) :]
    files: list[DeliveredFile] = []
    warnings: list[str] = []
    for number, (lane, stem) in enumerate(zip(session.lanes, names, strict=True)):

        def part(fraction: float, number: int = number) -> None:
            progress((number + fraction) / len(names))

        file = _write_lane(
            session, applied, lane, clips, staging, options, where, number, stem, part, cancelled
        )
        files.append(replace(file, version=version.name))
        if warning := clipping_warning(lane.name, file.clipped_samples):
            warnings.append(warning)
    if options.file_format == "FLAC":
        warnings.append("FLAC files carry no time stamp: line them up at their starts.")
    return files, warnings


def _write_lane(
    session: Session,
    version: Version,
    lane: Lane,
    clips: Mapping[str, ClipLike],
    staging: Staging,
    options: DeliveryOptions,
    where: Placement,
    number: int,
    stem: str,
    progress: Progress,
    cancelled: Cancelled,
) -> DeliveredFile:
    subtype = lane_subtype(lane.source, options)
    move = version.move(lane.id)
    copied = (
        move.shift_samples == round(move.shift_samples)
        and move.rate_ppm == 0.0
        and lane.source.rate_hz == session.rate_hz == where.rate_hz
    )
    exact = copied and (subtype == "FLOAT" or lies_on_steps(lane.source, subtype))
    is_wav = options.file_format == "WAV"
    loudness = FileLoudness(where.rate_hz, 1) if options.measure_loudness and is_wav else None
    carried = read_carried(lane.source.path) if options.carry_metadata and is_wav else Carried()
    name = stem + SUFFIXES[options.file_format]

    def chunks() -> Sequence[Chunk]:
        return lane_chunks(session, version, lane, carried, where, subtype, loudness)

    blocks = lane_blocks(session, version, lane, clips, where)
    written = write_audio(
        staging.place(name),
        watched(blocks, where.frames, loudness, progress, cancelled),
        where.rate_hz,
        1,
        subtype,
        frames=where.frames,
        file_format=options.file_format,
        # Another seed a lane: the same noise in all of them would add up in the blend.
        dither_seed=options.dither_seed + number if options.dither and not exact else None,
        chunks=(lambda: lane_chunks(session, version, lane, carried, where, subtype, loudness))
        if is_wav
        else (),
        sources=staging.sources,
    )
    return DeliveredFile(
        kind="lane",
        name=name,
        size_bytes=written.size_bytes,
        sha256=written.sha256,
        lane=lane.name,
        frames=written.frames,
        rate_hz=where.rate_hz,
        subtype=subtype,
        shift_samples=move.shift_samples,
        polarity=move.polarity,
        copied=exact and move.polarity == 1,
        clipped_samples=written.clipped_samples,
    )
