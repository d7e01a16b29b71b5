"""What runs in the analysis process: measures takes that come through a pipe. No Qt here."""

from __future__ import annotations

import os
import traceback
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Event

from msgspec import Struct

from lagline.analysis.options import AnalysisOptions
from lagline.errors import LaglineError
from lagline.session.findings import Alignment
from lagline.session.values import Session

STEP = 0.005  # progress smaller than this is not worth a message


class Order(Struct, frozen=True):
    """One measurement to make. `number` comes back with everything said about it."""

    number: int
    session: Session
    options: AnalysisOptions


class Progress(Struct, frozen=True):
    """How far request `number` is, 0..1."""

    number: int
    fraction: float


class Measured(Struct, frozen=True):
    """The answer to request `number`."""

    number: int
    alignment: Alignment


class Failed(Struct, frozen=True):
    """`sentence` can be shown as it is. `trace`: where a defect of ours happened, for the desk's log."""

    number: int
    sentence: str
    trace: str = ""


class Ready(Struct, frozen=True):
    """The process has loaded what it needs."""


Said = Progress | Measured | Failed | Ready


def serve(pipe: Connection, stop: Event) -> None:
    """Measure one order after another until None comes or the pipe is closed."""
    from lagline.jobs.line_up import line_up  # loads scipy: only in this process

    if hasattr(os, "nice"):
        os.nice(10)  # sound and window come first
    pipe.send(Ready())
    while True:
        try:
            order = pipe.recv()
        except (EOFError, OSError):
            return
        if order is None:
            return
        told = [-1.0]

        def progress(fraction: float, number: int = order.number, told: list[float] = told) -> None:
            if fraction - told[0] >= STEP:
                told[0] = fraction
                pipe.send(Progress(number, fraction))

        try:
            alignment = line_up(order.session, order.options, progress=progress, cancelled=stop.is_set)
            answer: Said = Measured(order.number, alignment)
        except LaglineError as error:
            answer = Failed(order.number, str(error))
        except Exception as error:  # noqa: BLE001 - a defect reaches the desk as a sentence and does not end this
            answer = Failed(
                order.number,
                f"Measuring failed ({type(error).__name__}: {error}). Nothing was changed.",
                traceback.format_exc(),
            )
        try:
            pipe.send(answer)
        except (BrokenPipeError, OSError):
            return
