"""A closing terminal (HUP) and a system that asks to end (TERM), answered as Ctrl+C is: by clearing up."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_NAMES = ("SIGTERM", "SIGHUP")  # Windows has no SIGHUP


class Heard:
    """Which signal ended the work; Ctrl+C until another came."""

    number: int = signal.SIGINT

    @property
    def exit_code(self) -> int:
        """As shells have it."""
        return 128 + self.number


@contextmanager
def stopped_by_signals() -> Iterator[Heard]:
    """Within the block a signal that asks to end raises KeyboardInterrupt, once: the next ones, which a
    closing terminal sends at once, must not disturb the clearing up, nor the end of the process after it:
    they go unheard. What is ignored (nohup) stays ignored.

    Outside the main thread, where Python answers no signals, nothing is done.
    """
    heard = Heard()
    asked = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
    if threading.current_thread() is not threading.main_thread():
        asked = []
    before = {number: signal.getsignal(number) for number in asked}
    ours = [number for number in asked if before[number] is not signal.SIG_IGN]

    def stop(number: int, _frame: object) -> None:
        if heard.number == signal.SIGINT:
            heard.number = number
            raise KeyboardInterrupt

    for number in ours:
        signal.signal(number, stop)
    try:
        yield heard
    finally:
        was_stopped = heard.number != signal.SIGINT
        for number in ours:
            signal.signal(number, signal.SIG_IGN if was_stopped else before[number])
