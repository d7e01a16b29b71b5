"""Which stretches of the take to look at: around attacks if it has them, else wherever there is sound.

Every lane is cut at the same session time plus the lane's own coarse offset, so that residual delays
are small and no window is wasted on a lane's silence.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from lagline.analysis.scan import WORKERS, Floats, Levels, Samples
from lagline.spread import spread

WINDOW_S = 0.28
LEAD_S = 0.060  # an attack window starts this long before the attack
APART_S = 0.120  # attacks nearer than this are one
LEAST_RISE_DB = 8.0
LOUD_RANGE_DB = 45.0  # what lies this far below a lane's loud level has little to say
MOST_ATTACKS = 56
STEADY_HOPS = 4
ATTACK_ENERGY = 0.125  # of a window, after the attack: where the energy of a stroke lies
ATTACK_SHARE = 0.55  # of the energy, so that a take counts as made of attacks


class Windows(Struct, frozen=True):
    """Where to cut.

    start : session sample (of the common frame) where each window begins, shape (windows,).
    turn : index of the attack (or stretch) a window belongs to; kind : its place after that attack.
    Windows of one kind may stand in for each other when chance agreement is measured.
    is_attack : whether the window starts just before an attack. length : samples.
    """

    start: NDArray[np.int64]
    turn: NDArray[np.int64]
    kind: NDArray[np.int64]
    is_attack: NDArray[np.bool_]
    length: int
    lead: int

    @property
    def count(self) -> int:
        """How many windows there are."""
        return len(self.start)

    @property
    def time(self) -> NDArray[np.int64]:
        """Session sample about which each window's energy lies: soon after an attack, else in the middle."""
        after_attack = self.lead + round(self.length * ATTACK_ENERGY)
        return self.start + np.where(self.is_attack, after_attack, self.length // 2)


def loud_level(power: Samples) -> float:
    """Level that a lane reaches often: the mean of the loudest twentieth of what is not silent."""
    heard = power[power > 1e-12]
    if not len(heard):
        return 0.0
    count = max(len(heard) // 20, 1)
    return float(np.partition(heard, -count)[-count:].mean(dtype=np.float64))


def attack_strength(levels: Levels, offset_hops: int, hops: int) -> Samples:
    """Rise in dB (0..40), weighed down where the lane is quiet, one value a hop of the common frame."""
    best = np.zeros(hops, np.float32)
    for power in (levels.power, levels.bright):
        loud = loud_level(power)
        if loud <= 0:
            continue
        floor = loud * 10 ** (-LOUD_RANGE_DB / 10 - 1)
        # Means over 20 ms: one period of mains hum or of a low bass note, whose ripple is no attack.
        seen = _shifted(power, offset_hops, hops) + floor
        after = 10 * np.log10(_mean_ahead(seen, STEADY_HOPS))
        before = np.maximum(_earlier(after, STEADY_HOPS), _earlier(after, 2 * STEADY_HOPS))
        rise = np.clip(after - before, 0, 40)
        rise[:2] = 0
        weight = np.clip(1 + (after - 10 * np.log10(loud)) / LOUD_RANGE_DB, 0, 1)
        best = np.maximum(best, rise * weight)
    return best


def choose(
    levels: list[Levels], offsets: list[int], rate_hz: int, *, most: int, cancelled: Callable[[], bool]
) -> Windows:
    """Windows that say most.

    Parameters
    ----------
    levels : of every lane. offsets : samples by which each lane is later than the common frame.
    most : at most this many windows.

    Raises
    ------
    Cancelled
    """
    hop, first = levels[0].hop, levels[0].start
    hops = len(levels[0].power)
    listened = [i for i in range(len(levels)) if not levels[i].is_silent]
    length = round(WINDOW_S * rate_hz)
    lead = round(LEAD_S * rate_hz)
    if not listened:
        return _windows([], [], [], [], length, lead)
    strength = np.zeros(hops)
    heard = np.zeros(hops)

    def listen(i: int) -> tuple[Samples, Samples]:
        shift = round(offsets[i] / hop)
        return attack_strength(levels[i], shift, hops), _audible(levels[i].power, shift, hops)

    for rises, audible in spread(listen, listened, threads=WORKERS, cancelled=cancelled):
        strength += rises
        heard += audible
    attacks = _attack_hops(strength, len(listened), hop, rate_hz)
    energy = heard**2
    span = max(round((WINDOW_S - LEAD_S) * rate_hz / hop), 1)
    inside = np.zeros(hops, bool)
    for at in attacks:
        inside[max(at - 1, 0) : at + 2 * span] = True
    share = float(energy[inside].sum() / max(energy.sum(), 1e-12))
    if (len(attacks) >= 3 and share >= ATTACK_SHARE) or (len(attacks) >= 1 and share > 0.85):
        return _around_attacks(attacks, heard, strength, hop, first, length, lead, most, len(listened))
    return _everywhere(heard, hop, first, length, lead, most, len(listened), rate_hz)


def around(
    times: NDArray[np.int64], windows: Windows, levels: list[Levels], offsets: list[int], *, most: int
) -> Windows:
    """The same attacks at better known times.

    Parameters
    ----------
    times : session sample (common frame) of each attack of `windows`, by turn; ascending.
    """
    hop, first = levels[0].hop, levels[0].start
    hops = len(levels[0].power)
    listened = [i for i in range(len(levels)) if not levels[i].is_silent]
    heard = np.zeros(hops)
    for i in listened:
        heard += _audible(levels[i].power, round(offsets[i] / hop), hops)
    following = np.append(times[1:], first + hops * hop)
    nearest = {int(at): int(nxt) for at, nxt in zip(times, following, strict=True)}
    return _from_attacks(
        times, nearest, heard, hop, first, windows.length, windows.lead, windows.count + 8, len(listened)
    )


def _audible(power: Samples, shift: int, hops: int) -> Samples:
    """0..1 a hop: how far a lane is above what counts as quiet."""
    seen = _shifted(power, shift, hops)
    return np.asarray(np.clip(1 + 10 * np.log10(seen / loud_level(power) + 1e-9) / LOUD_RANGE_DB, 0, 1))


def _around_attacks(
    attacks: NDArray[np.int64],
    heard: Floats,
    strength: Floats,
    hop: int,
    first: int,
    length: int,
    lead: int,
    most: int,
    lanes: int,
) -> Windows:
    chosen = attacks
    allowed = min(MOST_ATTACKS, most)
    if len(attacks) > allowed:
        chosen = _spread(attacks, strength, allowed)
    ends = {
        first + int(at) * hop: first + int(nxt) * hop
        for at, nxt in zip(attacks, [*attacks[1:], len(heard)], strict=True)
    }
    return _from_attacks(first + chosen * hop, ends, heard, hop, first, length, lead, most, lanes)


def _from_attacks(
    times: NDArray[np.int64],
    ends: dict[int, int],
    heard: Floats,
    hop: int,
    first: int,
    length: int,
    lead: int,
    most: int,
    lanes: int,
) -> Windows:
    """A window at each attack, and more after it until the next or until it has died away."""
    starts: list[int] = []
    turns: list[int] = []
    kinds: list[int] = []
    half = length // 2
    for number, at in enumerate(times):
        begin = int(at) - lead
        starts.append(begin)
        turns.append(number)
        kinds.append(0)
        for kind in range(1, 4):
            start = begin + lead + kind * half
            low, high = (start - first) // hop, (start + length - first) // hop
            if len(starts) >= most or start + length > ends[int(at)] or high <= low:
                break
            if low < 0 or high > len(heard) or heard[low:high].mean() < 0.3 * lanes:
                break
            starts.append(start)
            turns.append(number)
            kinds.append(kind)
    return _windows(starts, turns, kinds, [kind == 0 for kind in kinds], length, lead)


def _everywhere(
    heard: Floats, hop: int, first: int, length: int, lead: int, most: int, lanes: int, rate_hz: int
) -> Windows:
    step = max(length // 2 // hop, 1)
    span = max(length // hop, 1)
    total = np.concatenate(([0.0], np.cumsum(heard)))
    at = np.arange(0, max(len(heard) - span, 0) + 1, step)
    mean = (total[np.minimum(at + span, len(heard))] - total[at]) / span
    useful = at[mean > 0.25 * lanes]
    if not len(useful):
        useful = at[[int(np.argmax(mean))]]
    if len(useful) > most:
        score = np.zeros(len(heard))
        score[at] = mean
        useful = _spread(useful, score, most)
    count = len(useful)
    return _windows(
        [first + int(i) * hop for i in useful],
        list(range(count)),
        [0] * count,
        [False] * count,
        length,
        lead,
    )


def _spread(places: NDArray[np.int64], score: Floats, most: int) -> NDArray[np.int64]:
    """`most` of the places, the best of each stretch, so that the whole take has its say."""
    parts = np.array_split(places, most)
    return np.array([int(part[np.argmax(score[part])]) for part in parts if len(part)], np.int64)


def _attack_hops(strength: Floats, lanes: int, hop: int, rate_hz: int) -> NDArray[np.int64]:
    apart = max(round(APART_S * rate_hz / hop), 1)
    # Lanes hear one attack some hops apart: let neighbours count together before picking.
    kernel = np.array([0.5, 0.8, 1.0, 0.8, 0.5])
    together = np.convolve(strength, kernel, "same")
    taken = np.zeros(len(together), bool)
    kept: list[int] = []
    for at in np.argsort(-together, kind="stable"):
        if together[at] < LEAST_RISE_DB * max(lanes**0.5, 1.0) or len(kept) >= 4000:
            break
        if not taken[at]:
            if len(kept) >= 3 and together[at] < 0.3 * together[kept[: len(kept) // 2 + 1]].mean():
                break
            near = strength[max(at - 3, 0) : at + 4]
            floor = 0.3 * float(near.max())
            kept.append(max(int(at) - 3, 0) + int(np.argmax(near > floor)))
            taken[max(at - apart, 0) : at + apart + 1] = True
    return np.array(sorted(set(kept)), np.int64)


def _shifted(power: Samples, offset_hops: int, hops: int) -> Samples:
    """Power as the common frame sees it: hop `i` holds the lane's hop `i + offset_hops`; 0 outside."""
    out = np.zeros(hops, np.float32)
    low, high = max(0, -offset_hops), min(hops, len(power) - offset_hops)
    if low < high:
        out[low:high] = power[low + offset_hops : high + offset_hops]
    return out


def _mean_ahead(power: Samples, hops: int) -> Samples:
    """Mean of each hop and those after it, shorter at the end."""
    total = power.copy()
    count = np.ones(len(power), np.float32)
    for ahead in range(1, hops):
        total[:-ahead] += power[ahead:]
        count[:-ahead] += 1
    total /= count
    return total


def _earlier(values: Samples, hops: int) -> Samples:
    """What stood `hops` before; the first value before that."""
    return np.concatenate((np.full(min(hops, len(values)), values[0]), values[: max(len(values) - hops, 0)]))


def _windows(
    starts: list[int], turns: list[int], kinds: list[int], is_attack: list[bool], length: int, lead: int
) -> Windows:
    order = np.argsort(np.array(starts, np.int64), kind="stable")
    return Windows(
        start=np.array(starts, np.int64)[order],
        turn=np.array(turns, np.int64)[order],
        kind=np.array(kinds, np.int64)[order],
        is_attack=np.array(is_attack, bool)[order],
        length=length,
        lead=lead,
    )
