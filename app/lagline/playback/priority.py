"""A place before ordinary work for the process that plays."""

from __future__ import annotations

import contextlib
import os
from typing import Literal

NICENESS = -10  # late sound is heard at once, a late window hardly

Priority = Literal["real time", "raised", "ordinary"]


def come_first() -> Priority:
    """Ask the system for a place before ordinary work; says what it gave.

    Most systems give real time to members of an audio group only, and a lower niceness to nobody else.
    Real time for the whole process: a callback alone, which a sound server may have put there, waits for an
    ordinary feeder that has the interpreter and is not allowed to run. Measured beside ten
    processes that want two processors, a callback waits 0.7 ms at most for the interpreter with it and 10 to
    70 ms, several blocks, without. Not with one processor, which a feeder might take for itself.
    """
    if hasattr(os, "sched_setscheduler") and (os.cpu_count() or 1) > 1:
        with contextlib.suppress(OSError):
            os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(1))
            return "real time"
    if hasattr(os, "nice"):
        with contextlib.suppress(OSError):
            os.nice(NICENESS)
            return "raised"
    return "ordinary"
