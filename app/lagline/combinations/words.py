"""What the figures of a cell mean, in words first, and which cells to hear first. Never a verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence

from msgspec import Struct

from lagline.combinations.cells import Cell
from lagline.combinations.facts import BoardFacts, CellFacts, Notch

AUDIBLE_CHANGE_DB = 1.0  # of a third octave; less is not told
GONE_SHARE = 0.5  # a notch that keeps less than this of its depth is filled
SAME_PLACE = 2.0 ** (1.0 / 6.0)  # two notches within a sixth of an octave are one
MONO_DB = 1.0  # less is not told
MOST_SAID = 3


class Suggestion(Struct, frozen=True):
    """A cell to hear first, and why."""

    name: str
    cell: Cell
    reason: str


def hertz(frequency_hz: float) -> str:
    """`390 Hz`, `1.5 kHz`: three figures at most."""
    if frequency_hz < 1_000.0:
        return f"{frequency_hz:.3g} Hz" if frequency_hz < 100 else f"{frequency_hz:.0f} Hz"
    return f"{frequency_hz / 1_000.0:.3g} kHz"


def told(facts: CellFacts, as_recorded: CellFacts | None, bands_hz: Sequence[float]) -> str:
    """A sentence on a cell, what comes of it first: `fills 12 dB at 390 Hz; +2.1 dB from 100 to 250 Hz`.

    `as_recorded`: the same lanes as recorded, where the board has them. "; " separates what can stand alone.
    """
    if not math.isfinite(facts.loudness_lufs):
        return "nothing is to be heard"
    said: list[str] = []
    if as_recorded is not None:
        said += _notch_filled(facts, as_recorded)
        change = widest_change(facts.change_db, bands_hz)
        said += [change] if change else []
    if facts.notches and len(said) < MOST_SAID:
        worst = facts.notches[0]
        more = f"; {len(facts.notches) - 1} more" if len(facts.notches) > 1 else ""
        said.append(f"{worst.depth_db:.0f} dB notch at {hertz(worst.frequency_hz)}{more}")
    elif len(facts.cell.lane_ids) > 1 and not facts.notches:
        said.append("no notches")
    if facts.mono_worst_db < -MONO_DB - 3.0:
        said.append(f"{facts.mono_worst_db:.0f} dB at {hertz(facts.mono_worst_hz)} in mono")
    return "; ".join(said) or "alone"


def _notch_filled(facts: CellFacts, as_recorded: CellFacts) -> list[str]:
    """What becomes of the worst notch that there was."""
    if not as_recorded.notches:
        return []
    worst = as_recorded.notches[0]
    left = max((notch.depth_db for notch in facts.notches if _same_place(notch, worst)), default=0.0)
    return [f"fills {decibels(worst)}"] if left < GONE_SHARE * worst.depth_db else []


def decibels(notch: Notch) -> str:
    """`12 dB at 390 Hz`."""
    return f"{notch.depth_db:.0f} dB at {hertz(notch.frequency_hz)}"


def _same_place(one: Notch, other: Notch) -> bool:
    low, high = sorted((one.frequency_hz, other.frequency_hz))
    return high <= SAME_PLACE * low


def widest_change(change_db: Sequence[float], bands_hz: Sequence[float]) -> str:
    """The run of third octaves that changes most, all one way: `+2.1 dB from 100 to 250 Hz`; or nothing."""
    runs: list[list[int]] = []
    for at, change in enumerate(change_db):
        if not math.isfinite(change) or abs(change) < AUDIBLE_CHANGE_DB:
            continue
        goes_on = runs and runs[-1][-1] == at - 1 and change_db[at - 1] * change > 0
        if goes_on:
            runs[-1].append(at)
        else:
            runs.append([at])
    if not runs:
        return ""
    run = max(runs, key=lambda places: abs(sum(change_db[at] for at in places)))
    mean_db = sum(change_db[at] for at in run) / len(run)
    first, last = hertz(bands_hz[run[0]]), hertz(bands_hz[run[-1]])
    if len(run) == 1:
        return f"{mean_db:+.1f} dB about {first}"
    same_unit = first.split()[1] == last.split()[1]
    return f"{mean_db:+.1f} dB from {first.split()[0] if same_unit else first} to {last}"


def suggestions(board: BoardFacts) -> tuple[Suggestion, ...]:
    """Cells named for one good thing each; none where no cell stands out in it."""
    sums = [one for one in board.cells if len(one.cell.parts) > 1 and math.isfinite(one.loudness_lufs)]
    heard = [one for one in board.cells if math.isfinite(one.loudness_lufs)]
    found: list[Suggestion | None] = [
        _most_even(sums),
        _fullest_lows(heard, board.bands_hz),
        _cleanest_in_mono(sums),
    ]
    return tuple(one for one in found if one is not None)


def _most_even(sums: Sequence[CellFacts]) -> Suggestion | None:
    ranked = sorted((one for one in sums if math.isfinite(one.ripple_db)), key=lambda one: one.ripple_db)
    if len(ranked) < 2 or ranked[-1].ripple_db - ranked[0].ripple_db < 0.1:
        return None
    best, worst = ranked[0], ranked[-1]
    reason = f"the sum ripples by {best.ripple_db:.1f} dB, others by up to {worst.ripple_db:.1f}"
    return Suggestion("most even", best.cell, reason)


def _fullest_lows(heard: Sequence[CellFacts], bands_hz: Sequence[float]) -> Suggestion | None:
    """Power of the third octaves from 40 to 250 Hz at equal loudness, against the fullest cell in each."""
    inside = [at for at, band_hz in enumerate(bands_hz) if 40.0 <= band_hz <= 250.0]
    levels = sorted(
        ((sum(one.tone_db[at] for at in inside) / len(inside), one) for one in heard),
        key=lambda pair: pair[0],
    )
    if len(levels) < 2 or levels[-1][0] - levels[0][0] < 0.1:
        return None
    (least_db, _), (most_db, best) = levels[0], levels[-1]
    reason = f"up to {most_db - least_db:.1f} dB more from 40 to 250 Hz at equal loudness"
    return Suggestion("fullest lows", best.cell, reason)


def _cleanest_in_mono(sums: Sequence[CellFacts]) -> Suggestion | None:
    ranked = sorted(
        (one for one in sums if math.isfinite(one.mono_worst_db)), key=lambda one: one.mono_worst_db
    )
    if len(ranked) < 2 or ranked[-1].mono_worst_db - ranked[0].mono_worst_db < 0.1:
        return None
    worst, best = ranked[0], ranked[-1]
    reason = (
        f"mono takes {-best.mono_worst_db:.1f} dB from its worst third octave, from others' up to "
        f"{-worst.mono_worst_db:.1f}"
    )
    return Suggestion("cleanest in mono", best.cell, reason)
