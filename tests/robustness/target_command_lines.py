"""The command line as a function of bytes: words parted by NUL."""

from __future__ import annotations

import contextlib
import io
import os
import random
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path
from unittest.mock import patch

import numpy as np
import soundfile
import typer.main
from tests.robustness.fence import only_below
from tests.robustness.mutation import damaged_words
from tests.robustness.target import folder
from tests.robustness.target_documents import journal_seeds, plan_seeds
from tests.support.desk_door import NotedDesk

from lagline.cli.app import app
from lagline.cli.run import run
from lagline.jobs import many
from lagline.jobs.journal import NAME
from lagline.jobs.open_take import open_take
from lagline.session import edits
from lagline.session.setup import save_setup, setup_of
from lagline.session.storage import save


@cache
def command_folder() -> Path:
    """A take, a session, a setup, a plan and a batch to name on the command line."""
    place = folder() / "desk"
    place.mkdir()
    rng = np.random.default_rng(3)
    sound = 0.2 * rng.standard_normal(6_000)
    for name, late in (("near", 0), ("room", 40)):
        (place / "take").mkdir(exist_ok=True)
        samples = np.concatenate([np.zeros(late), sound[: 6_000 - late]]) + 0.001 * rng.standard_normal(6_000)
        soundfile.write(place / "take" / f"{name}.wav", samples, 8_000)
    opened = open_take([place / "take"]).session
    opened = edits.with_shift(opened, opened.lanes[0].id, 40.0)
    save(opened, place / "take.lagline")
    save_setup(setup_of(opened, opened.current_version, "Usual"), place / "usual.lagline-setup")
    (place / "room.lagline-plan").write_bytes(plan_seeds()[0])
    (place / "done").mkdir()
    (place / "done" / NAME).write_bytes(journal_seeds()[0])
    (place / "broken.lagline").write_bytes(b"{")
    (place / "text.wav").write_bytes(b"no audio here")
    return place


COMMAND_LINES = (
    "align take", "align take/near.wav take/room.wav --json", "align take --anchor near",
    "align take --from 0.1 --to 0:00.5 --search-ms 5 --whole-samples", "render take.lagline --out new",
    "render take.lagline --out new --depth float --file-rate 44100 --mono --match --names {lane}_{version}",
    "render take.lagline --out done --all-versions --overwrite --format flac", "sheet take.lagline",
    "sheet take.lagline --csv --version Shifted", "sheet take.lagline --html --out new.html", "check take",
    "check take --json", "report take.lagline --out new.html", "report take.lagline --pdf",
    "apply usual.lagline-setup take --out new.lagline --take-new", "merge done --out merged",
    "plan Close=30cm Room=3.5m DI=1.2ms --notch Room:Close@200", "plan A=1m B=2m --save new.lagline-plan",
    "plan room.lagline-plan --json --temperature-c 25 --humidity 40", "--version", "--help", "align --help",
    "plan room.lagline-plan --source 0,1,2 --inverted Close --setup new.lagline-setup",
    "plan near=1m room=2m --against take", "take.lagline",
    "batch . --out new3 --workers 1",
    "batch . --out new4 --pattern {take}_{lane} --setup usual.lagline-setup --rate 48000",
)  # fmt: skip


def _options() -> set[str]:
    """Every option of every command."""
    commands = typer.main.get_command(app).commands.values()  # type: ignore[attr-defined]
    return {word for command in commands for option in command.params for word in option.opts if "-" in word}


WORDS = (
    *sorted(_options()),
    *sorted({word for line in COMMAND_LINES for word in line.split()}),
    "demo", "-o", "-1", "0", "1e400", "nan", "inf", "-inf", "99999999999999999999", "-0", "0x10", "1/0",
    "9/2", "latest", "first", "original", "broken.lagline", "text.wav", "missing.wav", "{", "}", "{lane",
    "{lane!r}",
    "{lane:9999}", "{x}", "*", "Room=", "=3m", "Room=1e9m", "Room=nanm", "Room=1,2", "Room=1,2,3",
    "Room=2m@-6", "Room=2m@x", "Room=-1m", "Room:Close@0", "Room:Close@", "Room:Room@5", "é.wav", "\u202e",
    "<b>", "--", "-", "16", "24", "source", "8001", "7", "take.lagline.bak", "new", "x" * 300,
)  # fmt: skip


@cache
def command_seeds() -> tuple[bytes, ...]:
    return tuple(line.replace(" ", "\0").encode() for line in COMMAND_LINES)


@contextlib.contextmanager
def _in(place: Path) -> Iterator[None]:
    """Work in `place`, with cache, state and log beside it, and neither write elsewhere nor connect."""
    before = Path.cwd()
    own = {f"LAGLINE_{what}_DIR": str(folder() / "own") for what in ("CACHE", "STATE", "LOG")}
    os.chdir(place)
    try:
        with patch.dict(os.environ, own), only_below(folder()):
            yield
    finally:
        os.chdir(before)


@cache
def _made_cheap() -> None:
    """Build the command line's parser once: that takes longer than most command lines do."""
    typer.main.get_command = cache(typer.main.get_command)


def _names_outside(word: str) -> bool:
    """The fuzzer may run as root: no place outside its folder is named, as a word or behind an option."""
    option = word.startswith("-")
    return word.startswith(("/", "~")) or ".." in word or "=/" in word or (option and "/" in word)


@cache
def _whole() -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in command_folder().rglob("*") if path.is_file()}


def _tidied(place: Path) -> list[str]:
    """The folder as it was before; which recordings were not. (Sessions may be asked to be replaced.)"""
    for made in sorted(place.rglob("*"), reverse=True):  # what is in a folder before the folder
        if made not in _whole() and made.is_file():
            made.unlink()
        elif made.is_dir() and not any(made.iterdir()):
            made.rmdir()
    changed = [path for path, data in _whole().items() if not path.is_file() or path.read_bytes() != data]
    for path in changed:
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(_whole()[path])
    return [path.name for path in changed if path.suffix == ".wav"]


def run_command(data: bytes) -> str:
    """Run a command line in a folder of its own; the word is its exit code."""
    words = [word for word in data.decode("utf-8", "replace").split("\0") if word]
    if any(map(_names_outside, words)):
        return "left out"
    if {"demo", "machine", "doctor"} & set(words):
        return "left out"  # they take seconds and read nothing from others
    place = command_folder()
    _made_cheap()
    _whole()
    many._pool = lambda workers, _told: ThreadPoolExecutor(workers)  # processes cost half a second each
    out, err = io.StringIO(), io.StringIO()
    out.buffer = io.BytesIO()  # type: ignore[attr-defined]
    with _in(place), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(words, NotedDesk())
    changed = _tidied(place)
    assert not changed, f"recordings were changed: {changed}"
    said = err.getvalue()
    assert code in (0, 1, 2), f"exit code {code}"
    assert "Traceback" not in said and "inside Lagline" not in said, said
    assert code == 0 or said or out.getvalue(), "it failed without a word"
    return f"exit {code}"


def damaged_command(data: bytes, rng: random.Random, _others: Sequence[bytes] = ()) -> bytes:
    return damaged_words(data, rng, WORDS)
