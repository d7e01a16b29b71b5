"""The thread that listens to the processes of playback, so that the desk never waits for them."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from multiprocessing.connection import wait
from multiprocessing.context import SpawnContext
from typing import Any

PAUSE_S = 1.0  # after an error nobody foresaw: it may come again at once

_log = logging.getLogger(__name__)


class Watcher:
    """Waits for what `sources` names, then has `hear` deal with it, again and again.

    sources : gives what to wait for and the longest wait in seconds (None: for ever). Called in the thread.
    hear : takes what is ready, perhaps nothing. Called in the thread.

    An error in one of them is logged, and the thread goes on: without it playback is deaf for good.
    """

    def __init__(
        self,
        context: SpawnContext,
        sources: Callable[[], tuple[list[Any], float | None]],
        hear: Callable[[list[Any]], None],
    ) -> None:
        self._sources = sources
        self._hear = hear
        self._ear, self._mouth = context.Pipe(duplex=False)
        self._closing = threading.Event()
        self._thread: threading.Thread | None = None

    def look(self) -> None:
        """Look at the sources anew; they may have changed. Not for several threads at once."""
        if self._closing.is_set():
            return
        if self._thread is None:
            thread = threading.Thread(target=self._run, name="playback watcher", daemon=True)
            thread.start()
            self._thread = thread
        else:
            self._mouth.send(None)

    def close(self) -> None:
        """End the thread, when it is done with what it does."""
        self._closing.set()
        if self._thread is not None:
            self._mouth.send(None)
            self._thread.join()
        self._mouth.close()
        self._ear.close()

    def _run(self) -> None:
        while not self._closing.is_set():
            try:
                self._listen()
            except Exception:  # noqa: BLE001 (logged; a thread that ends would be worse)
                _log.exception("the watcher of playback goes on after an error")
                self._closing.wait(PAUSE_S)

    def _listen(self) -> None:
        sources, timeout_s = self._sources()
        ready = wait([self._ear, *sources], timeout_s)
        if self._ear in ready:
            self._ear.recv()
        if not self._closing.is_set():
            self._hear(ready)
