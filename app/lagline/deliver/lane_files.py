"""One lane as a file: rendered, measured, stamped and written."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path

from msgspec import Struct, field

from lagline.blend.fraction import split_shift
from lagline.blend.mix import ClipLike
from lagline.deliver.certify import certified
from lagline.deliver.delivered import Cancelled, DeliveredFile, Progress
from lagline.deliver.loudness_fields import FileLoudness, LoudnessFields
from lagline.deliver.options import DeliveryOptions, fits_exactly, lane_subtype
from lagline.deliver.own import with_mark
from lagline.deliver.placement import Placement, is_copied
from lagline.deliver.render import lane_blocks, watched
from lagline.deliver.staging import Staging
from lagline.deliver.stamps import first_sample, lane_chunks, move_words
from lagline.files import readable
from lagline.media.carry import Carried, read_carried
from lagline.media.clip import Clip
from lagline.media.ixml import Family
from lagline.media.riff import Chunk
from lagline.media.write import write_audio
from lagline.session.values import Session, Version


class LaneSet(Struct, frozen=True):
    """What the files of a set have in common. `write` may be called from several threads."""

    session: Session
    version: Version  # as applied
    clips: Mapping[str, ClipLike]
    staging: Staging
    options: DeliveryOptions
    where: Placement
    family_uid: str = field(default_factory=lambda: uuid.uuid4().hex)

    def write(self, number: int, name: str, progress: Progress, cancelled: Cancelled) -> DeliveredFile:
        """Write the lane of that number to the staging folder, under that name.

        With depth "source" no sample is held at full scale: a lane that interpolation lifts above it is
        written again, as float.
        """
        lane, options = self.session.lanes[number], self.options
        path = self.staging.place(name)
        copied = is_copied(self.session, self.version, lane, self.where.rate_hz)
        subtype = lane_subtype(lane.source, options, copied=copied)
        file = self._written(number, path, subtype, copied, progress, cancelled)
        if file.clipped_samples and options.depth == "source" and options.file_format == "WAV":
            path.unlink()
            file = self._written(number, path, "FLOAT", copied, progress, cancelled)
        return file

    def _written(
        self, number: int, path: Path, subtype: str, copied: bool, progress: Progress, cancelled: Cancelled
    ) -> DeliveredFile:
        lane, options, where = self.session.lanes[number], self.options, self.where
        move = self.version.move(lane.id)
        exact = copied and fits_exactly(lane.source, subtype)
        loudness = FileLoudness(where.rate_hz, 1) if options.measure_loudness else None
        carried = read_carried(lane.source.path) if options.carry_metadata else Carried()
        family = Family(self.family_uid, number + 1, len(self.session.lanes))

        def chunks() -> Sequence[Chunk]:
            return lane_chunks(self.session, self.version, lane, carried, where, subtype, loudness, family)

        blocks = lane_blocks(self.session, self.version, lane, self.clips, where)
        dithers = options.dither and subtype != "FLOAT" and not exact
        written = write_audio(
            path,
            watched(blocks, where.frames, progress, cancelled),
            where.rate_hz,
            1,
            subtype,
            frames=where.frames,
            file_format=options.file_format,
            # Another seed a lane: the same noise in all of them would add up in the blend.
            dither_seed=options.dither_seed + number if dithers else None,
            chunks=chunks,
            tags=with_mark(carried.tags, move_words(move)),
            measure=loudness.add if loudness else None,
            sources=self.staging.sources,
        )
        fields = loudness.fields() if loudness else LoudnessFields()
        begins = where.samples_later(first_sample(self.version, lane), self.session.rate_hz)
        file = DeliveredFile(
            kind="lane",
            name=path.name,
            size_bytes=written.size_bytes,
            sha256=written.sha256,
            version=self.version.name,
            lane=lane.name,
            frames=written.frames,
            rate_hz=where.rate_hz,
            subtype=subtype,
            shift_samples=sum(split_shift(move.shift_samples)),
            polarity=move.polarity,
            loudness_lufs=fields.loudness_lufs,
            true_peak_dbtp=fields.max_true_peak_dbtp,
            copied=exact and move.polarity == 1,
            clipped_samples=written.clipped_samples,
            recording=readable(lane.source.path.name),
            channel=lane.source.channel,
            fingerprint=lane.source.fingerprint,
            begins_samples=begins,
            drift_ppm=move.rate_ppm,
        )
        return certified(file, path, Clip(lane.source.path, lane.source.channel), self.session.rate_hz)
