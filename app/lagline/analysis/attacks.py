"""Attacks: where a lane begins to sound again. Plain numpy, no windows, no files.

A detector of level rises: short-time energy in two bands of attention, the rise of its logarithm over the
stretch before, and a refinement to the sample where the signal first leaves what went before it. (Energy
rise as an onset function: J. P. Bello et al., "A tutorial on onset detection in music signals", IEEE
Trans. Speech and Audio Processing 13(5), 2005, 1035-1047; from memory.)
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

FloatArray = NDArray[np.floating]

HOP_S = 0.004
BEFORE_S = 0.040  # what a rise is measured against
APART_S = 0.080  # two attacks nearer than this are one
LEAST_RISE_DB = 6.0
QUIET_DB = 40.0  # an attack this far below the loudest is no strong one


class Attack(Struct, frozen=True):
    """A place where the sound rises sharply.

    `start_samples`: the first sample that moves, in the array's own count. `rise_db`: level after over level
    before. `strength`: 0..1, for ranking within one signal.
    """

    start_samples: int
    rise_db: float
    strength: float


def find_attacks(signal: FloatArray, rate_hz: float, *, most: int = 500) -> tuple[Attack, ...]:
    """Strong attacks of one lane, in order of time.

    Parameters
    ----------
    signal : shape (frames,), mono. Values that are not finite count as silence.
    rate_hz : samples a second.
    most : keep the strongest `most`.

    Returns
    -------
    tuple of Attack, earliest first; empty for silence, a steady tone, or fewer than two hops.
    """
    samples = np.nan_to_num(np.asarray(signal, dtype=np.float64), nan=0.0, posinf=0.0, neginf=0.0)
    hop = max(round(HOP_S * rate_hz), 1)
    hops = len(samples) // hop
    if hops < 4:
        return ()
    # The first difference weighs treble up, so that a pick is not hidden by a ringing bass string.
    edges = np.diff(samples[: hops * hop], prepend=samples[0])
    power = (samples[: hops * hop] ** 2).reshape(hops, hop).mean(axis=1)
    bright = (edges**2).reshape(hops, hop).mean(axis=1)
    rise = np.maximum(_rise_db(power, rate_hz, hop), _rise_db(bright, rate_hz, hop))
    loudest = power.max()
    if loudest <= 0:
        return ()
    loud_db = 10 * np.log10(np.maximum(_after(power), 1e-30) / loudest)
    score = np.clip(rise, 0, 40) / 40 * np.clip(1 + loud_db / QUIET_DB, 0, 1)
    score[rise < LEAST_RISE_DB] = 0.0
    chosen = _peaks_apart(score, max(round(APART_S * rate_hz / hop), 1), most)
    return tuple(
        Attack(
            start_samples=_first_movement(samples, int(at) * hop, hop, rate_hz),
            rise_db=float(rise[at]),
            strength=float(score[at]),
        )
        for at in chosen
    )


def shared_attacks(
    lanes: Sequence[tuple[FloatArray, float]], rate_hz: float, *, together_s: float = 0.030, most: int = 500
) -> tuple[Attack, ...]:
    """Attacks that the lanes have in common, strongest agreement ranked highest.

    Parameters
    ----------
    lanes : (signal, shift_samples) a lane; the shift is added to the lane's own count, so that attacks are
        compared where the lanes are heard.
    together_s : attacks of different lanes within this time are one.

    Returns
    -------
    tuple of Attack in the shifted count, in order of time. `start_samples` is the earliest lane's; strength
    is the sum over the lanes divided by their number, so an attack that only one lane has ranks low.
    """
    found = sorted(
        (attack.start_samples + shift, attack.rise_db, attack.strength, index)
        for index, (signal, shift) in enumerate(lanes)
        for attack in find_attacks(signal, rate_hz, most=most)
    )
    groups: list[list[tuple[float, float, float, int]]] = []
    for one in found:
        if groups and one[0] - groups[-1][0][0] <= together_s * rate_hz:
            groups[-1].append(one)
        else:
            groups.append([one])
    merged = []
    for group in groups:
        best: dict[int, float] = {}
        for _, _, strength, index in group:
            best[index] = max(best.get(index, 0.0), strength)
        merged.append(
            Attack(
                start_samples=round(group[0][0]),
                rise_db=max(one[1] for one in group),
                strength=sum(best.values()) / len(lanes),
            )
        )
    kept = sorted(merged, key=lambda attack: -attack.strength)[:most]
    return tuple(sorted(kept, key=lambda attack: attack.start_samples))


def next_attack(attacks: Sequence[Attack], position_samples: float, *, least: float = 0.0) -> Attack | None:
    """The first attack after a place, of at least that strength."""
    return next((a for a in attacks if a.start_samples > position_samples and a.strength >= least), None)


def previous_attack(
    attacks: Sequence[Attack], position_samples: float, *, least: float = 0.0
) -> Attack | None:
    """The last attack before a place, of at least that strength."""
    return next(
        (a for a in reversed(attacks) if a.start_samples < position_samples and a.strength >= least), None
    )


def strongest_attack(attacks: Sequence[Attack]) -> Attack | None:
    """The attack of the greatest strength, the first of equals; None where there are none."""
    return max(attacks, key=lambda attack: attack.strength, default=None)


def _after(power: FloatArray) -> FloatArray:
    """Power of a hop and the one after it, the louder."""
    return np.asarray(np.maximum(power, np.append(power[1:], power[-1])))


def _rise_db(power: FloatArray, rate_hz: float, hop: int) -> FloatArray:
    """Level of each hop (or the next) over the mean of the stretch before it, dB, shape (hops,)."""
    before = max(round(BEFORE_S * rate_hz / hop), 1)
    floor = max(float(power.max()) * 1e-9, 1e-30)  # -90 dB: digital silence must not make endless rises
    total = np.concatenate(([0.0], np.cumsum(power)))
    index = np.arange(len(power))
    first = np.maximum(index - before, 0)
    mean = (total[index] - total[first]) / np.maximum(index - first, 1)
    rise: FloatArray = 10 * np.log10((_after(power) + floor) / (np.maximum(mean, 0) + floor))
    rise[0] = 0.0  # nothing went before
    return rise


def _peaks_apart(score: FloatArray, apart: int, most: int) -> NDArray[np.intp]:
    """Indices of the highest scores, none within `apart` of a higher one, in order."""
    taken = np.zeros(len(score), dtype=bool)
    kept: list[int] = []
    for at in np.argsort(-score, kind="stable"):
        if score[at] <= 0 or len(kept) >= most:
            break
        if not taken[at]:
            kept.append(int(at))
            taken[max(at - apart, 0) : at + apart + 1] = True
    return np.array(sorted(kept), dtype=np.intp)


def _first_movement(samples: FloatArray, around: int, hop: int, rate_hz: float) -> int:
    """The sample where the signal first leaves what went before, near `around`."""
    before = samples[max(around - round(BEFORE_S * rate_hz), 0) : max(around - hop, 0)]
    stretch_start = max(around - hop, 0)
    stretch = samples[stretch_start : around + 2 * hop]
    if not len(stretch):
        return around
    peak = float(np.abs(stretch).max())
    noise = float(np.abs(before).max()) if len(before) else 0.0
    threshold = max(1.5 * noise, 0.02 * peak)
    if threshold >= peak:  # the rise is in treble only: take the steepest place
        return stretch_start + int(np.argmax(np.abs(np.diff(stretch, prepend=stretch[0]))))
    return stretch_start + int(np.argmax(np.abs(stretch) > threshold))
