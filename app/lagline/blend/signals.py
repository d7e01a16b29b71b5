"""Several versions as weighted sums of few signals: each lane under each of its moves, once.

The power of a sum is a quadratic form in its weights, |sum w_i x_i|^2 = sum_ij w_i w_j Re(x_i conj x_j). So
the cross-powers of the signals hold those of every version: hundreds cost hardly more than one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from lagline.blend.loudness import STEP_S, GatedPowers, KWeighting
from lagline.blend.mix import ClipLike, FloatArray, lane_gains, lane_signals, pan_gains
from lagline.session.values import Move, Session, Version

Array = npt.NDArray[np.float64]


class Signal(Struct, frozen=True):
    """A lane under a move, read `lead` samples further on."""

    lane_id: str
    move: Move
    lead: int = 0


class Signals(Struct, frozen=True):
    """The signals that some versions are sums of, in the order of the lanes.

    `weights`: shape (versions, 2, signals): linear gain of each signal on the left and on the right.
    """

    session: Session
    sources: tuple[Signal, ...]
    weights: Array

    def read(self, clips: Mapping[str, ClipLike], start: int, frames: int) -> FloatArray:
        """Shape (signals, frames), float32. Raises as `blend` does."""
        out = np.empty((len(self.sources), frames), np.float32)
        together: dict[tuple[str, int], list[int]] = {}
        for at, one in enumerate(self.sources):
            together.setdefault((one.lane_id, one.lead), []).append(at)
        for (lane_id, lead), places in together.items():
            moves, lane = [self.sources[at].move for at in places], self.session.lane(lane_id)
            moved = lane_signals(self.session, moves, lane, clips, start + lead, frames)
            for at, move in zip(places, moves, strict=True):
                out[at] = moved[move]
        return out


def signals_of(
    session: Session,
    versions: Iterable[Version],
    leads: Mapping[str, int] | None = None,
    most: int | None = None,
) -> Signals:
    """The signals that these versions are sums of.

    leads : by version id, samples by which its signals are read further on.
    most : of so many signals there is no more; a version that would need more goes without its lead.
    """
    wanted = tuple(versions)
    order = {lane.id: at for at, lane in enumerate(session.lanes)}
    sources: dict[Signal, None] = {}
    its_leads: list[int] = []
    for version in wanted:
        lead = leads.get(version.id, 0) if leads else 0
        needed = _needed(session, version, lead)
        if lead and most is not None and len(sources.keys() | needed.keys()) > most:
            lead, needed = 0, _needed(session, version, 0)
        its_leads.append(lead)
        sources.update(needed)
    ordered = tuple(sorted(sources, key=lambda one: order[one.lane_id]))
    places = {one: at for at, one in enumerate(ordered)}
    weights = np.zeros((len(wanted), 2, len(ordered)))
    for row, version, lead in zip(weights, wanted, its_leads, strict=True):
        gains = lane_gains(session, version)
        for one in _needed(session, version, lead):
            sides = np.array(pan_gains(version.balance(one.lane_id).pan))
            row[:, places[one]] = sides * gains[one.lane_id]
    return Signals(session, ordered, weights)


def _needed(session: Session, version: Version, lead: int) -> dict[Signal, None]:
    return {Signal(lane.id, version.move(lane.id), lead): None for lane in session.audible_lanes(version)}


def pair_places(count: int) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """First and second signal of each pair: the upper triangle, the diagonal with it."""
    first, second = np.triu_indices(count)
    return first, second


def pair_weights(weights: Array) -> Array:
    """What each pair counts for in the power of a sum with these weights: (..., signals) -> (..., pairs)."""
    first, second = pair_places(weights.shape[-1])
    twice = np.where(first == second, 1.0, 2.0)
    return np.asarray(weights[..., first] * weights[..., second] * twice)


class PairMeter:
    """K-weighted cross-powers of a stream of signals, in steps of 100 ms, as `LoudnessMeter` has powers.

    `block_frames`: the size of block that costs least.
    """

    def __init__(self, rate_hz: int, count: int) -> None:
        self._weighting = KWeighting(rate_hz, channels=count)
        self.block_frames = self._weighting.block_frames
        self._pairs = pair_places(count)
        self._step = rate_hz * STEP_S
        self._steps: list[Array] = []
        self._rest = np.zeros((count, 0))
        self._frames = 0  # in finished steps

    def add(self, block: npt.NDArray[np.floating]) -> None:
        """`block`: shape (signals, frames)."""
        weighted = np.concatenate([self._rest, self._weighting.filtered(block.T).T], axis=1)
        used = 0
        while (end := round((len(self._steps) + 1) * self._step) - self._frames) <= weighted.shape[1]:
            self._steps.append(self._gram(weighted[:, used:end]))
            used = end
        self._rest, self._frames = weighted[:, used:], self._frames + used

    def _gram(self, weighted: Array) -> Array:
        return np.asarray((weighted @ weighted.T)[self._pairs])

    def powers(self, pairs: Array) -> tuple[GatedPowers, ...]:
        """Of sums that weigh the pairs so, shape (sums, pairs): everything added so far."""
        by_step = np.array(self._steps).reshape(len(self._steps), pairs.shape[1])
        steps, rests = pairs @ by_step.T, pairs @ self._gram(self._rest)
        frames = self._frames + self._rest.shape[1]
        return tuple(
            GatedPowers(np.maximum(one, 0.0), self._step, max(float(rest), 0.0), frames)
            for one, rest in zip(steps, rests, strict=True)
        )


def measured_pairs(
    signals: Signals,
    clips: Mapping[str, ClipLike],
    start: int,
    stop: int,
    *,
    edge: FloatArray | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> PairMeter:
    """A meter that has heard a passage of session samples. When cancelled it means nothing.

    edge : as `loudness.measured` has it.
    """
    meter = PairMeter(signals.session.rate_hz, len(signals.sources))
    for at in range(start, stop, meter.block_frames):
        if cancelled():
            break
        block = signals.read(clips, at, min(meter.block_frames, stop - at))
        if edge is not None:
            fade_in(block, edge[:, 0], at - start)
            fade_in(block[:, ::-1], edge[:, 0], stop - at - block.shape[1])
        meter.add(block)
    return meter


def fade_in(block: npt.NDArray[np.floating], edge: npt.NDArray[np.float32], after: int) -> None:
    """Weigh a block, shape (signals, frames), that begins `after` frames behind the start of `edge`."""
    part = edge[after : after + block.shape[1]]
    block[:, : len(part)] *= part
