"""An archive on a cluster of four workers, one killed on the way: the same summary as on one machine."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.support.day_takes import write_day
from tests.support.processes import started, wait_for

from lagline.cli.run import run

pytest.importorskip("distributed", reason="needs the extra lagline[cluster]")
pytestmark = pytest.mark.slow
ROOT = Path(__file__).parents[2]
TAKES = 24


class NoDesk:
    def open(self, paths: object) -> int:
        raise AssertionError("no window was asked for")


def part(*words: str) -> subprocess.Popen[bytes]:
    """A scheduler or a worker, as its command line starts it."""
    return subprocess.Popen(
        [sys.executable, "-m", "distributed.cli." + words[0], *words[1:]],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "app"), str(ROOT)])},
    )


@pytest.fixture
def scheduler(tmp_path: Path) -> Iterator[Path]:
    """The file in which a scheduler says where it is, once it does."""
    file = tmp_path / "scheduler.json"
    one = part(
        "dask_scheduler",
        "--host",
        "127.0.0.1",
        "--port",
        "0",
        "--no-dashboard",
        "--scheduler-file",
        str(file),
    )
    wait_for(lambda: file.exists() and file.stat().st_size > 0)
    yield file
    one.kill()
    one.wait()


@pytest.fixture
def workers(scheduler: Path, tmp_path: Path) -> Iterator[list[subprocess.Popen[bytes]]]:
    words = ["--scheduler-file", str(scheduler), "--nthreads", "1", "--no-nanny", "--no-dashboard"]
    words += ["--host", "127.0.0.1", "--local-directory", str(tmp_path / "scratch")]
    four = [part("dask_worker", *words) for _ in range(4)]
    yield four
    for one in four:
        one.kill()
        one.wait()


def address(scheduler: Path) -> str:
    import json

    found = json.loads(scheduler.read_text())["address"]
    assert isinstance(found, str)
    return found


def test_a_lost_workers_takes_are_done_again(
    tmp_path: Path, scheduler: Path, workers: list[subprocess.Popen[bytes]]
) -> None:
    archive, here, there = write_day(tmp_path / "archive", TAKES), tmp_path / "here", tmp_path / "there"
    batch = started("batch", archive, "--out", there, "--cluster", address(scheduler))
    journal = there / "journal.jsonl"
    wait_for(lambda: journal.exists() and journal.read_bytes().count(b"\n") > 4, batch)
    workers[0].kill()
    assert journal.read_bytes().count(b"\n") < TAKES
    out, err = batch.communicate(timeout=300)
    assert (batch.returncode, err) == (0, ""), out
    assert run(["batch", str(archive), "--out", str(here)], NoDesk()) == 0
    assert (there / "summary.csv").read_bytes() == (here / "summary.csv").read_bytes()
    assert len([*there.glob("*/*.lagline")]) == TAKES


def test_a_cluster_that_is_not_there_is_told_with_the_next_step(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lagline.jobs.cluster.ANSWER_S", 1.0)
    archive = write_day(tmp_path / "archive", 1)
    words = ["batch", str(archive), "--out", str(tmp_path / "out"), "--cluster", "tcp://127.0.0.1:9"]
    assert run(words, NoDesk()) == 1
    said = capsys.readouterr().err
    assert "tcp://127.0.0.1:9" in said and "dask scheduler" in said and "Traceback" not in said


def test_without_the_library_the_way_to_it_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    archive = write_day(tmp_path / "archive", 1)
    assert run(["batch", str(archive), "--out", str(tmp_path / "out"), "--cluster", "x:1"], NoDesk()) == 1
    assert "lagline[cluster]" in capsys.readouterr().err
