"""Kills a desk at random moments of 200 edits, and looks at what the next start would recover.

    python tests/robustness/crash_recovery.py [--kills 20] [--seed 1] [--steps 200]

A fifth of the desks edit a take that was never saved; of the others every second saves after every seventh
edit, which makes restore points. Prints a Markdown table; exit code 1 when more than the last 2 s of edits
were lost anywhere, a session file or a restore point was damaged, or undo does not go back.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lagline.session.values import Session

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
MOST_LOST_S = 2.0


class Kill:
    """One desk, killed: what was done, what is there, and how many seconds of edits are gone."""

    def __init__(self, done: int, recovered: int, lost_s: float, undo: int, points: int) -> None:
        self.done, self.recovered, self.lost_s, self.undo, self.points = done, recovered, lost_s, undo, points


def kill_once(
    folder: Path,
    rng: random.Random,
    *,
    never_saved: bool,
    save_every: int = 0,
    steps: int = 200,
    pause_ms: int = 50,
) -> Kill:
    """Start a desk in `folder`, let it edit, kill it, and read back as the desk does at its start."""
    from tests.support.takes import noise_take

    from lagline.session.storage import save

    session, file, log = noise_take(folder / "take"), folder / "take.lagline", folder / "log"
    if not never_saved:
        save(session, file)
    own = {"LAGLINE_STATE_DIR": str(folder / "state"), "LAGLINE_CACHE_DIR": str(folder / "cache")}
    words = [sys.executable, str(ROOT / "tests/robustness/edit_script.py"), str(file), str(log)]
    words += ["--steps", str(steps), "--pause-ms", str(pause_ms), "--save-every", str(save_every)]
    words += ["--never-saved"] * never_saved
    desk = subprocess.Popen(words, env={**os.environ, **own}, stderr=subprocess.DEVNULL)
    try:
        patience = time.monotonic() + 120
        while not (log.exists() and log.stat().st_size):
            if desk.poll() is not None or time.monotonic() > patience:
                raise SystemExit(f"the desk did not begin to edit (exit code {desk.poll()})")
            time.sleep(0.02)
        time.sleep(rng.uniform(0.0, steps * pause_ms / 1000 * 1.3))
    finally:
        desk.send_signal(signal.SIGKILL)
        killed = time.monotonic()
        desk.wait()
    lines = [line.split() for line in log.read_text().splitlines()]
    times = {int(words[0]): float(words[1]) for words in lines if len(words) == 2}
    done = max(times)
    recovered, undo, points = _recovered(folder, file, never_saved)
    # Lost are the edits after the one recovered; the oldest of them was made so long before the end.
    lost_s = 0.0 if recovered >= done else killed - times[recovered + 1]
    return Kill(done, recovered, lost_s, undo, points)


def _recovered(folder: Path, file: Path, never_saved: bool) -> tuple[int, int, int]:
    """The last edit that is there, how many of them undo goes back, and how many restore points are whole."""
    from lagline.jobs.read_session import read_session
    from lagline.session.autosave import unsaved_left_behind
    from lagline.session.restore_points import restore_points
    from lagline.session.storage import load

    os.environ["LAGLINE_STATE_DIR"] = str(folder / "state")
    if never_saved:
        left, saved = unsaved_left_behind(), 0
    else:
        read = read_session(file)
        left, saved = read.left, _step(read.session)
        assert read.damage is None, read.damage
    assert not left.unreadable, left.unreadable
    points = [load(point.path, folder=folder) for point in restore_points(file)]
    assert all(_step(point) <= max(saved, 1) for point in points)
    kept = left.kept[0] if left.kept else None
    if kept is None or _step(kept.session) < saved:
        return saved, 0, len(points)
    steps = [_step(state) for state in kept.history.states]
    assert steps == list(range(steps[0], steps[-1] + 1)), "undo does not go back step by step"
    return _step(kept.session), kept.history.at, len(points)


def _step(session: Session) -> int:
    return int(session.notes or 0)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--steps", type=int, default=200)
    asked = parser.parse_args()
    rng = random.Random(asked.seed)
    kills = []
    for number in range(asked.kills):
        never_saved = number % 5 == 4
        save_every = 0 if never_saved or number % 2 else 7
        with tempfile.TemporaryDirectory(prefix="lagline-crash-") as name:
            more = {"never_saved": never_saved, "save_every": save_every, "steps": asked.steps}
            kills.append(kill_once(Path(name), rng, **more))
    lost = sorted(kill.lost_s for kill in kills)
    print(
        "| desks killed | edits done before | most edits lost | most seconds lost | median s | allowed s "
        "| fewest, most steps to undo | restore points whole |"
    )
    print("|---" * 8 + "|")
    most = max(kill.done - kill.recovered for kill in kills)
    edits = f"{min(kill.done for kill in kills)} to {max(kill.done for kill in kills)}"
    middle = lost[len(lost) // 2]
    undo = f"{min(kill.undo for kill in kills)} to {max(kill.undo for kill in kills)}"
    points = sum(kill.points for kill in kills)
    print(
        f"| {len(kills)} | {edits} | {most} | {lost[-1]:.2f} | {middle:.2f} | {MOST_LOST_S:.0f} "
        f"| {undo} | {points} |"
    )
    return 1 if lost[-1] > MOST_LOST_S else 0


if __name__ == "__main__":
    sys.exit(main())
