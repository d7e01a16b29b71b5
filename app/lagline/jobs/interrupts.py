"""Ctrl+C while worker processes are being started; and workers that end with their parent.

A terminal sends it to every process at once. Interrupted between starting a worker and writing its orders,
the parent leaves one that reads the end of the file in their place; a worker interrupted while it loads
answers for itself. Either prints a traceback over the one sentence that counts.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
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


def start_the_tracker() -> None:
    """Start the process that clears up what others share (multiprocessing's), unless it runs already.

    Python keeps it from hearing Ctrl+C and TERM, but not from a closing terminal, and it would call it a leak
    when its parent was killed and it clears up: what it is there for.
    """
    if sys.platform == "win32":
        return  # there is none
    from multiprocessing import resource_tracker

    quiet = "ignore::UserWarning:multiprocessing.resource_tracker"
    with _masked(signal.SIGHUP):
        sys.warnoptions.append(quiet)  # handed down to it
        try:
            resource_tracker.ensure_running()
        finally:
            sys.warnoptions.remove(quiet)


@contextmanager
def _masked(number: int = signal.SIGINT) -> Iterator[None]:
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {number})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def follow_the_parent() -> None:
    """What a worker does first: leave Ctrl+C to its parent (where there is no mask), and end with it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_the_parent, name="ends with the parent", daemon=True).start()


def _end_with_the_parent() -> None:
    """A parent that is killed tells nobody; its end of a pipe closes all the same."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)  # at once, whatever is being measured: there is nobody to hand it to
