"""What the list says of a take: the same in the desk and on paper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from lagline.day.spans import clock_words
from lagline.day.values import DayTake

if TYPE_CHECKING:  # what compares takes loads the analysis
    from lagline.day.against import Difference, LaneMove

_WORDS = {
    "moved": "moved",
    "other polarity": "is the other way up",
    "swapped": "and {other} are swapped",
    "of another take": "is the recording of {other}",
    "unsure": "may have moved",
    "not found": "was not found",
    "not in the setup": "is not in the setup",
    "missing": "is missing",
}


def length_words(take: DayTake) -> str:
    """`3:05`; empty while it is not known."""
    return clock_words(take.facts.length_s) if take.facts else ""


def health_words(take: DayTake) -> str:
    """How many faults there are; empty before the recordings were checked."""
    faults = len(take.faults)
    if faults:
        return "1 fault" if faults == 1 else f"{faults} faults"
    if not take.is_checked:
        return ""
    return "well" if not take.notes else "1 note" if len(take.notes) == 1 else f"{len(take.notes)} notes"


def difference_words(one: Difference) -> str:
    """`Near moved +42.0 samples, +30 cm`."""
    said = f"{one.lane} {_WORDS[one.word]}".replace("{other}", one.other)
    if one.word in ("moved", "unsure") and one.samples is not None and one.cm is not None:
        said += f" {_signed(one.samples, 1)} samples, {_signed(one.cm, 0)} cm"
    return said


def differs_words(take: DayTake, found: Sequence[Difference] | None) -> str:
    """All that differs; `None` while there is nothing to hold the take against."""
    if not take.is_measured:
        return ""
    if found is None:
        return "nothing to hold it against yet"
    return "; ".join(difference_words(one) for one in found if not _told(one, found)) or "as usual"


def _told(one: Difference, found: Sequence[Difference]) -> bool:
    """Whether the other of two swapped lanes has said it already."""
    before = found[: list(found).index(one)]
    return one.word == "swapped" and any(other.lane == one.other for other in before)


def move_words(move: LaneMove) -> str:
    """`Near moved 30 cm away between Take 12 and Take 13`."""
    way = "away" if move.cm > 0 else "nearer"
    return f"{move.lane} moved {abs(move.cm):.0f} cm {way} between {move.before} and {move.after}"


def _signed(value: float, digits: int) -> str:
    return f"{value:+.{digits}f}".replace("-", "−")
