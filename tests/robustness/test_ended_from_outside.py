"""Processes ended by a closing terminal, by the system, by force: what they leave, and whom."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.processes import children_of, command_line, is_running, started, wait_for
from tests.support.takes import noise_take

from lagline.session.storage import save
from lagline.session.values import Move, Version

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks into /proc")

ENOUGH_FRAMES = 3_000_000  # a minute: it is still being written when the signal comes


@pytest.fixture
def session_file(tmp_path: Path) -> Path:
    version = Version("v1", "Shifted", {"near": Move(10.3), "far": Move(0.4, -1)})
    session = replace(noise_take(tmp_path / "take", frames=ENOUGH_FRAMES), versions=(version,))
    save(session, tmp_path / "take.lagline")
    return tmp_path / "take.lagline"


def is_writing(folder: Path) -> bool:
    return any(path.stat().st_size > 100_000 for path in folder.rglob("*.part"))


@pytest.mark.parametrize(
    ("which", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)]
)
def test_a_render_that_is_told_to_stop_leaves_nothing(
    session_file: Path, tmp_path: Path, which: signal.Signals, code: int
) -> None:
    out = tmp_path / "out"
    process = started("render", session_file, "-o", out)
    wait_for(lambda: out.exists() and is_writing(out), process)
    process.send_signal(which)
    _, said = process.communicate(timeout=60)
    assert process.returncode == code
    assert said == "lagline: stopped; nothing half-written was left.\n"
    assert not out.exists()


def test_a_second_signal_does_not_disturb_the_clearing_up(session_file: Path, tmp_path: Path) -> None:
    """A closing session sends both, one upon the other."""
    out = tmp_path / "out"
    process = started("render", session_file, "-o", out)
    wait_for(lambda: out.exists() and is_writing(out), process)
    for which in (signal.SIGHUP, signal.SIGTERM, signal.SIGHUP, signal.SIGTERM):
        process.send_signal(which)
        time.sleep(0.005)
    process.communicate(timeout=60)
    assert process.returncode == 129 and not out.exists()


def test_a_render_started_with_nohup_goes_on(session_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        process = started("render", session_file, "-o", out)
    finally:
        signal.signal(signal.SIGHUP, before)
    wait_for(lambda: out.exists() and is_writing(out), process)
    process.send_signal(signal.SIGHUP)
    process.communicate(timeout=120)
    assert process.returncode == 0 and (out / "delivery.json").exists()


def hidden_in(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.name.startswith(".")]


def test_what_a_killed_render_left_goes_to_nobody(session_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    process = started("render", session_file, "-o", out)
    wait_for(lambda: out.exists() and is_writing(out), process)
    process.kill()
    process.communicate()
    assert hidden_in(out), "nothing was left: it was killed too early or too late"
    again = started("render", session_file, "-o", out)
    again.communicate(timeout=120)
    assert again.returncode == 0 and (out / "delivery.json").exists()
    assert hidden_in(out) == []


def test_what_another_render_is_writing_is_left_to_it(session_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    first = started("render", session_file, "-o", out, "--names", "{take} {lane} one")
    wait_for(lambda: out.exists() and is_writing(out), first)
    os.kill(first.pid, signal.SIGSTOP)
    wait_for(lambda: Path(f"/proc/{first.pid}/stat").read_text().rpartition(")")[2].split()[0] == "T", first)
    before = hidden_in(out)
    second = started("render", session_file, "-o", out / "aligned", "--names", "{take} {lane} two")
    second.communicate(timeout=120)
    assert second.returncode == 0
    assert hidden_in(out) == before
    os.kill(first.pid, signal.SIGCONT)
    first.communicate(timeout=120)
    assert first.returncode == 0 and hidden_in(out) == []


def test_workers_end_with_a_batch_that_is_killed(tmp_path: Path) -> None:
    for number in range(6):
        noise_take(tmp_path / "takes" / f"take {number}", frames=1_000_000)
    process = started("batch", tmp_path / "takes", "--workers", 2, "--out", tmp_path / "out")

    def workers() -> list[int]:
        return [pid for pid in children_of(process.pid) if "spawn_main" in command_line(pid)]

    wait_for(lambda: len(workers()) == 2, process)
    wait_for(lambda: (tmp_path / "out").exists() and any((tmp_path / "out").glob("take*")), process)
    alive = children_of(process.pid)
    os.kill(process.pid, signal.SIGKILL)
    process.communicate(timeout=60)  # whose end also waits for those who hold its pipes
    until = time.monotonic() + 2.0
    while time.monotonic() < until and any(map(is_running, alive)):
        time.sleep(0.02)
    assert [pid for pid in alive if is_running(pid)] == []
