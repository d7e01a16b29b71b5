"""How fast work on many takes goes, and how long it will still take."""

from __future__ import annotations

import time
from collections.abc import Callable

from lagline.day.spans import span_words

TELLING_STEPS = 2  # takes done before the time left is told


class Pace:
    """Counts what is done; `clock` gives seconds."""

    def __init__(self, of: int, clock: Callable[[], float] = time.monotonic) -> None:
        self.of, self.done = of, 0
        self._clock = clock
        self._began = clock()

    def step(self) -> None:
        """One more is done."""
        self.done += 1

    @property
    def fraction(self) -> float:
        """0..1 of what there is to do."""
        return self.done / self.of if self.of else 1.0

    @property
    def left_s(self) -> float | None:
        """Seconds until it is done, at the pace so far; None while too little is done to tell."""
        if self.done < TELLING_STEPS:
            return None
        return (self._clock() - self._began) / self.done * (self.of - self.done)

    @property
    def words(self) -> str:
        """`12 of 40, about 3 min left`."""
        left = self.left_s
        told = f", about {span_words(left)} left" if left else ""
        return f"{self.done} of {self.of}{told}"
