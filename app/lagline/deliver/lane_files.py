"""A file of one lane or several: rendered, measured, stamped and written."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from lagline.blend.fraction import split_shift
from lagline.blend.mix import ClipLike
from lagline.deliver.certify import certified
from lagline.deliver.delivered import Cancelled, DeliveredFile, HeldLane, Progress
from lagline.deliver.layout import FileLanes
from lagline.deliver.loudness_fields import FileLoudness, LoudnessFields
from lagline.deliver.options import DeliveryOptions, fits_exactly, lane_subtype, shared_subtype
from lagline.deliver.own import with_mark
from lagline.deliver.placement import Placement, is_copied
from lagline.deliver.render import FloatArray, lane_blocks, watched
from lagline.deliver.staging import Staging
from lagline.deliver.stamps import first_sample, lane_chunks, lanes_words
from lagline.files import readable
from lagline.media.carry import Carried, read_carried, shared
from lagline.media.clip import Clip
from lagline.media.ixml import Family
from lagline.media.riff import Chunk
from lagline.media.write import Written, write_audio
from lagline.session.values import Lane, Session, Version


class LaneSet(Struct, frozen=True):
    """What the files of a set have in common. `write` may be called from several threads."""

    session: Session
    version: Version  # as applied
    clips: Mapping[str, ClipLike]
    staging: Staging
    options: DeliveryOptions
    where: Placement
    files: tuple[FileLanes, ...]
    family_uid: str = field(default_factory=lambda: uuid.uuid4().hex)

    def write(self, number: int, name: str, progress: Progress, cancelled: Cancelled) -> DeliveredFile:
        """Write the file of that number to the staging folder, under that name.

        With depth "source" no sample is held at full scale: a lane that interpolation lifts above it is
        written again, as float.
        """
        options = self.options
        path = self.staging.place(name)
        subtype = file_subtype(self.session, self.version, self.files[number], options, self.where.rate_hz)
        file = self._written(number, path, subtype, progress, cancelled)
        if file.clipped_samples and options.depth == "source" and options.file_format == "WAV":
            path.unlink()
            file = self._written(number, path, "FLOAT", progress, cancelled)
        return file

    def _written(
        self, number: int, path: Path, subtype: str, progress: Progress, cancelled: Cancelled
    ) -> DeliveredFile:
        file, options, where = self.files[number], self.options, self.where
        channels, speakers = len(file.lanes), file.speakers()
        exact = [self._is_exact(lane, subtype) for lane in file.lanes]
        loudness = (
            FileLoudness(
                where.rate_hz, channels, programme=channels == 1 or (channels == 2 and speakers != 0)
            )
            if options.measure_loudness
            else None
        )
        carried = self._carried(file)
        family = Family(self.family_uid, number + 1, len(self.files))

        given: list[Sequence[Chunk]] = []  # the last ones are those in the file

        def chunks() -> Sequence[Chunk]:
            given.append(
                lane_chunks(self.session, self.version, file, carried, where, subtype, loudness, family)
            )
            return given[-1]

        dithers = options.dither and subtype != "FLOAT" and not all(exact)
        written = write_audio(
            path,
            watched(self._blocks(file), where.frames, progress, cancelled),
            where.rate_hz,
            channels,
            subtype,
            frames=where.frames,
            file_format=options.file_format,
            # Another seed a file: the same noise in all of them would add up in the blend.
            dither_seed=options.dither_seed + number if dithers else None,
            dithered=[not one for one in exact],
            speakers=speakers,
            chunks=chunks,
            tags=with_mark(carried.tags, lanes_words(self.version, file)),
            measure=loudness.add if loudness else None,
            sources=self.staging.sources,
        )
        made = self._described(file, written, subtype, loudness, exact)
        recordings = [Clip(lane.source.path, lane.source.channel) for lane in file.lanes]
        return certified(
            made,
            path,
            recordings,
            self.session.rate_hz,
            time_reference=where.time_reference,
            chunks=given[-1],
        )

    def _described(
        self,
        file: FileLanes,
        written: Written,
        subtype: str,
        loudness: FileLoudness | None,
        exact: Sequence[bool],
    ) -> DeliveredFile:
        """The file and its lanes, of which those that are `exact` hold the recording's own samples."""
        fields = loudness.fields() if loudness else LoudnessFields()
        held = [self._held(lane, one) for lane, one in zip(file.lanes, exact, strict=True)]
        made = DeliveredFile(
            kind="lane",
            name=written.path.name,
            size_bytes=written.size_bytes,
            sha256=written.sha256,
            version=self.version.name,
            lane=file.name,
            frames=written.frames,
            rate_hz=self.where.rate_hz,
            subtype=subtype,
            loudness_lufs=fields.loudness_lufs,
            true_peak_dbtp=fields.max_true_peak_dbtp,
            clipped_samples=written.clipped_samples,
        )
        if len(held) == 1:
            told = {name: getattr(held[0], name) for name in HeldLane.__struct_fields__}
            return replace(made, **told)
        return replace(made, copied=all(one.copied for one in held), channels=tuple(held))

    def _blocks(self, file: FileLanes) -> Iterator[FloatArray]:
        """Shape (frames, channels): the lanes beside each other."""
        streams = [
            lane_blocks(self.session, self.version, lane, self.clips, self.where) for lane in file.lanes
        ]
        return streams[0] if len(streams) == 1 else map(np.hstack, zip(*streams, strict=True))

    def _carried(self, file: FileLanes) -> Carried:
        """What is kept of the recordings' metadata: what all of them say, where they are several."""
        if not self.options.carry_metadata:
            return Carried()
        paths = dict.fromkeys(lane.source.path for lane in file.lanes)
        found = [read_carried(path) for path in paths]
        return found[0] if len(found) == 1 else shared(found)

    def _is_exact(self, lane: Lane, subtype: str) -> bool:
        copied = is_copied(self.session, self.version, lane, self.where.rate_hz)
        return copied and fits_exactly(lane.source, subtype)

    def _held(self, lane: Lane, exact: bool) -> HeldLane:
        move = self.version.move(lane.id)
        return HeldLane(
            lane=lane.name,
            shift_samples=sum(split_shift(move.shift_samples)),
            polarity=move.polarity,
            copied=exact and move.polarity == 1,
            recording=readable(lane.source.path.name),
            channel=lane.source.channel,
            fingerprint=lane.source.fingerprint,
            begins_samples=self.where.samples_later(first_sample(self.version, lane), self.session.rate_hz),
            drift_ppm=move.rate_ppm,
        )


def file_subtype(
    session: Session, version: Version, file: FileLanes, options: DeliveryOptions, rate_hz: int
) -> str:
    """Sample format of a file of these lanes: what the deepest of them needs. `version` as written."""
    return shared_subtype(
        lane_subtype(lane.source, options, copied=is_copied(session, version, lane, rate_hz))
        for lane in file.lanes
    )
