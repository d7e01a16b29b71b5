"""The command line as a function of bytes: words parted by NUL."""

from __future__ import annotations

import contextlib
import io
import os
import random
import shutil
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
from tests.robustness.mutation import damaged_words
from tests.robustness.target import folder
from tests.robustness.target_documents import plan_seeds

from lagline.jobs.open_take import open_take
from lagline.session import edits
from lagline.session.setup import save_setup, setup_of
from lagline.session.storage import load, save


class _NoDesk:
    def open(self, paths: Sequence[Path]) -> int:
        return 0

    def picture(self, session: Path, png: Path, width: int, height: int, dark: bool) -> None:
        load(session)


@cache
def command_folder() -> Path:
    """A take, a session, a setup and a plan to name on the command line."""
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
    (place / "broken.lagline").write_bytes(b"{")
    (place / "text.wav").write_bytes(b"no audio here")
    return place


COMMAND_LINES = (
    "align take", "align take/near.wav take/room.wav --json", "align take --out new.lagline --anchor near",
    "align take --from 0.1 --to 0:00.5 --search-ms 5 --whole-samples", "render take.lagline --out new",
    "render take.lagline --out new --depth float --file-rate 44100 --mono --match --names {lane}_{version}",
    "sheet take.lagline", "sheet take.lagline --csv --version Shifted", "check take", "check take --json",
    "report take.lagline --out new.html", "apply usual.lagline-setup take --out new.lagline --take-new",
    "merge new --out merged", "plan Close=30cm Room=3.5m DI=1.2ms --notch Room:Close@200",
    "plan room.lagline-plan --json --temperature-c 25 --humidity 40", "--version",
    "plan A=1m B=2m --save new.lagline-plan", "--help", "align --help", "take.lagline",
    "batch . --out new3 --workers 1",
    "batch . --out new4 --pattern {take}_{lane} --shard 1/2 --setup usual.lagline-setup --rate 48000",
)  # fmt: skip
WORDS = (
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
    before = Path.cwd()
    os.chdir(place)
    try:
        yield
    finally:
        os.chdir(before)


@cache
def _command_line() -> Callable[[list[str], _NoDesk], int]:
    """The command line, made cheap to call often: its parser is built once."""
    import typer.main

    from lagline.cli.run import run

    typer.main.get_command = cache(typer.main.get_command)
    return run


def run_command(data: bytes) -> str:
    """Run a command line in a folder of its own; the word is its exit code."""
    words = [word for word in data.decode("utf-8", "replace").split("\0") if word]
    # The fuzzer may run as root: nothing outside the folder is ever named.
    if any(word.lstrip("-=~").startswith(("/", "~")) or ".." in word or "=/" in word for word in words):
        return "left out"
    if "demo" in words:
        return "left out"  # takes seconds, reads nothing from others
    place = command_folder()
    run = _command_line()
    from concurrent.futures import ThreadPoolExecutor

    from lagline.jobs import batch

    batch._pool = ThreadPoolExecutor  # processes cost half a second each
    out, err = io.StringIO(), io.StringIO()
    out.buffer = io.BytesIO()  # type: ignore[attr-defined]
    before = {path.name for path in place.iterdir()}
    with _in(place), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(words, _NoDesk())
    for made in place.iterdir():
        if made.name not in before:
            shutil.rmtree(made) if made.is_dir() else made.unlink()
    said = err.getvalue()
    assert code in (0, 1, 2), f"exit code {code}"
    assert "Traceback" not in said and "inside Lagline" not in said, said
    assert code == 0 or said or out.getvalue(), "it failed without a word"
    return f"exit {code}"


def damaged_command(data: bytes, rng: random.Random, _others: Sequence[bytes] = ()) -> bytes:
    return damaged_words(data, rng, WORDS)
