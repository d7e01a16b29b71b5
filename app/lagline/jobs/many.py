"""The same work on many things, in processes: a worker that dies takes only its own thing with it."""

from __future__ import annotations

import multiprocessing
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing.connection import Connection
from typing import TypeVar

from lagline.errors import Cancelled
from lagline.jobs import interrupts

LISTEN_S = 0.2  # how soon a cancel is heard

Item = TypeVar("Item")
Result = TypeVar("Result")

_told: Connection | None = None  # in a worker: its end closes when the work is to stop


def stop_asked() -> bool:
    """In a worker: whether the work is to stop. For work that can: it then raises Cancelled."""
    try:
        return _told is not None and _told.poll()
    except (BrokenPipeError, EOFError):  # how Windows says that the other end is closed
        return True


def worked(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    died: Callable[[Item], Result],
    *,
    workers: int,
    cancelled: Callable[[], bool],
) -> Iterator[Result]:
    """What `work` makes of each item, as they are finished. Function, items, results go between processes.

    When a process dies the pool can't say whose work killed it: the items it held are then done one by one,
    each in a process of its own; of the one that dies again `died` tells the result. After `cancelled`
    nothing more is begun; what is under way ends by itself, or at once where it asks `stop_asked`, and counts
    when it is whole.
    """
    waiting = deque(items)
    while waiting and not cancelled():
        held: dict[Future[Result], Item] = {}
        try:
            with _staff(workers) as (pool, stop):
                while (waiting or held) and not cancelled():
                    while waiting and len(held) < 2 * workers:
                        item = waiting.popleft()
                        held[_submitted(pool, work, item)] = item
                    for future in wait(held, timeout=LISTEN_S, return_when=FIRST_COMPLETED).done:
                        result = future.result()
                        del held[future]
                        yield result
                stop()
                pool.shutdown(cancel_futures=True)
                yield from _whole(held)
        except BrokenProcessPool:
            for item in held.values():
                if not cancelled():
                    yield _alone(work, item, died)


def _whole(held: dict[Future[Result], Item]) -> Iterator[Result]:
    """What was finished all the same after a cancel."""
    for future in held:
        if not future.cancelled() and future.exception() is None:
            yield future.result()
        elif not future.cancelled() and not isinstance(future.exception(), Cancelled | BrokenProcessPool):
            future.result()


def _submitted(pool: Executor, work: Callable[[Item], Result], item: Item) -> Future[Result]:
    try:
        with interrupts.held_back():  # it may start a process
            return pool.submit(work, item)
    except BrokenProcessPool as error:  # it died since we last looked: let it show as this item's result
        broken: Future[Result] = Future()
        broken.set_exception(error)
        return broken


def _alone(work: Callable[[Item], Result], item: Item, died: Callable[[Item], Result]) -> Result:
    with _staff(1) as (pool, _):
        try:
            return _submitted(pool, work, item).result()
        except BrokenProcessPool:
            return died(item)


@contextmanager
def _staff(workers: int) -> Iterator[tuple[Executor, Callable[[], None]]]:
    """The processes, and a function that asks them to stop. An interrupt or an error waits for the work under
    way, not for what is still queued."""
    interrupts.start_the_tracker()
    told, teller = multiprocessing.Pipe(duplex=False)
    with told, teller, _pool(workers, told) as pool:
        try:
            yield pool, teller.close
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _pool(workers: int, told: Connection) -> Executor:
    spawn = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(workers, mp_context=spawn, initializer=_begin, initargs=(told,))


def _begin(told: Connection) -> None:
    global _told  # the one thing a worker remembers from its beginning
    _told = told
    interrupts.follow_the_parent()
