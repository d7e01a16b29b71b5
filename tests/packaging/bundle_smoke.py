"""Does a built bundle work? Runs it as a user would, without this checkout or any Python.

    python tests/packaging/bundle_smoke.py FOLDER/lagline [--display 77]

1. `--version` and `machine`: nothing missing, PortAudio and libsndfile found, processes of its own start
   (playback and measuring run in such processes).
2. `demo --out`: the main job; the aligned files, blends, sheet, report and pictures must be there.
3. The window under a virtual screen (xvfb-run), at the first start and with the demo: it must stay, be
   visible where a picture can be taken, and have started its processes for playback and measuring.

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


def check_machine(program: Path, home: Path) -> None:
    done = run(program, "--version", home=home)
    demand(
        done.returncode == 0 and done.stdout.startswith("lagline "), f"--version says {done.stdout.strip()!r}"
    )
    done = run(program, "machine", "--json", home=home)
    checks = {check["name"]: check for check in json.loads(done.stdout)["checks"]}
    for name in ("PortAudio", "libsndfile", "own processes", "demo takes"):
        demand(checks[name]["verdict"] == "good", f"{name}: {checks[name]['found']}")
    demand(done.returncode == 0, "machine finds nothing missing")


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


def check_window(program: Path, home: Path, display: int, pictures: Path) -> None:
    if not sys.platform.startswith("linux") or shutil.which("xvfb-run") is None:
        print("skip  no virtual screen here: open the window by hand")
        return
    # The welcome asks the playback process for the outputs; the demo is measured and its loudness found.
    for arguments, least, what in (([], 1, "first start"), (["demo"], 2, "demo")):
        key = home / "xauthority"
        screen = subprocess.Popen(
            ["xvfb-run", "-n", str(display), "-f", str(key), "-s", "-screen 0 1280x800x24",
             str(program), *arguments],
            env=environment(home) | {"QT_QPA_PLATFORM": "xcb"}, cwd=home, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip
        try:
            end, workers = time.monotonic() + PATIENCE_S, 0
            while time.monotonic() < end and screen.poll() is None and workers < least:
                time.sleep(0.5)
                commands = descendants(screen.pid).values()
                workers = sum("--multiprocessing-fork" in command for command in commands)
            demand(workers >= least, f"{what}: {workers} processes of the desk's own were started")
            time.sleep(8.0)
            demand(screen.poll() is None, f"{what}: the window is still there eight seconds later")
            look(display, key, pictures / f"{what}.png")
        finally:
            os.killpg(screen.pid, signal.SIGTERM)
            screen.wait()


def look(display: int, key: Path, shot: Path) -> None:
    """Take a picture of the screen, where a tool for that is installed: it must not be empty."""
    tool = shutil.which("import")
    if tool is None:
        print("skip  no picture of the screen: ImageMagick is not installed")
        return
    subprocess.run(
        [tool, "-display", f":{display}", "-window", "root", str(shot)],
        env=os.environ | {"XAUTHORITY": str(key)}, check=True, timeout=30,
    )  # fmt: skip
    demand(shot.stat().st_size > 10_000, f"the screen shows something: {shot.stat().st_size} bytes of PNG")


def main() -> None:
    parser = argparse.ArgumentParser(description="Try a built Lagline bundle.")
    parser.add_argument("bundle", type=Path)
    parser.add_argument("--display", type=int, default=77)
    parser.add_argument("--pictures", type=Path, help="Keep pictures of the windows in this folder.")
    given = parser.parse_args()
    program = given.bundle.resolve() / ("lagline.exe" if sys.platform == "win32" else "lagline")
    demand(program.is_file(), f"{program.name} is in {given.bundle}")
    size = sum(
        path.stat().st_size for path in program.parent.rglob("*") if path.is_file() and not path.is_symlink()
    )
    print(f"size  {size / 1e6:.0f} MB")
    with tempfile.TemporaryDirectory() as scratch:
        home = Path(scratch)
        check_machine(program, home)
        check_demo(program, home)
        pictures = given.pictures or home
        pictures.mkdir(parents=True, exist_ok=True)
        check_window(program, home, given.display, pictures)
    print("The bundle works.")


if __name__ == "__main__":
    main()
