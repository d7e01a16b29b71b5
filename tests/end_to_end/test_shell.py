"""What a shell and its pipes get from the program: in real processes."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.support.takes import noise_take

PROGRAM = [sys.executable, "-m", "lagline"]


@pytest.fixture
def recordings(tmp_path: Path) -> list[Path]:
    return [lane.source.path for lane in noise_take(tmp_path / "in", frames=48_000).lanes]


def test_names_are_read_from_standard_input(recordings: list[Path]) -> None:
    names = "\n".join(map(str, recordings)) + "\n"
    done = subprocess.run([*PROGRAM, "check", "-", "--json"], input=names, capture_output=True, text=True)
    assert done.returncode == 0
    assert [one["file"] for one in json.loads(done.stdout)["recordings"]] == [
        str(path) for path in recordings
    ]
    twice = subprocess.run([*PROGRAM, "check", "-", "-"], input=names, capture_output=True, text=True)
    assert twice.returncode == 2 and "- can be read once" in twice.stderr


def test_a_table_in_a_pipe_is_text_alone(recordings: list[Path]) -> None:
    done = subprocess.run([*PROGRAM, "align", *map(str, recordings)], capture_output=True, text=True)
    assert done.returncode == 0 and "Near" in done.stdout
    assert not any(0x2500 <= ord(letter) < 0x2580 for letter in done.stdout), "box-drawing characters"


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not installed")
def test_bash_completes_commands_and_options() -> None:
    def offered(words: str) -> list[str]:
        asked = {
            "_LAGLINE_COMPLETE": "complete_bash",
            "COMP_WORDS": words,
            "COMP_CWORD": str(words.count(" ")),
        }
        done = subprocess.run(PROGRAM, env={**os.environ, **asked}, capture_output=True, text=True)
        assert done.returncode == 0
        return done.stdout.split()

    assert offered("lagline al") == ["align"]
    assert "--anchor" in offered("lagline align --an")
    told = {**os.environ, "_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION": "1"}  # so that the shell is named
    asked = [*PROGRAM, "--show-completion", "bash"]
    script = subprocess.run(asked, env=told, capture_output=True, text=True, check=True).stdout
    assert "_LAGLINE_COMPLETE" in script
    assert subprocess.run(["bash", "-n"], input=script, text=True).returncode == 0
