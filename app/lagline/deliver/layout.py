"""Which lanes share a file: none, those of one recording, or all of a take."""

from __future__ import annotations

from pathlib import Path

from msgspec import Struct

from lagline.deliver.options import DeliveryOptions
from lagline.errors import TooManyChannels
from lagline.files import readable
from lagline.media.probe import probe
from lagline.media.speakers import mask_of_channels, speaker_mask
from lagline.session.values import Lane, Session

WHOLE_TAKE = "all lanes"  # what stands for a lane's name in the name of a file of all of them
_MOST_CHANNELS = {"WAV": 1024, "FLAC": 8}  # libsndfile's own limit; RFC 9639, section 9.1.3


class FileLanes(Struct, frozen=True):
    """The lanes that one file holds, in the order of its channels; `name` stands for them in its name."""

    name: str
    lanes: tuple[Lane, ...]

    @property
    def recording(self) -> Path | None:
        """The one recording that all of them are of; None where there are several."""
        paths = {lane.source.path for lane in self.lanes}
        return paths.pop() if len(paths) == 1 else None

    @property
    def channels(self) -> list[int]:
        """Which channel of its recording each lane is."""
        return [lane.source.channel for lane in self.lanes]

    def is_whole(self) -> bool:
        """Whether the file holds every channel of one recording, in order. Raises MediaError."""
        return self.recording is not None and self.channels == list(range(probe(self.recording).channels))

    def speakers(self) -> int | None:
        """The file's speaker mask: the recording's, as far as its channels are there; 0 where lanes come
        together that were apart; None where nothing has to be said. Raises MediaError, OSError.
        """
        if len(self.lanes) == 1:
            return None
        mask = None if self.recording is None else speaker_mask(self.recording)
        if mask is None:
            return None if self.is_whole() else 0
        return mask_of_channels(mask, self.channels)


def file_lanes(session: Session, options: DeliveryOptions) -> tuple[FileLanes, ...]:
    """The files of a delivery by the lanes they hold, in the order of the lanes.

    Raises TooManyChannels, where the format has no room for them.
    """
    if options.layout == "take":
        files = [FileLanes(WHOLE_TAKE, session.lanes)] if session.lanes else []
    elif options.layout == "recorded":
        files = _by_recording(session)
    else:
        files = [FileLanes(lane.name, (lane,)) for lane in session.lanes]
    most = _MOST_CHANNELS[options.file_format]
    for file in files:
        if len(file.lanes) > most:
            raise TooManyChannels(file.name, len(file.lanes), options.file_format, most)
    return tuple(files)


def _by_recording(session: Session) -> list[FileLanes]:
    lanes_of: dict[Path, list[Lane]] = {}
    for lane in session.lanes:
        lanes_of.setdefault(lane.source.path, []).append(lane)
    return [
        FileLanes(
            lanes[0].name if len(lanes) == 1 else readable(path.stem),
            tuple(sorted(lanes, key=lambda lane: lane.source.channel)),
        )
        for path, lanes in lanes_of.items()
    ]
