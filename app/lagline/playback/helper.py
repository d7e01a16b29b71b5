"""A process of ours at the other end of a pipe."""

from __future__ import annotations

import contextlib
import errno
import logging
import multiprocessing
import signal
import threading
import traceback
from collections.abc import Callable, Iterator
from multiprocessing.context import SpawnContext
from queue import SimpleQueue
from typing import Any

from lagline.playback.protocol import Failed

PATIENCE_S = 2.0
_LAST = object()

_log = logging.getLogger(__name__)


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

    Nothing here waits for the process but `close`. What is sent goes through a thread: a process that is
    held up, by a device that takes seconds to open, lets the pipe fill, and then sending waits.

    Raises OSError when the system has no process, thread or pipe to give (EAGAIN, EMFILE, ENOMEM).
    """

    def __init__(
        self, context: SpawnContext, name: str, target: Callable[..., None], *arguments: object
    ) -> None:
        self.connection, theirs = context.Pipe()
        self._has_hung_up = False
        self._unsaid = ""  # why it could not be told something
        self._process = context.Process(target=target, args=(theirs, *arguments), name=name, daemon=True)
        try:
            self._process.start()
        except BaseException:
            self.connection.close()
            raise
        finally:
            theirs.close()
        self._letters: SimpleQueue[object] = SimpleQueue()
        self._postman = threading.Thread(target=self._post, name=f"to {name}", daemon=True)
        try:
            self._postman.start()
        except RuntimeError as error:  # Python's word for EAGAIN where a thread is concerned
            self._process.kill()
            self._process.join()
            self.connection.close()
            raise OSError(errno.EAGAIN, str(error)) from error

    @property
    def pid(self) -> int | None:
        """Process id; None before it has started."""
        return self._process.pid

    @property
    def sources(self) -> list[Any]:
        """For `multiprocessing.connection.wait`: ready when it has said something or has ended."""
        return [self.connection, self._process.sentinel]

    def is_alive(self) -> bool:
        """Whether it still listens and runs."""
        return not self._has_hung_up and self._process.is_alive()

    def send(self, value: object) -> None:
        """Say something. When nobody hears it any more that is no error: `sources` tell."""
        self._letters.put(value)

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
        self._letters.put(_LAST)
        self._process.join(PATIENCE_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self._postman.join()
        self.connection.close()
        ending = self._unsaid or _ending(self._process.exitcode)
        self._process.close()
        return ending

    def _post(self) -> None:
        """The thread: sends what is laid out, and hangs up after the last of it."""
        try:
            while (letter := self._letters.get()) is not _LAST:
                self.connection.send(letter)
            self.connection.close()  # which ends the process
        except OSError:  # nobody hears it any more
            self._has_hung_up = True
        except Exception as error:  # noqa: BLE001 (what cannot be pickled, for one; logged and told as the end)
            _log.exception("%s cannot be told something", self._process.name)
            self._unsaid = f"it could not be told something: {type(error).__name__}: {error}"
            self._has_hung_up = True
            self._process.kill()  # which whoever waits for `sources` notices


def _ending(code: int | None) -> str:
    """How a process ended, in words."""
    if code is None or code >= 0:
        return f"it ended with code {code}"
    try:
        return f"the system ended it: {signal.Signals(-code).name}"
    except ValueError:
        return f"the system ended it: signal {-code}"
