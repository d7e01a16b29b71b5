"""Many takes: one bad one never stops the rest, and a stopped batch goes on where it was."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.support.batch_work import by_name, slowly

from lagline.errors import JournalMismatch
from lagline.jobs.batch import BatchOptions, run_batch
from lagline.jobs.find_takes import FoundTake
from lagline.jobs.journal import TakeResult
from lagline.session.setup import Setup, SetupLane
from lagline.session.values import Move


def run(names: list[str], results: Path, workers: int = 2) -> dict[str, TakeResult]:
    told: list[float] = []
    takes = [FoundTake(name, ()) for name in names]
    done = run_batch(takes, results, BatchOptions(), workers=workers, progress=told.append, work=by_name)
    assert told == sorted(told) and told[-1:] in ([1.0], [])
    return {result.take: result for result in done}


def test_every_take_is_done_once_and_in_order_whatever_the_workers(tmp_path: Path) -> None:
    names = [f"take {n:02}" for n in range(12)]
    one, two = run(names, tmp_path / "one", 1), run(names[::-1], tmp_path / "two", 2)
    assert one == two and list(one) == names == list(two)
    assert all((tmp_path / "one" / f"{name}.done").read_text() == "once\n" for name in names)


def test_a_take_that_fails_or_ends_its_process_leaves_the_others_alone(tmp_path: Path) -> None:
    names = ["a", "bad one", "c", "deadly", "e", "f", "g"]
    done = run(names, tmp_path)
    assert {name for name, result in done.items() if result.state == "failed"} == {"bad one", "deadly"}
    assert "ended the worker" in done["deadly"].error
    assert list(done) == names


def test_a_stopped_batch_goes_on_where_it_was(tmp_path: Path) -> None:
    takes = [FoundTake(f"take {n}", ()) for n in range(6)]
    seen: list[float] = []
    first = run_batch(
        takes,
        tmp_path,
        BatchOptions(),
        workers=1,
        progress=seen.append,
        cancelled=lambda: len(seen) >= 2,
        work=slowly,
    )
    assert 2 <= len(first) < 6
    done = run([take.name for take in takes], tmp_path)
    assert len(done) == 6
    for result in first:
        assert (tmp_path / f"{result.take}.done").read_text() == "once\n"


def test_another_request_in_the_same_folder_is_refused(tmp_path: Path) -> None:
    run(["a"], tmp_path)
    with pytest.raises(JournalMismatch) as told:
        run_batch([], tmp_path, BatchOptions(rounding="all"), workers=1, progress=print, work=by_name)
    said = "(the batch begun there: without; asked for now: shifts in whole samples)"
    assert said in str(told.value) and "None" not in str(told.value)


def test_setups_of_one_name_are_told_apart(tmp_path: Path) -> None:
    one, other = (Setup("pair", 48_000, (SetupLane("near", Move(shift)),)) for shift in (1.0, 2.0))
    assert BatchOptions(setup=one).said() == BatchOptions(setup=one).said()
    assert BatchOptions(setup=one).said() != BatchOptions(setup=other).said()


def test_a_take_that_failed_is_tried_again(tmp_path: Path) -> None:
    assert run(["a", "bad one"], tmp_path)["bad one"].state == "failed"
    assert run(["a", "bad one"], tmp_path)["bad one"].state == "failed"
    assert (tmp_path / "bad one.done").read_text() == "once\nonce\n"
    assert (tmp_path / "a.done").read_text() == "once\n"
