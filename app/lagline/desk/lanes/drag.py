"""Where a lane lands while it is dragged: speed and magnet. No Qt."""

from __future__ import annotations

from collections.abc import Iterable

FINE = 0.1  # how fast a lane follows the pointer with the fine modifier held
PULL_PIXELS = 7.0  # how near the magnet takes hold


def settled(shift_samples: float, targets: Iterable[float], per_pixel: float, *, fine: bool = False) -> float:
    """The shift a lane takes when the hand is at `shift_samples`.

    The nearest target within PULL_PIXELS wins; else whole samples, or tenths with the fine modifier.
    `per_pixel` is samples a pixel: the closer the view, the finer the pull. Between two targets nothing
    is out of reach: the pull never covers more than a third of the way to the next one.
    """
    places = sorted(set(targets))
    near = min(places, key=lambda place: abs(place - shift_samples), default=None)
    if near is not None:
        gaps = [abs(other - near) for other in places if other != near]
        reach = min(PULL_PIXELS * per_pixel * (FINE if fine else 1.0), *(gap / 3 for gap in gaps), 1e12)
        if abs(near - shift_samples) <= reach:
            return near
    return round(shift_samples, 1) if fine else float(round(shift_samples))


class LaneDrag:
    """One drag of one lane, from press to release. All positions are pixels along time."""

    def __init__(self, x: float, shift_samples: float, targets: tuple[float, ...]) -> None:
        self.start_shift_samples = shift_samples
        self._x = x
        self._hand_samples = shift_samples
        self._targets = targets

    def moved(self, x: float, per_pixel: float, *, fine: bool, free: bool) -> float:
        """The lane's shift with the pointer at `x`.

        `fine` slows to a tenth from here on; `free` switches the magnet off, fractions and all.
        """
        self._hand_samples += (x - self._x) * per_pixel * (FINE if fine else 1.0)
        self._x = x
        if free:
            return self._hand_samples
        return settled(self._hand_samples, self._targets, per_pixel, fine=fine)
