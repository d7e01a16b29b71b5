"""What Lagline needs and whether this machine has it. Knows no window: the caller says how one is tried."""

from __future__ import annotations

import importlib.metadata
import importlib.util
import multiprocessing
import os
import platform
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Literal

from msgspec import Struct

import lagline
from lagline.errors import DemoMissing, DeviceUnavailable
from lagline.log import FOLDER_VARIABLE as LOG_VARIABLE
from lagline.log import log_folder
from lagline.media.cache import FOLDER_VARIABLE as CACHE_VARIABLE
from lagline.media.cache import LIMIT_BYTES, cache_folder

Verdict = Literal["good", "note", "missing"]
START_WITHIN_S = 30.0
FREE_BYTES = 1_000_000_000  # less free space than this is worth a word

# Distribution, module, and what does not work without it.
LIBRARIES = (
    ("numpy", "numpy", "everything"),
    ("msgspec", "msgspec", "everything"),
    ("soundfile", "soundfile", "reading recordings"),
    ("scipy", "scipy", "measuring"),
    ("soxr", "soxr", "recordings at another rate than the session's"),
    ("jinja2", "jinja2", "reports"),
    ("sounddevice", "sounddevice", "being heard"),
    ("PySide6-Essentials", "PySide6", "the desk"),
    ("pyqtgraph", "pyqtgraph", "the desk's plots"),
)

# Names of packages: common practice of the distributions, no source.
GET_PORTAUDIO = {
    "linux": "Debian, Ubuntu: apt install libportaudio2. Fedora: dnf install portaudio. "
    "Arch: pacman -S portaudio.",
    "other": "Install Lagline again: PortAudio comes with its package sounddevice.",
}
GET_WINDOW = {
    "linux": "Qt lacks libraries of the system, or the screen cannot be reached. Debian, Ubuntu: "
    "apt install libegl1 libgl1 libglib2.0-0 libdbus-1-3 libxkbcommon-x11-0 libxcb-cursor0 libxcb-icccm4 "
    "libxcb-image0 libxcb-keysyms1 libxcb-randr0 libxcb-render-util0 libxcb-shape0 libxcb-xinerama0 "
    "libwayland-cursor0 libwayland-egl1 fontconfig fonts-dejavu-core.",
    "other": "Install Lagline again.",
}
NO_SCREEN = "Without a screen the commands work: lagline --help."


class Check(Struct, frozen=True):
    """One thing looked at. "note": Lagline works, but not all of it; "missing": it must be put right."""

    part: str  # "program", "libraries", "sound", "window", "files", "processes"
    name: str
    verdict: Verdict
    found: str
    remedy: str = ""


class Device(Struct, frozen=True):
    """An output as the sound system describes it."""

    name: str
    channels: int
    rate_hz: int
    is_default: bool


class Cache(Struct, frozen=True):
    """Where overviews and converted copies are kept, and how much room they take."""

    folder: Path
    size_bytes: int
    files: int
    limit_bytes: int


class Diagnosis(Struct, frozen=True):
    """All that was found out about this machine."""

    checks: tuple[Check, ...]
    devices: tuple[Device, ...]
    cache: Cache

    @property
    def is_well(self) -> bool:
        """Whether nothing is missing."""
        return all(check.verdict != "missing" for check in self.checks)


def examine(window_problem: Callable[[], str | None]) -> Diagnosis:
    """Look at this machine; takes a second or two. Never raises for what is missing: that is the answer.

    window_problem : why no window can be opened here, or None.
    """
    devices = _devices()
    cache = _cache()
    checks = (
        *_program(),
        *(_library(*library) for library in LIBRARIES),
        _libsndfile(),
        _portaudio(),
        _outputs(devices),
        _window(window_problem),
        _own_files(),
        _cache_check(cache),
        _folder("log", log_folder(), LOG_VARIABLE),
        _processes(),
    )
    return Diagnosis(checks, devices, cache)


def _program() -> Iterator[Check]:
    bundled = getattr(sys, "frozen", False)
    how = "bundle" if bundled else "package"
    place = Path(sys.executable).parent if bundled else Path(lagline.__file__).parent
    yield Check("program", "Lagline", "good", f"{lagline.__version__}, {how} in {place}")
    yield Check("program", "Python", "good", f"{platform.python_version()}, {sys.executable}")
    yield Check(
        "program",
        "system",
        "good",
        f"{platform.platform()}, {platform.machine()}, {os.cpu_count()} processors",
    )


def _library(distribution: str, module: str, needed_for: str) -> Check:
    again = f"Without it there is no {needed_for}. Install Lagline again, or: pip install {distribution}."
    if needed_for == "everything":
        again = f"Nothing works without it. Install Lagline again, or: pip install {distribution}."
    if importlib.util.find_spec(module) is None:
        return Check("libraries", distribution, "missing", "not installed", again)
    try:
        version = importlib.metadata.version(distribution)
    except importlib.metadata.PackageNotFoundError:
        version = "inside the bundle" if getattr(sys, "frozen", False) else "of unknown version"
    return Check("libraries", distribution, "good", version)


def _libsndfile() -> Check:
    try:
        import soundfile
    except (ImportError, OSError) as error:  # OSError: the library behind it
        return Check(
            "sound",
            "libsndfile",
            "missing",
            _sentence(error),
            "Recordings cannot be read. Install Lagline again: libsndfile comes with its package soundfile.",
        )
    formats = soundfile.available_formats()
    wanted = {"WAV", "RF64", "AIFF", "FLAC", "CAF", "W64", "OGG", "MP3"}
    lacking = sorted(wanted - set(formats))
    version = str(soundfile.__libsndfile_version__)
    if lacking:
        return Check(
            "sound",
            "libsndfile",
            "note",
            f"{version}, without {', '.join(lacking)}",
            "Those formats cannot be opened. Convert such recordings to WAV or FLAC.",
        )
    return Check("sound", "libsndfile", "good", version)


def _portaudio() -> Check:
    from lagline.playback.device import sound_system

    try:
        return Check("sound", "PortAudio", "good", sound_system())
    except DeviceUnavailable as error:
        remedy = GET_PORTAUDIO["linux" if sys.platform.startswith("linux") else "other"]
        return Check(
            "sound",
            "PortAudio",
            "missing",
            _sentence(error.__cause__ or error),
            f"Nothing can be heard without it; all else works. {remedy}",
        )


def _devices() -> tuple[Device, ...]:
    from lagline.playback.device import output_devices

    return tuple(
        Device(output.name, output.channels, output.rate_hz, output.is_default) for output in output_devices()
    )


def _outputs(devices: tuple[Device, ...]) -> Check:
    if not devices:
        return Check(
            "sound",
            "outputs",
            "note",
            "none found",
            "Plug in or switch on an interface, or a sound server. "
            "Without one, playing runs on a silent clock.",
        )
    count = "1 output" if len(devices) == 1 else f"{len(devices)} outputs"
    return Check("sound", "outputs", "good", f"{count}, first: {devices[0].name}")


def _window(window_problem: Callable[[], str | None]) -> Check:
    problem = window_problem()
    if problem is None:
        return Check("window", "window", "good", "can be opened")
    remedy = GET_WINDOW["linux" if sys.platform.startswith("linux") else "other"]
    if "no display" in problem:
        remedy = NO_SCREEN
    return Check("window", "window", "note", f"cannot be opened: {problem}", remedy)


def _own_files() -> Check:
    from lagline.jobs.demo import demo_takes

    again = "Install Lagline again: its package came incomplete."
    try:
        takes = demo_takes()
    except DemoMissing as error:
        return Check("files", "demo takes", "missing", _sentence(error), again)
    return Check(
        "files", "demo takes", "good" if takes else "missing", ", ".join(takes) or "none", again * (not takes)
    )


def _cache() -> Cache:
    folder = cache_folder()
    sizes = []
    if folder.is_dir():
        for path in folder.iterdir():
            try:
                sizes.append(path.stat().st_size)
            except OSError:  # gone meanwhile: another Lagline tidies up too
                continue
    return Cache(folder, sum(sizes), len(sizes), LIMIT_BYTES)


def _cache_check(cache: Cache) -> Check:
    check = _folder("cache", cache.folder, CACHE_VARIABLE)
    if check.verdict != "good":
        return check
    files = "1 file" if cache.files == 1 else f"{cache.files} files"
    size = f"{cache.size_bytes / 1e6:.1f} MB in {files}, at most {cache.limit_bytes / 1e9:.0f} GB"
    found = f"{cache.folder}, {size}"
    free = shutil.disk_usage(_first_there(cache.folder)).free
    if free < FREE_BYTES:
        return Check(
            "files",
            "cache",
            "note",
            f"{found}; only {free / 1e6:.0f} MB are free there",
            f"Free some space, or name another folder in {CACHE_VARIABLE}. "
            "The cache may be deleted at any time.",
        )
    return Check("files", "cache", "good", found)


def _folder(name: str, folder: Path, variable: str) -> Check:
    """Whether files can be put into a folder, which may not be there yet."""
    there = _first_there(folder)
    if there.is_dir() and os.access(there, os.W_OK | os.X_OK):
        return Check("files", name, "good", str(folder))
    return Check(
        "files",
        name,
        "note",
        f"{folder} cannot be written",
        f"Change its permissions, or name another folder in the environment variable {variable}.",
    )


def _first_there(folder: Path) -> Path:
    return next((place for place in (folder, *folder.parents) if place.exists()), Path(folder.anchor or "."))


def _processes() -> Check:
    """Playing and measuring need processes of their own: whether one starts and says so."""
    context = multiprocessing.get_context("spawn")
    start = time.perf_counter()
    try:
        done = context.Event()
        process = context.Process(target=_report, args=(done,), daemon=True)
        process.start()
        said = done.wait(START_WITHIN_S)
        if not said:
            process.terminate()
        process.join()
    except OSError as error:
        said, problem = False, _sentence(error)
    else:
        problem = f"did not start within {START_WITHIN_S:.0f} s"
    if said:
        return Check("processes", "own processes", "good", f"start in {time.perf_counter() - start:.2f} s")
    return Check(
        "processes",
        "own processes",
        "missing",
        problem,
        "Playing and measuring need them. A sandbox or a security program may forbid it: allow Lagline "
        "there. On Linux, /dev/shm must be there and writable.",
    )


def _report(done: object) -> None:
    done.set()  # type: ignore[attr-defined]


def _sentence(error: BaseException) -> str:
    text = str(error).strip().removesuffix(".")
    return text or type(error).__name__
