"""Where the files of a set begin and end, and the one time stamp they share.

Moving each file's own stamp by its shift would undo the alignment wherever files are placed by time
stamp; so all files of a set start at the same moment, have the same length and the same stamp.
"""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct
from msgspec.structs import replace

from lagline.blend.fraction import split_shift
from lagline.deliver.options import DeliveryOptions
from lagline.session.values import Lane, Session, Version
from lagline.units import frames_at


class Placement(Struct, frozen=True):
    """Common to every file of a set."""

    start: int  # session time of the first sample
    source_frames: int  # length at the session's rate
    rate_hz: int  # of the files
    frames: int  # of the files
    time_reference: int  # samples since midnight at `rate_hz`; 0 without a stamp
    warnings: tuple[str, ...] = ()

    def samples_later(self, session_samples: float, session_rate_hz: int) -> float:
        """Where something at a session time lies in the files, in samples at their rate."""
        return (session_samples - self.start) * self.rate_hz / session_rate_hz


def placement(session: Session, versions: Iterable[Version], rate_hz: int | None = None) -> Placement:
    """The span of the lanes as recorded and in `versions`, with the session's time stamp brought there.

    `versions` as they are written: see `as_written`.
    """
    start, stop = session.span(*versions)
    wanted_hz = rate_hz or session.rate_hz
    reference = 0
    warnings: tuple[str, ...] = ()
    if session.time_reference is not None:
        reference = round((session.time_reference + start) * wanted_hz / session.rate_hz)
        if reference < 0:
            reference = 0
            warnings = (
                "The files begin before midnight of their time stamps, so they are stamped 0:00:00. "
                "Line them up at their starts: all of them begin together.",
            )
    return Placement(
        start=start,
        source_frames=stop - start,
        rate_hz=wanted_hz,
        frames=frames_at(stop - start, session.rate_hz, wanted_hz),
        time_reference=reference,
        warnings=warnings,
    )


def as_written(version: Version, options: DeliveryOptions) -> Version:
    """The version as the files of a delivery hold it."""
    return with_whole_shifts(version) if options.whole_samples else version


def with_whole_shifts(version: Version) -> Version:
    """The version with every shift rounded to whole samples and no drift taken out."""
    moves = {
        lane_id: replace(move, shift_samples=float(round(move.shift_samples)), rate_ppm=0.0)
        for lane_id, move in version.moves.items()
    }
    return replace(version, moves=moves)


def is_copied(session: Session, version: Version, lane: Lane, rate_hz: int) -> bool:
    """Whether files at `rate_hz` hold the lane's own samples, only moved (and perhaps flipped)."""
    move = version.move(lane.id)
    is_whole = not split_shift(move.shift_samples)[1] and move.rate_ppm == 0.0
    return is_whole and lane.source.rate_hz == session.rate_hz == rate_hz


def drift_warning(version: Version, options: DeliveryOptions) -> str | None:
    """What to say when whole samples leave in what the version takes out."""
    if not options.whole_samples or not any(move.rate_ppm for move in version.moves.values()):
        return None
    return (
        f"{version.name} takes drift between clocks out, but whole-sample files are copies and keep it: "
        f"towards the end their lanes run apart. Write exact shifts to have it taken out."
    )
