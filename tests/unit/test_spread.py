"""Work spread over threads: order, progress, stopping, and which error is told."""

from __future__ import annotations

import threading

import pytest

from lagline.errors import Cancelled
from lagline.spread import spread, spread_in_parts


def test_results_come_in_the_order_of_the_items_whoever_ends_first() -> None:
    second = threading.Event()

    def work(number: int) -> int:
        if number == 0:
            assert second.wait(20)  # so it really runs beside the other
        else:
            second.set()
        return 10 * number

    assert spread(work, [0, 1, 2, 3], threads=2) == [0, 10, 20, 30]


def test_nothing_to_do_is_done_at_once() -> None:
    assert spread(lambda item: item, [], threads=2) == []


def test_progress_never_goes_back_and_ends_at_one() -> None:
    told: list[float] = []
    spread(lambda item: item, range(50), threads=4, progress=told.append)
    assert told == [pytest.approx(number / 50) for number in range(1, 51)]


def test_parts_of_items_add_up() -> None:
    told: list[float] = []

    def work(item: str, part, stopped) -> str:
        part(0.5)
        part(1.0)
        return item.upper()

    assert spread_in_parts(work, ["a", "b"], threads=1, progress=told.append) == ["A", "B"]
    assert told == [0.25, 0.5, 0.75, 1.0]


def test_cancelling_begins_nothing_more() -> None:
    begun: list[int] = []
    with pytest.raises(Cancelled):
        spread(begun.append, range(20), threads=1, cancelled=lambda: len(begun) == 3)
    assert begun == [0, 1, 2]


def test_the_first_failure_is_told_and_stops_the_others() -> None:
    runs = threading.Event()

    def work(item: str, part, stopped) -> None:
        if item == "bad":
            assert runs.wait(20)
            raise ValueError("no such lane")
        runs.set()
        while not stopped():
            threading.Event().wait(0.001)
        raise Cancelled  # as work that is told to end does: not the reason

    with pytest.raises(ValueError, match="no such lane"):
        spread_in_parts(work, ["long", "bad", "never begun"], threads=2)


def test_an_error_begins_nothing_more() -> None:
    begun: list[int] = []

    def work(number: int) -> None:
        begun.append(number)
        if number == 1:
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        spread(work, range(20), threads=1)
    assert begun == [0, 1]
