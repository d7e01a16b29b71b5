"""The bext chunk and the other metadata of the files of a set."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from msgspec.structs import replace

from lagline.blend.fraction import split_shift
from lagline.deliver.layout import FileLanes
from lagline.deliver.loudness_fields import FileLoudness
from lagline.deliver.own import BLEND, ORIGINATOR, mark
from lagline.deliver.placement import Placement
from lagline.media.bext import Bext, ascii_only, pack_bext
from lagline.media.carry import Carried, retimed_chunks
from lagline.media.cue import CuePoint, named_cue, pack_cues
from lagline.media.ixml import Family
from lagline.media.riff import Chunk
from lagline.media.write import BITS
from lagline.session.values import Lane, Move, Session, Version


def lane_chunks(
    session: Session,
    version: Version,
    file: FileLanes,
    carried: Carried,
    where: Placement,
    subtype: str,
    loudness: FileLoudness | None,
    family: Family | None = None,
) -> Sequence[Chunk]:
    """The chunks of a file of lanes; the loudness is what was measured so far. Marks and loops move with
    the first of them.
    """
    lane = file.lanes[0]
    bext = carried.bext or _new_bext(f"{session.name}, {file.name}")
    # The stamp names the set's common start; the UMID named the recording, which this no longer is.
    bext = replace(bext, time_reference=where.time_reference, version=2, umid=bytes(64))
    bext = bext.with_history(_history(where.rate_hz, subtype, _mode(file), lanes_words(version, file)))
    others = retimed_chunks(
        carried,
        channels=file.channels if file.recording else range(len(file.lanes)),
        names=[lane.name for lane in file.lanes] if len(file.lanes) > 1 else (),
        rate_hz=lane.source.rate_hz,
        wanted_hz=where.rate_hz,
        later_samples=where.samples_later(first_sample(version, lane), session.rate_hz),
        frames=where.frames,
        bits=BITS[subtype],
        time_reference=where.time_reference,
        stretch=stretch(version.move(lane.id)),
        family=family,
        markers=marker_cues(session, where),
    )
    return [_bext_chunk(bext, loudness), *others]


def marker_cues(session: Session, where: Placement) -> list[CuePoint]:
    """The take's markers in the files of a set; those that lie outside are left out."""
    cues: list[CuePoint] = []
    for marker in session.markers:
        stop = marker.at_samples if marker.stop_samples is None else marker.stop_samples
        first, last = (round(where.samples_later(at, session.rate_hz)) for at in (marker.at_samples, stop))
        if 0 <= first <= last <= where.frames:
            length = None if marker.stop_samples is None else last - first
            cues.append(named_cue(len(cues) + 1, first, marker.name, length))
    return cues


def stretch(move: Move) -> float:
    """How much longer a lane lasts in its file than in the recording: not 1 where drift is taken out."""
    return 1.0 / move.pace


def first_sample(version: Version, lane: Lane) -> float:
    """Session time of a recording's first sample in a version as it is applied, in samples."""
    move = version.move(lane.id)
    return (lane.place_samples + sum(split_shift(move.shift_samples))) * stretch(move)


def blend_chunks(
    session: Session,
    version: Version,
    where: Placement,
    subtype: str,
    mono: bool,
    gain_db: float,
    loudness: FileLoudness | None,
) -> Sequence[Chunk]:
    """The chunks of a blend's file."""
    bext = replace(
        _new_bext(f"{session.name}, blend, {version.name}"), time_reference=where.time_reference
    ).with_history(_history(where.rate_hz, subtype, "mono" if mono else "stereo", blend_words(gain_db)))
    return [_bext_chunk(bext, loudness), *pack_cues(tuple(marker_cues(session, where)))]


def _new_bext(description: str) -> Bext:
    now = datetime.now()
    return Bext(
        description=ascii_only(description),
        originator=ORIGINATOR,
        date=now.strftime("%Y-%m-%d"),
        time=now.strftime("%H-%M-%S"),
    )


def _mode(file: FileLanes) -> str:
    """The mode of EBU R 98, which has no word for more than two channels."""
    if len(file.lanes) == 2:
        return "stereo" if file.recording else "dual-mono"
    return "mono" if len(file.lanes) == 1 else ""


def _history(rate_hz: int, subtype: str, mode: str, words: str) -> str:
    """A line of coding history as EBU R 98 lays it out; free text after T=."""
    coding = "FLOAT" if subtype == "FLOAT" else "PCM"
    told = f"M={mode}," if mode else ""
    return f"A={coding},F={rate_hz},W={BITS[subtype]},{told}T={mark(words)}"


def lanes_words(version: Version, file: FileLanes) -> str:
    """How a file of lanes was made; what was done to each of several stands under its number."""
    moves = [_move_words(version.move(lane.id)) for lane in file.lanes]
    if len(moves) == 1:
        return moves[0]
    return "; ".join(f"channel {number}: {words}" for number, words in enumerate(moves, start=1))


def _move_words(move: Move) -> str:
    words = [f"shift {move.shift_samples:+.3f} samples", f"polarity {move.polarity:+d}"]
    if move.rate_ppm:
        words.append(f"drift {move.rate_ppm:+.3f} ppm taken out")
    return "; ".join(words)


def blend_words(gain_db: float) -> str:
    """How a blend's file was made."""
    return f"{BLEND}; gain {gain_db:+.2f} dB"


def _bext_chunk(bext: Bext, loudness: FileLoudness | None) -> Chunk:
    """Loudness of an older chunk is not the new file's, so it is filled or emptied."""
    fields = loudness or FileLoudness(48_000, 0)
    return Chunk(b"bext", pack_bext(fields.fields().on(bext)))
