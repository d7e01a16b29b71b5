"""Every system call that a delivery makes in its folder fails once: run it for the figures in the guide.

    .venv/bin/python tests/robustness/delivery_faults.py               every call, the kinds of errors in turn
    .venv/bin/python tests/robustness/delivery_faults.py --step 23     every 23rd, as the suite does
    .venv/bin/python tests/robustness/delivery_faults.py --every-kind  every call with every kind

A real delivery in a process of its own for each call, over a library (`tests/support/fault_shim.c`) between
it and the C library, so that what Python, libsndfile and the system do fails alike. After each the recordings
are as they were; there is either the whole delivery, its checksums right, or an error of ours and nothing of
it; the next delivery into the folder works and leaves nothing hidden. Linux with a C compiler.
"""

from __future__ import annotations

import argparse
import collections
import ctypes
import errno
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
SHORT = 0  # a write that is cut short
KINDS = (
    errno.ENOSPC,
    errno.EIO,
    errno.EACCES,
    errno.EROFS,
    errno.ESTALE,
    errno.ETIMEDOUT,
    errno.EINTR,
    SHORT,
)
DONE, REFUSED, FELL = 0, 3, 4
JOBS = ("WAV", "FLAC", "again")  # new, in either format; over an earlier delivery


def can_run() -> bool:
    return sys.platform.startswith("linux") and shutil.which("cc") is not None


def build(folder: Path) -> Path:
    library = folder / "fault_shim.so"
    source = ROOT / "tests" / "support" / "fault_shim.c"
    command = ["cc", "-shared", "-fPIC", "-O1", "-w", "-o", library, source, "-ldl"]
    subprocess.run(command, check=True)
    return library


def main() -> None:
    """Start again below the library: it must be there before the C library is."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--step", type=int, default=1, help="of the calls only every so-manieth")
    parser.add_argument("--every-kind", action="store_true")
    parser.add_argument("--jobs", nargs="+", default=JOBS, choices=JOBS)
    options = parser.parse_args()
    if "LAGLINE_FAULTS" in os.environ:
        sys.exit(run_all(options.step, options.jobs, options.every_kind))
    with tempfile.TemporaryDirectory() as folder:
        library = build(Path(folder))
        environment = {
            **os.environ,
            "LD_PRELOAD": str(library),
            "LAGLINE_FAULTS": str(library),
            "LAGLINE_CACHE_DIR": f"{folder}/cache",
            "PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "app"), os.environ.get("PYTHONPATH", "")]),
        }
        sys.exit(subprocess.run([sys.executable, *sys.argv], env=environment, check=False).returncode)


def run_all(step: int, jobs: list[str], every_kind: bool) -> int:
    """Prints a line a job and one for each thing that went wrong; 1 when anything did."""
    shim = ctypes.CDLL(os.environ["LAGLINE_FAULTS"])
    shim.fault_last.restype = ctypes.c_char_p
    wrong = 0
    for job in jobs:
        with tempfile.TemporaryDirectory() as name:
            bench = Bench(Path(name), job, shim)
            calls = bench.count()
            ends: collections.Counter[str] = collections.Counter()
            calls_failed: collections.Counter[str] = collections.Counter()
            for at in range(0, calls, step):
                for kind in KINDS if every_kind else (KINDS[at // step % len(KINDS)],):
                    said, end = bench.round(at, kind)
                    ends[end] += 1
                    calls_failed[f"{bench.failed} {end}"] += 1
                    if said:
                        wrong += 1
                        error = errno.errorcode.get(kind, "cut short")
                        print(f"WRONG: {job}, call {at} ({bench.failed}, {error}): {said}")
            told = ", ".join(f"{count} {end}" for end, count in sorted(ends.items()))
            print(f"{job}: {calls} calls, {sum(ends.values())} rounds: {told}", flush=True)
            print("    " + ", ".join(f"{call} {count}" for call, count in sorted(calls_failed.items())))
    print(f"{wrong} wrong")
    return 1 if wrong else 0


class Bench:
    """A take, and a place for its deliveries."""

    def __init__(self, folder: Path, job: str, shim: ctypes.CDLL) -> None:
        from msgspec.structs import replace
        from tests.support.takes import noise_take

        from lagline.deliver.options import DeliveryOptions
        from lagline.jobs.hand_over import hand_over_take
        from lagline.session.values import Move, Version

        version = Version("v1", "Shifted", {"near": Move(10.0), "far": Move(0.4, -1)})
        self.session = replace(noise_take(folder / "take", frames=3_000), versions=(version,))
        self.recordings = self._sums(folder / "take")
        self.out, self.spare, self.shim = folder / "out", folder / "spare", shim
        self.options = DeliveryOptions(
            file_format="FLAC" if job == "FLAC" else "WAV", depth="24", overwrite=job == "again"
        )
        self._hand_over = hand_over_take
        if job == "again":
            earlier = replace(self.session, versions=(replace(version, moves={"near": Move(99.0)}),))
            hand_over_take(earlier, self.spare, "v1", self.options)
        self.failed = ""  # the call that did in the last round
        self.earlier = self._sounds(self.spare)
        self._clear()
        self.deliver()
        self.whole = self._sounds(self.out)

    def deliver(self) -> None:
        self._hand_over(self.session, self.out, "v1", self.options, level_matched=True)

    def count(self) -> int:
        """The system calls of one delivery; lanes are written by threads, so their order varies."""
        self._clear()
        self.shim.fault_arm(os.fsencode(self.out), ctypes.c_long(-2), errno.EIO)
        self.deliver()
        return int(self.shim.fault_disarm())

    def round(self, at: int, kind: int) -> tuple[str, str]:
        """One delivery in which one call fails: what is wrong after it, and how it ended."""
        self._clear()
        code = self._forked(at, kind)
        end = {DONE: "delivered", REFUSED: "refused"}.get(code, "fell")
        return self._wrong(code), end

    def _forked(self, at: int, kind: int) -> int:
        sys.stdout.flush()
        ours, theirs = os.pipe()
        child = os.fork()
        if child == 0:
            code = FELL
            try:
                self.shim.fault_arm(os.fsencode(self.out), ctypes.c_long(at), kind)
                code = self._tried(self.deliver)
            finally:
                self.shim.fault_disarm()
                os.write(theirs, self.shim.fault_last() or b"none")
                os._exit(code)
        os.close(theirs)
        self.failed = os.read(ours, 64).decode()
        os.close(ours)
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])

    def _tried(self, work: Callable[[], None]) -> int:
        from lagline.errors import LaglineError

        try:
            work()
        except LaglineError as error:
            return REFUSED if str(error).endswith(".") else FELL
        except BaseException as error:  # noqa: BLE001 - told, and counted
            self.shim.fault_disarm()
            print(f"{type(error).__name__}: {error}", file=sys.stderr)
            return FELL
        return DONE

    def _wrong(self, code: int) -> str:
        if self._sums(self.session.lanes[0].source.path.parent) != self.recordings:
            return "a recording was touched"
        there = self._sounds(self.out)
        if code == DONE and not self._is_whole():
            return "said to be delivered, and is not"
        if code == REFUSED and not self.earlier and there:
            return f"refused, and left {sorted(there)[:3]}"
        if code == REFUSED and self.earlier:
            odd = [name for name in there if there[name] not in (self.earlier[name], self.whole[name])]
            if odd or len(there) < len(self.earlier):
                return f"an earlier delivery was harmed: {odd[:3]}"
        if code not in (DONE, REFUSED):
            return f"ended with {code}"
        if self._tried(self.deliver) != (
            DONE if not (code == DONE and not self.options.overwrite) else REFUSED
        ):
            return "the next delivery does not work"
        hidden = [path.name for path in self.out.rglob(".*")]
        return f"left hidden after the next delivery: {hidden}" if hidden and code != DONE else ""

    def _is_whole(self) -> bool:
        """Everything is there, as it sounds without a fault, and every list of checksums is right."""
        if self._sounds(self.out) != self.whole:
            return False
        sums = self._sums(self.out)
        for path in [Path(name) for name in self.whole if name.endswith(".sha256")]:
            for line in (self.out / path).read_text("utf-8").splitlines():
                digest, name = line.split(" *")
                if sums.get((path.parent / name).as_posix()) != digest:
                    return False
        return True

    def _clear(self) -> None:
        shutil.rmtree(self.out, ignore_errors=True)
        if self.spare.exists():
            shutil.copytree(self.spare, self.out)

    @staticmethod
    def _sums(folder: Path) -> dict[str, str]:
        files = [path for path in folder.rglob("*") if path.is_file()]
        return {
            path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in files
        }

    @staticmethod
    def _sounds(folder: Path) -> dict[str, str]:
        """What the files that are not hidden hold but for the time of day in them: audio as it sounds."""
        import soundfile

        found = {}
        for path in sorted(folder.rglob("*")):
            name = path.relative_to(folder).as_posix()
            if path.is_dir() or "/." in f"/{name}":
                continue
            if path.suffix in (".wav", ".flac"):
                try:
                    found[name] = hashlib.sha256(soundfile.read(path, dtype="int32")[0].tobytes()).hexdigest()
                except (ValueError, RuntimeError):  # a length that cannot be; no audio
                    found[name] = "broken"
            else:
                found[name] = "" if path.read_bytes() else "empty"
        return found


if __name__ == "__main__":
    main()
