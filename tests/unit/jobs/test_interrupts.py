"""Ctrl+C while workers start: answered at once after, heard by no worker, never in tracebacks."""

from __future__ import annotations

import multiprocessing
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor

import pytest

from lagline.jobs.interrupts import held_back

pytestmark = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows knows neither SIGINT to send nor masks"
)


def blocked() -> bool:
    """Asked in a worker."""
    return signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, ())


@pytest.fixture(autouse=True)
def own_answer() -> Iterator[None]:
    """Tests may be started in the background, where interrupts are ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def test_an_interrupt_is_answered_at_the_end_of_the_block() -> None:
    reached = False
    with pytest.raises(KeyboardInterrupt), held_back():
        signal.raise_signal(signal.SIGINT)
        reached = True
    assert reached


def test_one_that_another_thread_takes_is_put_off_too() -> None:
    begun = threading.Event()

    def take_it() -> None:  # started before the block: it has no mask
        begun.wait()
        signal.raise_signal(signal.SIGINT)

    other = threading.Thread(target=take_it)
    other.start()
    reached = False
    with pytest.raises(KeyboardInterrupt), held_back():
        begun.set()
        other.join()
        reached = True
    assert reached


def test_an_error_in_the_block_is_not_hidden_and_all_is_as_before() -> None:
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(ZeroDivisionError), held_back():
        raise ZeroDivisionError
    assert signal.getsignal(signal.SIGINT) is before
    assert not blocked()


def test_where_interrupts_are_ignored_they_stay_so() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with held_back():
        signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN


def test_other_threads_are_left_alone() -> None:
    heard = []

    def work() -> None:
        with held_back():
            heard.append(signal.getsignal(signal.SIGINT))

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert heard == [signal.getsignal(signal.SIGINT)]


def test_a_process_started_in_the_block_never_hears_it() -> None:
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        with held_back():
            answer = pool.submit(blocked)
        assert answer.result(timeout=60)
