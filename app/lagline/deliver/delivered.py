"""What a delivery is: its files, and what there is to say about them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Literal

from msgspec import Struct

from lagline.media.carry import Fate

Kind = Literal["lane", "blend", "sheet", "report", "timeline", "edit", "certificate", "manifest", "checksums"]
# What was checked of a file when it was read back, see `certify` and `read_documents`.
Checked = Literal["format", "stamp", "samples", "levels", "metadata", "text"]
Progress = Callable[[float], None]
Cancelled = Callable[[], bool]


class HeldLane(Struct, frozen=True):
    """One channel of a file of several lanes, told as a file of one is."""

    lane: str
    shift_samples: float
    polarity: int
    copied: bool
    recording: str
    channel: int
    fingerprint: str
    begins_samples: float
    drift_ppm: float
    left_db: float | None = None


class DeliveredFile(Struct, frozen=True):
    """One file of a delivery."""

    kind: Kind
    name: str  # in the delivery's folder
    size_bytes: int
    sha256: str
    version: str = ""  # its name
    lane: str = ""  # its name; where there are several, what stands for them in the file's name
    frames: int = 0
    rate_hz: int = 0
    subtype: str = ""
    shift_samples: float = 0.0  # at the session's rate, as applied
    polarity: int = 1
    gain_db: float = 0.0  # of a blend, `headroom_db` in it
    headroom_db: float = 0.0  # what all blends of the delivery were turned down by, see `headroom`
    loudness_lufs: float | None = None  # of the samples in the file, as is the true peak
    true_peak_dbtp: float | None = None
    copied: bool = False  # every sample of the recording is in it, bit for bit
    clipped_samples: int = 0
    recording: str = ""  # file name of what a lane was made of
    channel: int = 0  # of it, from 0
    fingerprint: str = ""  # of its sound, see media.fingerprint
    begins_samples: float = 0.0  # where its first sample lies in the file, at the file's rate
    drift_ppm: float = 0.0  # taken out
    left_db: float | None = None  # after taking it from the file, see `null`; None where copied, or silent
    channels: tuple[HeldLane, ...] = ()  # of a file of several lanes, which alone tell of each
    checked: tuple[Checked, ...] = ()  # read back, and found as it should be
    metadata: dict[str, Fate] = {}  # what became of the recording's chunks; of a lane from one recording

    @property
    def held(self) -> tuple[HeldLane, ...]:
        """The lanes in the file, in the order of its channels; of a file that holds none, nothing."""
        if self.channels or self.kind != "lane":
            return self.channels
        names = HeldLane.__struct_fields__
        return (HeldLane(**{name: getattr(self, name) for name in names}),)

    @property
    def has_loudness(self) -> bool:
        """Whether loudness means something: not for lanes that merely share a file."""
        return not self.channels or self.loudness_lufs is not None


class Delivery(Struct, frozen=True):
    """The files of one delivery, in a folder. Iterating gives their paths."""

    folder: Path
    files: tuple[DeliveredFile, ...]
    warnings: tuple[str, ...] = ()

    @property
    def paths(self) -> tuple[Path, ...]:
        """Where each file is, in the order of `files`."""
        return tuple(self.folder / file.name for file in self.files)

    def __iter__(self) -> Iterator[Path]:
        return iter(self.paths)

    def __len__(self) -> int:
        return len(self.files)


def clipping_warning(name: str, samples: int) -> str | None:
    """The sentence about samples held at full scale; None if there were none."""
    if not samples:
        return None
    return (
        f"{name}: {samples} samples did not fit and were held at full scale. "
        f"Choose 32-bit float, or turn the blend down."
    )
