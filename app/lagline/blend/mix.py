"""The blend: one pure function behind playback, export, level matching, drawing and tests."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np
import numpy.typing as npt

from lagline.blend import drift
from lagline.blend.fraction import REACH, TAPS, delayed, split_shift
from lagline.session.values import Lane, Move, Session, Version
from lagline.units import db_to_gain

FloatArray = npt.NDArray[np.float32]


class ClipLike(Protocol):
    """What the blend needs of a clip; `lagline.media.clip.Clip` is one."""

    @property
    def rate_hz(self) -> int:
        """Sample rate of what `read` gives."""

    def read(self, start: int, stop: int) -> FloatArray:
        """float32, shape (stop - start,), with silence outside the recording."""
        ...


def blend(
    session: Session, version: Version, clips: Mapping[str, ClipLike], start: int, frames: int
) -> FloatArray:
    """The sum of the audible lanes, each shifted, flipped, weighted and panned.

    Parameters
    ----------
    version : what to blend; `session.original` for the current one at the timing as recorded.
    clips : by lane id, at the session's rate. A lane without a clip is silent.
    start : session time of the first sample; may be negative.
    frames : number of samples.

    Returns
    -------
    float32, shape (frames, 2): left, right. Not limited: loud lanes may exceed 1.0.

    Raises
    ------
    ValueError
        A clip is not at the session's rate.
    MediaError
        A recording cannot be read.

    Notes
    -----
    The same bits come out however a range is cut into blocks. A move's `rate_ppm` takes the lane's drift
    out, so that its shift, counted at session time 0, holds over the whole take. Pan keeps the power
    constant: a lane in the centre is 3 dB down on either side (cosine and sine of a quarter circle).
    """
    return render_versions(session, (version,), clips, start, frames)[0]


def render_versions(
    session: Session, versions: Sequence[Version], clips: Mapping[str, ClipLike], start: int, frames: int
) -> list[FloatArray]:
    """`blend` of several versions over one passage, reading every recording once: the same bits."""
    sums = [np.zeros((2, frames), dtype=np.float64) for _ in versions]
    part = np.empty(frames, dtype=np.float64)
    audible = [{lane.id for lane in session.audible_lanes(version)} for version in versions]
    for lane in session.lanes:
        sounding = [
            (version, total)
            for version, total, heard in zip(versions, sums, audible, strict=True)
            if lane.id in heard
        ]
        moves = [version.move(lane.id) for version, _ in sounding]
        signals = lane_signals(session, moves, lane, clips, start, frames) if moves else {}
        for version, total in sounding:
            signal, balance = signals[version.move(lane.id)], version.balance(lane.id)
            gain = db_to_gain(balance.gain_db)
            for side, weight in enumerate(pan_gains(balance.pan)):
                np.multiply(signal, weight * gain, out=part, dtype=np.float64)
                np.add(total[side], part, out=total[side])
    return [np.ascontiguousarray(total.T, dtype=np.float32) for total in sums]


def lane_signal(
    session: Session, version: Version, lane: Lane, clips: Mapping[str, ClipLike], start: int, frames: int
) -> FloatArray:
    """One lane shifted and flipped, without gain, pan, mute or solo: what an aligned file holds.

    float32, shape (frames,), from session time `start`. A shift by whole samples copies bit for bit.
    Raises as `blend` does.
    """
    move = version.move(lane.id)
    return lane_signals(session, [move], lane, clips, start, frames)[move]


def lane_gains(session: Session, version: Version) -> dict[str, float]:
    """By lane id, what each lane is multiplied by in a version's blend; 0 where it is not heard."""
    heard = session.audible_lanes(version)
    return {
        lane.id: db_to_gain(version.balance(lane.id).gain_db) if lane in heard else 0.0
        for lane in session.lanes
    }


def pan_gains(pan: float) -> tuple[float, float]:
    """Left and right gain of a pan from -1 (left) to +1 (right), constant power, -3 dB in the centre."""
    angle = (min(max(pan, -1.0), 1.0) + 1.0) * math.pi / 4.0
    # Hard left and right are silent on the other side, not at the cosine's -324 dB.
    return (0.0 if pan >= 1.0 else math.cos(angle)), (0.0 if pan <= -1.0 else math.sin(angle))


def lane_signals(
    session: Session,
    moves: Sequence[Move],
    lane: Lane,
    clips: Mapping[str, ClipLike],
    start: int,
    frames: int,
) -> dict[Move, FloatArray]:
    """`lane_signal` under each of several moves, by move: the recording is read once for all of them."""
    clip = clips.get(lane.id)
    wanted = dict.fromkeys(moves)
    if clip is None:
        silence = np.zeros(frames, dtype=np.float32)
        return dict.fromkeys(wanted, silence)
    if clip.rate_hz != session.rate_hz:
        raise ValueError(f"{lane.name} is read at {clip.rate_hz} Hz in a session of {session.rate_hz} Hz")
    reader = _SharedReader(clip, [_stretch(lane, move, start, frames) for move in wanted])
    return {move: _moved(lane, move, reader, start, frames) for move in wanted}


def _stretch(lane: Lane, move: Move, start: int, frames: int) -> tuple[int, int]:
    """First and one-past-last clip sample needed for a range of session time."""
    if move.rate_ppm and frames:
        whole, _ = drift.places(start, frames, lane.place_samples, move.shift_samples, move.rate_ppm)
        return drift.stretch(whole)
    whole_shift, fraction = split_shift(move.shift_samples)
    first = start - lane.place_samples - whole_shift
    if not fraction:
        return first, first + frames
    return first - REACH, first - REACH + frames + TAPS - 1


def _moved(lane: Lane, move: Move, reader: _SharedReader, start: int, frames: int) -> FloatArray:
    samples = reader.read(*_stretch(lane, move, start, frames))
    if move.rate_ppm and frames:
        spots = drift.places(start, frames, lane.place_samples, move.shift_samples, move.rate_ppm)
        samples = drift.resampled(samples, *spots, move.rate_ppm)
    elif fraction := split_shift(move.shift_samples)[1]:
        samples = delayed(samples, fraction)
    return np.negative(samples) if move.polarity < 0 else samples


class _SharedReader:
    """Reads a clip once for stretches that overlap, apart for stretches that lie far apart."""

    def __init__(self, clip: ClipLike, stretches: Sequence[tuple[int, int]]) -> None:
        self._clip = clip
        first, stop = min(a for a, _ in stretches), max(b for _, b in stretches)
        worth_it = len(stretches) > 1 and stop - first <= sum(b - a for a, b in stretches)
        self._first = first
        self._samples = clip.read(first, stop) if worth_it else None

    def read(self, start: int, stop: int) -> FloatArray:
        if self._samples is None:
            return self._clip.read(start, stop)
        return self._samples[start - self._first : stop - self._first]
