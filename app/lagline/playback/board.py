"""Numbers the audio thread shows to everyone: shared memory, one writer a field, no waiting."""

from __future__ import annotations

from enum import IntEnum, auto
from multiprocessing.context import BaseContext
from typing import Any

BINS = 400
BIN_WIDTH = 0.005  # of a block's deadline; the last bin holds everything longer


class Field(IntEnum):
    """Where a number stands on the board."""

    POSITION = 0  # session time of the sample now heard
    SOUNDING = auto()  # 1 while something is played or fading
    TURN = auto()  # of the view now heard
    PEAK_LEFT = auto()  # largest sample leaving, decaying between peaks
    PEAK_RIGHT = auto()
    TRUE_PEAK = auto()  # between samples, decaying
    REDUCTION_DB = auto()  # of the limiter, decaying
    HELD_DB = auto()  # what the hearing guard takes from what is heard
    LEVEL_LUFS = auto()  # heard over the last 0.4 s, K-weighted
    HEARD_FRAMES = auto()  # that were no silence between plays, by this engine
    EAR_LUFS = (
        auto()
    )  # what the ear is used to: kept for an engine that takes over; 0 before anything was heard
    ENDED = auto()  # token of the play that has come to the end of the take; 0 away from it
    STARVED = auto()  # times the feeder was too late
    JUMP = auto()  # token of the last jump made
    UNDERRUNS = auto()  # times the device ran out of sound, as it says itself
    BLOCKS = auto()  # callbacks so far
    BLOCK_FRAMES = auto()
    LATE_BLOCKS = auto()  # callbacks that started late by more than one block
    WORST_LATENESS = auto()  # in blocks
    WORST_DURATION = auto()  # longest callback, as a part of its deadline
    HISTOGRAM = auto()  # first of BINS counts of callback durations


SIZE = Field.HISTOGRAM + BINS


class Board:
    """An array of floats by `Field`, in shared memory when a multiprocessing context is given."""

    def __init__(self, context: BaseContext | None = None) -> None:
        self.numbers: Any = context.RawArray("d", SIZE) if context else [0.0] * SIZE

    def __getitem__(self, field: Field) -> float:
        value: float = self.numbers[field]
        return value

    def __setitem__(self, field: Field, value: float) -> None:
        self.numbers[field] = value

    def count_duration(self, part_of_deadline: float) -> None:
        """Put one callback's duration into the histogram."""
        self.numbers[Field.HISTOGRAM + min(int(part_of_deadline / BIN_WIDTH), BINS - 1)] += 1.0
        if part_of_deadline > self.numbers[Field.WORST_DURATION]:
            self.numbers[Field.WORST_DURATION] = part_of_deadline

    def duration_percentile(self, percent: float) -> float:
        """Callback duration, as a part of its deadline, that `percent` of the callbacks stayed under."""
        counts = list(self.numbers[Field.HISTOGRAM : Field.HISTOGRAM + BINS])
        target, seen = sum(counts) * percent / 100.0, 0.0
        for number, count in enumerate(counts):
            seen += count
            if seen >= target and count:
                return (number + 1) * BIN_WIDTH
        return 0.0

    def clear_timing(self) -> None:
        """Forget callback times, before a measurement."""
        for field in range(Field.BLOCKS, SIZE):
            self.numbers[field] = 0.0
