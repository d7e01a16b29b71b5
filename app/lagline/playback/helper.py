"""A process of ours at the other end of a pipe."""

from __future__ import annotations

import contextlib
import multiprocessing
import signal
import traceback
from collections.abc import Callable, Iterator
from multiprocessing.context import SpawnContext
from typing import Any

from lagline.playback.protocol import Failed

PATIENCE_S = 2.0


def spawn_context() -> SpawnContext:
    """Fresh interpreters, not forks: a fork would take over the desk's threads, windows and open devices."""
    return multiprocessing.get_context("spawn")


@contextlib.contextmanager
def last_words(send: Callable[[Failed], None]) -> Iterator[None]:
    """For the main function of a process: an error that ends it is told to the desk before."""
    try:
        yield
    except (EOFError, BrokenPipeError, ConnectionResetError):
        raise  # the desk is gone: nobody listens
    except Exception as error:
        with contextlib.suppress(OSError):  # the desk may be gone too
            send(words_of(error))
        raise


def words_of(error: Exception) -> Failed:
    """What happened, in a line for the user and in full for the log."""
    text = str(error).rstrip(".") or "no further words"
    return Failed(f"{type(error).__name__}: {text}", "".join(traceback.format_exception(error)))


class Helper:
    """Runs `target(connection, *arguments)` in a new process that ends when the pipe is closed.

    Nothing here waits for the process but `close`.
    """

    def __init__(
        self, context: SpawnContext, name: str, target: Callable[..., None], *arguments: object
    ) -> None:
        self.connection, theirs = context.Pipe()
        self._has_hung_up = False
        self._process = context.Process(target=target, args=(theirs, *arguments), name=name, daemon=True)
        try:
            self._process.start()
        except BaseException:
            self.connection.close()
            raise
        finally:
            theirs.close()

    @property
    def pid(self) -> int | None:
        return self._process.pid

    @property
    def sources(self) -> list[Any]:
        """For `multiprocessing.connection.wait`: ready when it has said something or has ended."""
        return [self.connection, self._process.sentinel]

    def is_alive(self) -> bool:
        """Whether it still listens and runs."""
        return not self._has_hung_up and self._process.is_alive()

    def send(self, value: object) -> bool:
        """Say something; False when nobody hears it any more, which `sources` tell too."""
        try:
            self.connection.send(value)
        except OSError:
            self._has_hung_up = True
        return not self._has_hung_up

    def heard(self, ready: list[Any]) -> list[Any]:
        """What it has said, given what `multiprocessing.connection.wait` found ready."""
        said: list[Any] = []
        if self.connection in ready or self._process.sentinel in ready:
            try:
                while self.connection.poll():
                    said.append(self.connection.recv())
            except (EOFError, OSError):
                self._has_hung_up = True
        return said

    def close(self) -> str:
        """End the process: by closing the pipe, and by force when it does not answer. Returns how it ended.

        May take PATIENCE_S.
        """
        self.connection.close()
        self._process.join(PATIENCE_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        ending = _ending(self._process.exitcode)
        self._process.close()
        return ending


def _ending(code: int | None) -> str:
    """How a process ended, in words."""
    if code is None or code >= 0:
        return f"it ended with code {code}"
    try:
        return f"the system ended it: {signal.Signals(-code).name}"
    except ValueError:
        return f"the system ended it: signal {-code}"
