"""One lane as a file: rendered, measured, stamped and written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from msgspec import Struct

from lagline.blend.fraction import split_shift
from lagline.blend.mix import ClipLike
from lagline.deliver.delivered import Cancelled, DeliveredFile, Progress
from lagline.deliver.loudness_fields import FileLoudness
from lagline.deliver.options import DeliveryOptions, fits_exactly, lane_subtype
from lagline.deliver.own import mark
from lagline.deliver.placement import Placement
from lagline.deliver.render import lane_blocks, watched
from lagline.deliver.staging import Staging
from lagline.deliver.stamps import lane_chunks, move_words
from lagline.media.carry import Carried, read_carried
from lagline.media.riff import Chunk
from lagline.media.write import write_audio
from lagline.session.values import Lane, Session, Version


class LaneSet(Struct, frozen=True):
    """What the files of a set have in common. `write` may be called from several threads."""

    session: Session
    version: Version  # as applied
    clips: Mapping[str, ClipLike]
    staging: Staging
    options: DeliveryOptions
    where: Placement

    def write(self, number: int, name: str, progress: Progress, cancelled: Cancelled) -> DeliveredFile:
        """Write the lane of that number to the staging folder, under that name."""
        lane, options, where = self.session.lanes[number], self.options, self.where
        subtype = lane_subtype(lane.source, options)
        move = self.version.move(lane.id)
        exact = self._is_copied(lane) and fits_exactly(lane.source, subtype)
        is_wav = options.file_format == "WAV"
        loudness = FileLoudness(where.rate_hz, 1) if options.measure_loudness and is_wav else None
        carried = read_carried(lane.source.path) if options.carry_metadata and is_wav else Carried()

        def chunks() -> Sequence[Chunk]:
            return lane_chunks(self.session, self.version, lane, carried, where, subtype, loudness)

        blocks = lane_blocks(self.session, self.version, lane, self.clips, where)
        written = write_audio(
            self.staging.place(name),
            watched(blocks, where.frames, loudness, progress, cancelled),
            where.rate_hz,
            1,
            subtype,
            frames=where.frames,
            file_format=options.file_format,
            # Another seed a lane: the same noise in all of them would add up in the blend.
            dither_seed=options.dither_seed + number if options.dither and not exact else None,
            chunks=chunks if is_wav else (),
            comment=mark(move_words(move)),
            sources=self.staging.sources,
        )
        return DeliveredFile(
            kind="lane",
            name=name,
            size_bytes=written.size_bytes,
            sha256=written.sha256,
            version=self.version.name,
            lane=lane.name,
            frames=written.frames,
            rate_hz=where.rate_hz,
            subtype=subtype,
            shift_samples=move.shift_samples,
            polarity=move.polarity,
            copied=exact and move.polarity == 1,
            clipped_samples=written.clipped_samples,
        )

    def _is_copied(self, lane: Lane) -> bool:
        """Whether the lane is only moved by whole samples (and perhaps flipped)."""
        move = self.version.move(lane.id)
        is_whole = not split_shift(move.shift_samples)[1] and move.rate_ppm == 0.0
        return is_whole and lane.source.rate_hz == self.session.rate_hz == self.where.rate_hz
