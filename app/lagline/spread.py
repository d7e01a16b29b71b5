"""Work on several things at once, in threads, with one progress and one way to stop."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from typing import TypeVar

from lagline.errors import Cancelled

Item = TypeVar("Item")
Result = TypeVar("Result")
Progress = Callable[[float], None]
Stopped = Callable[[], bool]


def unwatched(_: float) -> None:
    """Progress that nobody looks at."""


def unstoppable() -> bool:
    """The `cancelled` of work that can't be stopped."""
    return False


def spread(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    threads: int,
    progress: Progress = unwatched,
    cancelled: Stopped = unstoppable,
) -> list[Result]:
    """What `work` makes of each item, in the order of the items.

    progress : called with 0..1 after each item, from any thread, one at a time, never with less than before.
    cancelled : asked before each item.

    Raises
    ------
    Cancelled
    Whatever `work` raised first. What is under way then ends by itself; nothing more is begun.
    """

    def whole(item: Item, part: Progress, stopped: Stopped) -> Result:
        result = work(item)
        part(1.0)
        return result

    return spread_in_parts(whole, items, threads=threads, progress=progress, cancelled=cancelled)


def spread_in_parts(
    work: Callable[[Item, Progress, Stopped], Result],
    items: Sequence[Item],
    *,
    threads: int,
    progress: Progress = unwatched,
    cancelled: Stopped = unstoppable,
) -> list[Result]:
    """`spread` for long work, which is handed two functions with each item.

    `part(fraction)` tells how much of the item is done; every item counts for as much as another.
    `stopped()` becomes true when all is to end: cancelled, or another item has failed. `work` then raises
    Cancelled, which is taken for the end of that item, not for the reason.
    """
    done = [0.0] * len(items)
    lock = threading.Lock()
    failed = threading.Event()

    def stopped() -> bool:
        return failed.is_set() or cancelled()

    def one(number: int) -> Result:
        def part(fraction: float) -> None:
            with lock:
                done[number] = fraction
                progress(sum(done) / len(items))

        try:
            if stopped():
                raise Cancelled
            return work(items[number], part, stopped)
        except BaseException:
            failed.set()
            raise

    with ThreadPoolExecutor(threads, thread_name_prefix="spread") as pool:
        try:
            made = [pool.submit(one, number) for number in range(len(items))]
            wait(made)
        except BaseException:  # Ctrl+C: nobody may go on behind the back of whoever clears up
            failed.set()
            raise
    errors = [error for future in made if (error := future.exception()) is not None]
    if errors:
        raise next((error for error in errors if not isinstance(error, Cancelled)), errors[0])
    return [future.result() for future in made]
