"""Does a built bundle work? Runs it as a user would, without this checkout or any Python.

    python tests/packaging/bundle_smoke.py FOLDER/lagline [--display 77]

1. `--version` and `doctor`: nothing missing, PortAudio and libsndfile found, processes of its own start
   (playback and measuring run in such processes).
2. `demo --out`: the main job; the aligned files, blends, sheet, report and pictures must be there.
3. The window under a virtual screen (xvfb-run): it must be mapped with its title, and stay.
   In it the analysis and the playback process must have been started and be alive.

Prints the size. Ends with 1 and a sentence when something is wrong. The third part is Linux only.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PATIENCE_S = 120.0


def demand(holds: object, sentence: str) -> None:
    if not holds:
        raise SystemExit(f"bundle_smoke.py: {sentence}")
    print(f"ok    {sentence}", flush=True)


def environment(home: Path) -> dict[str, str]:
    """Nothing of the caller's Python, Qt or Lagline reaches the bundle."""
    kept = {
        name: os.environ[name] for name in ("PATH", "SYSTEMROOT", "TEMP", "TMP", "LANG") if name in os.environ
    }
    return kept | {"HOME": str(home), "USERPROFILE": str(home), "LAGLINE_CACHE_DIR": str(home / "cache")}


def run(program: Path, *arguments: str, home: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(program), *arguments],
        env=environment(home), cwd=home, capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip


def check_doctor(program: Path, home: Path) -> None:
    done = run(program, "--version", home=home)
    demand(
        done.returncode == 0 and done.stdout.startswith("lagline "), f"--version says {done.stdout.strip()!r}"
    )
    done = run(program, "doctor", "--json", home=home)
    checks = {check["name"]: check for check in json.loads(done.stdout)["checks"]}
    for name in ("PortAudio", "libsndfile", "own processes", "demo takes"):
        demand(checks[name]["verdict"] == "good", f"{name}: {checks[name]['found']}")
    demand(done.returncode == 0, "doctor finds nothing missing")


def check_demo(program: Path, home: Path) -> None:
    start = time.perf_counter()
    done = run(program, "demo", "--out", "results", home=home)
    demand(done.returncode == 0, f"demo --out took {time.perf_counter() - start:.1f} s {done.stderr[-500:]}")
    written = [path.name for path in (home / "results").rglob("*")]
    for ending, count in ((".wav", 6), (".csv", 1), (".html", 1), (".lagline", 1), (".png", 2)):
        found = sum(name.endswith(ending) for name in written)
        demand(found >= count, f"demo wrote {found} {ending} files")


def descendants(pid: int) -> dict[int, str]:
    """Process ids and command lines of all that came from a process, itself left out (Linux)."""
    parents, words = {}, {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            parents[int(folder.name)] = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
            words[int(folder.name)] = (folder / "cmdline").read_bytes().replace(b"\0", b" ").decode()
        except OSError:  # ended meanwhile
            continue
    found, new = set(), {pid}
    while new:
        found |= new
        new = {child for child, parent in parents.items() if parent in new} - found
    return {child: words.get(child, "") for child in found - {pid}}


def check_window(program: Path, home: Path, display: int) -> None:
    if not sys.platform.startswith("linux") or shutil.which("xvfb-run") is None:
        print("skip  no virtual screen here: open the window by hand")
        return
    wanted = environment(home) | {"QT_QPA_PLATFORM": "xcb"}
    with subprocess.Popen(
        ["xvfb-run", "-n", str(display), "-s", "-screen 0 1280x800x24", str(program), "demo"],
        env=wanted, cwd=home, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        start_new_session=True,
    ) as screen:  # fmt: skip
        try:
            end, workers = time.monotonic() + PATIENCE_S, 0
            while time.monotonic() < end and screen.poll() is None:
                time.sleep(0.5)
                spawned = [
                    word for word in descendants(screen.pid).values() if "--multiprocessing-fork" in word
                ]
                workers = len(spawned)
                if workers >= 2 and len([*(home / "cache").glob("*")]) >= 1:
                    break
            demand(screen.poll() is None, "the window's program is still there")
            demand(workers >= 2, f"{workers} processes of the desk's own run (measuring, levels)")
            time.sleep(5.0)
            demand(screen.poll() is None, "and is still there five seconds later")
            picture(display, home)
        finally:
            os.killpg(screen.pid, signal.SIGTERM)
            print("said  " + (screen.stdout.read().strip() or "nothing") if screen.stdout else "")


def picture(display: int, home: Path) -> None:
    """Look at the screen, where a tool for that is installed: it must not be empty."""
    tool = shutil.which("import")
    if tool is None:
        print("skip  no picture of the screen: ImageMagick is not installed")
        return
    shot = home / "window.png"
    subprocess.run([tool, "-display", f":{display}", "-window", "root", str(shot)], check=True, timeout=30)
    demand(shot.stat().st_size > 20_000, f"the screen shows something: {shot.stat().st_size} bytes of PNG")


def main() -> None:
    parser = argparse.ArgumentParser(description="Try a built Lagline bundle.")
    parser.add_argument("bundle", type=Path)
    parser.add_argument("--display", type=int, default=77)
    given = parser.parse_args()
    program = given.bundle.resolve() / ("lagline.exe" if sys.platform == "win32" else "lagline")
    demand(program.is_file(), f"{program.name} is in {given.bundle}")
    size = sum(
        path.stat().st_size for path in program.parent.rglob("*") if path.is_file() and not path.is_symlink()
    )
    print(f"size  {size / 1e6:.0f} MB")
    with tempfile.TemporaryDirectory() as scratch:
        home = Path(scratch)
        check_doctor(program, home)
        check_demo(program, home)
        check_window(program, home, given.display)
    print("The bundle works.")


if __name__ == "__main__":
    main()
