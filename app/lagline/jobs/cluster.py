"""The same work on many things, on a cluster of dask.distributed that is there already.

Recordings are read where the worker is, from a file system that all share; only what is asked and what was
found travels. What a worker held that is lost is done again by another; the scheduler sees to that.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

from lagline import __version__
from lagline.errors import ClusterUnusable

ANSWER_S = 10.0  # within which a scheduler answers and has a worker
LISTEN_S = 0.2
AHEAD = 2  # things a worker's thread is handed: so many that none waits, so few that a scheduler bears it

Item = TypeVar("Item")
Result = TypeVar("Result")


def worked_on_cluster(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    died: Callable[[Item], Result],
    *,
    address: str,
    cancelled: Callable[[], bool],
) -> Iterator[Result]:
    """As `many.worked`, by the workers of the scheduler at `address`. An item that ended several workers one
    after another is the bad one: `died` tells its result.

    Raises
    ------
    ClusterUnusable
        The library is not installed, nothing answers, there are no workers, or they run another Lagline.
    """
    distributed = _library()
    client = _client(distributed, address)
    held: dict[Any, Item] = {}
    try:
        waiting = deque(items)
        while (waiting or held) and not cancelled():
            threads = sum(client.nthreads().values())  # workers come and go
            while waiting and len(held) < max(1, AHEAD * threads):
                item = waiting.popleft()
                held[client.submit(work, item, pure=False)] = item
            for future in _finished(distributed, held):
                item = held.pop(future)
                try:
                    result = future.result()
                except distributed.KilledWorker:
                    result = died(item)
                future.release()
                yield result
    finally:
        client.cancel([*held], force=True)
        client.close()


def _finished(distributed: Any, held: dict[Any, Any]) -> list[Any]:
    try:
        return list(distributed.wait([*held], timeout=LISTEN_S, return_when="FIRST_COMPLETED").done)
    except TimeoutError:
        return []


def _library() -> Any:
    try:
        import distributed
    except ImportError as error:
        raise ClusterUnusable("", "the library for it is not installed", _INSTALL) from error
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what counts is said in our words
    return distributed


def _client(distributed: Any, address: str) -> Any:
    try:
        client = distributed.Client(address, timeout=ANSWER_S)
    except (OSError, TimeoutError, ValueError) as error:
        raise ClusterUnusable(address, "no scheduler answers there", _START) from error
    try:
        client.wait_for_workers(1, timeout=ANSWER_S)
        versions = client.run(_version)
    except TimeoutError as error:
        client.close()
        raise ClusterUnusable(address, "its scheduler has no workers", _START) from error
    except Exception as error:  # a worker without Lagline: whatever it says when it can't load it
        client.close()
        raise ClusterUnusable(address, "a worker there has no Lagline", _SAME) from error
    others = {worker: version for worker, version in versions.items() if version != __version__}
    if others:
        client.close()
        worker, version = next(iter(others.items()))
        said = f"the worker {worker} has Lagline {version}, here is {__version__}"
        raise ClusterUnusable(address, said, _SAME)
    return client


def _version() -> str:
    """Asked in a worker."""
    return __version__


_INSTALL = "Install Lagline with its extra: `pip install 'lagline[cluster]'`."
_START = "Start `dask scheduler` and `dask worker` first, and give the address that the scheduler prints."
_SAME = "Install the same Lagline for every worker."
