"""Kills a desk at random moments of 200 edits, and looks at what the next start would recover.

    python tests/robustness/crash_recovery.py [--kills 20] [--seed 1]

A fifth of the desks edit a take that was never saved. Prints a Markdown table; exit code 1 when more than the
last 5 s of edits were lost anywhere, or a session file was damaged.
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

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
MOST_LOST_S = 5.0


class Kill:
    """One desk, killed: what was done, what is there, and how many seconds of edits are gone."""

    def __init__(self, done: int, recovered: int, lost_s: float, was_over: bool) -> None:
        self.done, self.recovered, self.lost_s, self.was_over = done, recovered, lost_s, was_over


def kill_once(
    folder: Path, rng: random.Random, *, never_saved: bool, steps: int = 200, pause_ms: int = 50
) -> Kill:
    """Start a desk in `folder`, let it edit, kill it, and read back as the desk does at its start."""
    from tests.support.takes import noise_take

    from lagline.session.storage import load, save

    session, file, log = noise_take(folder / "take"), folder / "take.lagline", folder / "log"
    save(session, file)
    own = {"LAGLINE_STATE_DIR": str(folder / "state"), "LAGLINE_CACHE_DIR": str(folder / "cache")}
    words = [sys.executable, str(ROOT / "tests/robustness/edit_script.py"), str(file), str(log)]
    words += ["--steps", str(steps), "--pause-ms", str(pause_ms), *(["--never-saved"] if never_saved else [])]
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
    assert load(file) == session, "the session file itself was touched"
    lines = [line.split() for line in log.read_text().splitlines()]
    times = {int(words[0]): float(words[1]) for words in lines if len(words) == 2}
    done = max(times)
    recovered = _recovered(folder, file, never_saved)
    # Lost are the edits after the one recovered; the oldest of them was made so long before the end.
    lost_s = 0.0 if recovered >= done else killed - times[recovered + 1]
    return Kill(done, recovered, lost_s, ["end"] in lines)


def _recovered(folder: Path, file: Path, never_saved: bool) -> int:
    from lagline.session.autosave import left_behind, unsaved_left_behind
    from lagline.session.storage import load

    if never_saved:
        os.environ["LAGLINE_STATE_DIR"] = str(folder / "state")
        session = next((load(path) for path in unsaved_left_behind()), None)
    else:
        session = left_behind(file)
    return int(session.notes) if session is not None and session.notes else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng = random.Random(asked.seed)
    kills = []
    for number in range(asked.kills):
        with tempfile.TemporaryDirectory(prefix="lagline-crash-") as name:
            kills.append(kill_once(Path(name), rng, never_saved=number % 5 == 4))
    lost = sorted(kill.lost_s for kill in kills)
    print("| desks killed | edits done before | most edits lost | most seconds lost | median s | allowed s |")
    print("|---|---|---|---|---|---|")
    most = max(kill.done - kill.recovered for kill in kills)
    edits = f"{min(kill.done for kill in kills)} to {max(kill.done for kill in kills)}"
    middle = lost[len(lost) // 2]
    print(f"| {len(kills)} | {edits} | {most} | {lost[-1]:.2f} | {middle:.2f} | {MOST_LOST_S:.0f} |")
    return 1 if lost[-1] > MOST_LOST_S else 0


if __name__ == "__main__":
    sys.exit(main())
