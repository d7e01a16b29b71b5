"""Nothing that a name holds can drive the terminal: escape sequences are shown, never sent."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from tests.support.takes import noise_take

from lagline.cli.terminal import plain
from lagline.jobs.open_take import open_take
from lagline.session.storage import save

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="such names can't be there")

NAME = "kick\x1b]0;taken over\x07\x1b[2J\x9b31m\rsnare"


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """Three lanes, one with a name that clears the screen, as the folder's; a file that can't be read."""
    folder = tmp_path / NAME
    noise_take(folder, frames=48_000)
    (folder / "Near.wav").rename(folder / f"{NAME}.wav")
    (folder / f"broken {NAME}.wav").write_bytes(b"not audio")
    return folder


def in_a_terminal(words: Sequence[object]) -> str:
    """What a command sends to a terminal, both streams."""
    try:
        ours, theirs = pty.openpty()
    except OSError as error:
        pytest.skip(f"no terminal is to be had here: {error}")
    command = [sys.executable, "-m", "lagline", *(str(word) for word in words)]
    environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "200"}
    process = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment)
    os.close(theirs)
    said = bytearray()
    try:
        while piece := os.read(ours, 1 << 16):
            said += piece
    except OSError:  # Linux's word for the other end being closed
        pass
    process.wait()
    os.close(ours)
    return said.decode("utf-8")


@pytest.mark.parametrize(
    "words",
    [
        ("align", "{take}"),
        ("check", "{take}"),
        ("render", "{take}", "-o", "{take}/out"),
        ("report", "{take}/take.lagline"),
        ("sheet", "{take}/take.lagline"),
        ("batch", "{take}/.."),
        ("apply", "{take}/take.lagline", "{take}"),
        ("{take}/nothing here {name}",),
        ("align", "--from", "{name}", "{take}"),
        ("plan", "a{name}=1", "b=2"),
    ],
)
def test_no_command_sends_what_a_name_holds(take: Path, words: Sequence[str]) -> None:
    save(open_take([take]).session, take / "take.lagline")
    said = in_a_terminal([word.format(take=take, name=NAME) for word in words])
    assert "]0;taken over" in said
    for sent in ("\x1b]0;", "\x07", "\x1b[2J", "\x9b", "31m\r"):
        assert sent not in said


def test_what_is_printed_for_programs_stays_whole(take: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "lagline", "align", str(take), "--json"], capture_output=True, check=True
    )
    assert {lane["name"] for lane in json.loads(done.stdout)["lanes"]} == {NAME, "Far", "Room"}
    assert plain(done.stdout.decode()) == done.stdout.decode()


def test_lines_tabs_and_all_other_letters_are_left_alone() -> None:
    text = "tête-à-tête\t録音 \U0001f3a4\nnext line"
    assert plain(text) == text
    assert plain("\x00\x7f\x85\x9f\xa0") == "\\u0000\\u007f\\u0085\\u009f\xa0"
