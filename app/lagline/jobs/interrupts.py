"""Ctrl+C while worker processes are being started.

A terminal sends it to every process at once. Interrupted between starting a worker and writing its orders,
the parent leaves one that reads the end of the file in their place; a worker interrupted while it loads
answers for itself. Either prints a traceback over the one sentence that counts.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def held_back() -> Iterator[None]:
    """Ctrl+C within the block is answered at its end; processes started within it never hear it.

    The mask is what they inherit. It holds only this thread's signals: another thread may still take one, so
    the answer is put off too. Outside the main thread, where Python answers no signals, nothing is done.
    Windows has no mask: there a worker that is interrupted while it loads may still speak up.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    answer = signal.getsignal(signal.SIGINT)
    heard = False

    def hear(_signal: int, _frame: object) -> None:
        nonlocal heard
        heard = True

    if callable(answer):  # neither ignored nor left to the system
        signal.signal(signal.SIGINT, hear)
    try:
        with _masked():
            yield
    finally:
        if callable(answer):
            signal.signal(signal.SIGINT, answer)
        if heard:
            signal.raise_signal(signal.SIGINT)


@contextmanager
def _masked() -> Iterator[None]:
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def leave_to_the_parent() -> None:
    """Where there is no mask: what a worker does first."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
