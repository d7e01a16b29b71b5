"""A process of ours at the other end of a pipe."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from multiprocessing.context import SpawnContext
from typing import Any

PATIENCE_S = 2.0


def spawn_context() -> SpawnContext:
    """Fresh interpreters, not forks: a fork would take over the desk's threads, windows and open devices."""
    return multiprocessing.get_context("spawn")


class Helper:
    """Runs `target(connection, *arguments)` in a new process that ends when the pipe is closed."""

    def __init__(
        self, context: SpawnContext, name: str, target: Callable[..., None], *arguments: object
    ) -> None:
        self.connection, theirs = context.Pipe()
        self._process = context.Process(target=target, args=(theirs, *arguments), name=name, daemon=True)
        self._process.start()
        theirs.close()

    @property
    def pid(self) -> int | None:
        return self._process.pid

    @property
    def sentinel(self) -> Any:
        """For `multiprocessing.connection.wait`: ready once the process has ended."""
        return self._process.sentinel

    def is_alive(self) -> bool:
        return self._process.is_alive()

    def send(self, value: object) -> None:
        """Say something; a process that is gone does not hear it, which the watcher of `sentinel` finds."""
        try:
            self.connection.send(value)
        except OSError:
            if self._process.is_alive():
                raise

    def heard(self, ready: list[Any]) -> list[Any]:
        """What it has said, given what `multiprocessing.connection.wait` found ready."""
        said: list[Any] = []
        if self.connection in ready:
            try:
                while self.connection.poll():
                    said.append(self.connection.recv())
            except (EOFError, OSError):
                self._process.join(PATIENCE_S)  # it has hung up: `is_alive` shall know
        return said

    def close(self) -> None:
        """End the process: by closing the pipe, and by force when it does not answer."""
        self.connection.close()
        self._process.join(PATIENCE_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self._process.close()
