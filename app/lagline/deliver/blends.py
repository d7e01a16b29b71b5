"""Printed blends: the sum of the lanes as it was heard, in one file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from lagline.blend.mix import ClipLike, pan_gains
from lagline.deliver.certify import Part, certified
from lagline.deliver.delivered import Cancelled, DeliveredFile, Delivery, Progress, clipping_warning
from lagline.deliver.loudness_fields import FileLoudness, LoudnessFields
from lagline.deliver.options import DEFAULTS, DeliveryOptions, blend_subtype
from lagline.deliver.own import with_mark
from lagline.deliver.placement import Placement, as_written, drift_warning, placement
from lagline.deliver.render import MONO_GAIN, blend_blocks, watched
from lagline.deliver.staging import Staging, staged
from lagline.deliver.stamps import blend_chunks, blend_words, first_sample
from lagline.deliver.stems import session_sources
from lagline.media.clip import Clip
from lagline.media.riff import Chunk
from lagline.media.write import Written, write_audio
from lagline.session.values import Session, Version
from lagline.units import db_to_gain


def write_blend(
    session: Session,
    version: Version,
    clips: Mapping[str, ClipLike],
    path: Path,
    options: DeliveryOptions = DEFAULTS,
    gain_db: float = 0.0,
    *,
    progress: Progress = lambda _: None,
    cancelled: Cancelled = lambda: False,
) -> Delivery:
    """Write the blend of `version`, turned up by `gain_db` and no more, to `path`.

    It starts, ends and is stamped as the lanes that `write_stems` writes of that version. In mono, left
    and right are added and turned down by 3 dB, so that a lane in the centre keeps its level. Raises as
    `write_stems` does.
    """
    with staged(path.parent, session_sources(session), overwrite=options.overwrite) as staging:
        where = placement(session, [as_written(version, options)], options.rate_hz)
        file, warnings = stage_blend(
            session, version, clips, staging, path.name, options, where, gain_db,
            progress=progress, cancelled=cancelled,
        )  # fmt: skip
    return Delivery(path.parent, (file,), (*where.warnings, *warnings))


def stage_blend(
    session: Session,
    version: Version,
    clips: Mapping[str, ClipLike],
    staging: Staging,
    name: str,
    options: DeliveryOptions,
    where: Placement,
    gain_db: float = 0.0,
    *,
    headroom_db: float = 0.0,
    progress: Progress = lambda _: None,
    cancelled: Cancelled = lambda: False,
) -> tuple[DeliveredFile, list[str]]:
    """`write_blend` into a staging folder. `headroom_db`: the part of `gain_db` that makes room."""
    applied = as_written(version, options)
    mono = options.mono_blend
    channels = 1 if mono else 2
    subtype = blend_subtype((lane.source for lane in session.lanes), options)
    loudness = FileLoudness(where.rate_hz, channels) if options.measure_loudness else None
    blocks = blend_blocks(session, applied, clips, where, gain_db=gain_db, mono=mono)

    given: list[Sequence[Chunk]] = []  # the last ones are those in the file

    def chunks() -> Sequence[Chunk]:
        given.append(blend_chunks(session, version, where, subtype, mono, gain_db, loudness))
        return given[-1]

    written = write_audio(
        staging.place(name),
        watched(blocks, where.frames, progress, cancelled),
        where.rate_hz,
        channels,
        subtype,
        frames=where.frames,
        file_format=options.file_format,
        dither_seed=options.dither_seed if options.dither and subtype != "FLOAT" else None,
        chunks=chunks,
        tags=with_mark({}, blend_words(gain_db)),
        measure=loudness.add if loudness else None,
        sources=staging.sources,
    )
    file = _described(version.name, written, where.rate_hz, subtype, loudness, gain_db, headroom_db)
    file = certified(
        file,
        staging.scratch / name,
        (),
        session.rate_hz,
        time_reference=where.time_reference,
        chunks=given[-1],
        parts=_parts(session, applied, clips, where, gain_db, mono),
    )
    said = (clipping_warning(name, written.clipped_samples), drift_warning(version, options))
    return file, [warning for warning in said if warning]


def _parts(
    session: Session,
    version: Version,
    clips: Mapping[str, ClipLike],
    where: Placement,
    gain_db: float,
    mono: bool,
) -> list[Part]:
    """What the blend is made of."""
    parts = []
    for lane in session.audible_lanes(version):
        if lane.id not in clips:  # it is silent
            continue
        move, balance = version.move(lane.id), version.balance(lane.id)
        gain = db_to_gain(balance.gain_db + gain_db)
        left, right = pan_gains(balance.pan)
        part = Part(
            recording=Clip(lane.source.path, lane.source.channel),
            begins_samples=where.samples_later(first_sample(version, lane), session.rate_hz),
            polarity=move.polarity,
            drift_ppm=move.rate_ppm,
            gains=(gain * (left + right) * float(MONO_GAIN),) if mono else (gain * left, gain * right),
        )
        parts.append(part)
    return parts


def _described(
    version: str,
    written: Written,
    rate_hz: int,
    subtype: str,
    loudness: FileLoudness | None,
    gain_db: float,
    headroom_db: float,
) -> DeliveredFile:
    fields = loudness.fields() if loudness else LoudnessFields()
    return DeliveredFile(
        kind="blend",
        name=written.path.name,
        size_bytes=written.size_bytes,
        sha256=written.sha256,
        version=version,
        frames=written.frames,
        rate_hz=rate_hz,
        subtype=subtype,
        gain_db=gain_db,
        headroom_db=headroom_db,
        loudness_lufs=fields.loudness_lufs,
        true_peak_dbtp=fields.max_true_peak_dbtp,
        clipped_samples=written.clipped_samples,
    )
