"""The command line's promises: exit codes, stdout for results only, no traceback for a user."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from tests.support.desk_door import NotedDesk
from tests.support.processes import wait_for
from tests.support.recordings import noise, recording

from lagline.cli import align as align_module
from lagline.cli.run import run

LATE = 37


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """Two lanes of the same noise, the second later by LATE samples and upside down."""
    folder = tmp_path / "take"
    folder.mkdir()
    sound = noise(96_000, seed=5, peak=0.25)
    late = np.concatenate([np.zeros((LATE, 1), np.float32), -sound[:-LATE]])
    recording(folder / "near.wav", sound)
    recording(folder / "far.wav", late)
    return folder


def lagline(*arguments: object) -> int:
    return run([str(argument) for argument in arguments], NotedDesk())


def test_times_are_understood_in_other_units(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert lagline("align", take, "--search-ms", "0.5s", "--from", "10ms", "--to", "0:01.5", "--json") == 0
    far = next(one for one in json.loads(capsys.readouterr().out)["lanes"] if one["name"] == "far")
    assert abs(far["arrival_samples"]) == pytest.approx(LATE, abs=0.1) or far["arrival_samples"] == 0.0


def test_json_is_all_that_stdout_holds(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert lagline("align", take, "--json") == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "lagline/alignment/1"
    assert (document["rate_hz"], document["anchor"]) == (48000, "far")
    far, near = document["lanes"]
    assert (far["name"], far["file"], far["channel"], far["arrival_samples"]) == ("far", "far.wav", 0, 0.0)
    assert near["arrival_samples"] == pytest.approx(-LATE, abs=0.02)
    assert near["proposed_shift_samples"] == pytest.approx(LATE, abs=0.02)
    assert near["arrival_ms"] == pytest.approx(-LATE / 48, abs=1e-3)
    # 343.2 m/s at 20 degrees C (ISO 9613-1)
    assert near["path_m"] == pytest.approx(-LATE / 48000 * 343.2, abs=1e-3)
    assert near["polarity"] == -1
    assert near["trust_word"] == "strong"
    assert set(near) == {
        "name", "file", "channel", "arrival_samples", "uncertainty_samples", "arrival_ms", "path_m",
        "first_sound_samples", "best_fit_samples", "polarity", "polarity_trust", "trust", "trust_word",
        "drift_ppm", "movement_ms", "proposed_shift_samples", "runners_up", "windows", "sentence",
    }  # fmt: skip
    (pair,) = document["pairs"]
    # `b` is the later one where the arrival is positive.
    later = 1 if (pair["a"], pair["b"]) == ("near", "far") else -1
    assert pair["arrival_samples"] * later == pytest.approx(LATE, abs=0.02)
    assert document["warnings"] == []


def test_the_anchor_can_be_named(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for anchor in ("near", "NEAR", "first"):
        assert lagline("align", take, "--json", "--anchor", anchor) == 0
        document = json.loads(capsys.readouterr().out)
        assert document["anchor"] == "near"
        assert document["lanes"][0]["arrival_samples"] == pytest.approx(LATE, abs=0.02)


def test_whole_samples_rounds_what_is_proposed(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert lagline("align", take, "--json", "--whole-samples") == 0
    near = json.loads(capsys.readouterr().out)["lanes"][1]
    assert near["proposed_shift_samples"] == float(LATE)


def test_whole_samples_within_the_uncertainty_and_no_further(
    take: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert lagline("align", take, "--json", "--whole-within") == 0
    near = json.loads(capsys.readouterr().out)["lanes"][1]
    assert abs(near["arrival_samples"] + near["proposed_shift_samples"]) <= near["uncertainty_samples"]


def test_a_warmer_room_is_a_longer_way(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ways = []
    for temperature in (0, 30):
        assert lagline("align", take, "--json", "--temperature-c", temperature) == 0
        ways.append(json.loads(capsys.readouterr().out)["lanes"][1]["path_m"])
    # ISO 9613-1: 331.29 m/s at 0 and 349.00 m/s at 30 degrees C
    assert ways[1] / ways[0] == pytest.approx(349.00 / 331.29, rel=1e-4)


def test_the_table_names_every_lane(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert lagline("align", take) == 0
    shown = capsys.readouterr().out
    for part in ("near", "far", "-37.0", "inverted", "strong"):
        assert part in shown


def test_lanes_without_a_common_sound_have_no_numbers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recording(tmp_path / "a.wav", noise(96_000, seed=1))
    recording(tmp_path / "b.wav", noise(96_000, seed=2))
    assert lagline("align", tmp_path, "--json") == 0
    lanes = json.loads(capsys.readouterr().out)["lanes"]
    (other,) = (lane for lane in lanes if lane["trust_word"] == "none")
    assert other["arrival_samples"] is None
    assert other["polarity"] is None
    assert other["proposed_shift_samples"] is None
    assert other["sentence"]


@pytest.mark.parametrize(
    ("files", "says"),
    [
        ({}, "No recordings"),
        ({"a.wav": b""}, "a.wav"),
        ({"a.wav": b"not audio"}, "a.wav cannot be read as audio"),
        ({"a.wav": None}, "at least two lanes"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_code_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], files: dict[str, bytes | None], says: str
) -> None:
    for name, content in files.items():
        if content is None:
            recording(tmp_path / name, noise(4800))
        else:
            (tmp_path / name).write_bytes(content)
    assert lagline("align", tmp_path, "--json") == 1
    printed = capsys.readouterr()
    assert says in printed.err and "Traceback" not in printed.err
    assert printed.out == ""


def test_a_file_that_leaves_too_few_lanes_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recording(tmp_path / "good.wav", noise(48_000))
    (tmp_path / "text.wav").write_bytes(b"not audio")
    for command in (("align",), ("render", "--out", tmp_path / "out")):
        assert lagline(command[0], tmp_path, *command[1:]) == 1
        assert "text.wav cannot be read" in capsys.readouterr().err


def test_all_lanes_silent(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("a.wav", "b.wav"):
        recording(tmp_path / name, np.zeros((48000, 1), np.float32))
    assert lagline("align", tmp_path) == 1
    assert "Every lane is silent" in capsys.readouterr().err


def test_a_bad_file_among_good_ones_is_a_warning(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (take / "broken.wav").write_bytes(b"RIFF")
    assert lagline("align", take, "--json") == 0
    document = json.loads(capsys.readouterr().out)
    assert [lane["name"] for lane in document["lanes"]] == ["far", "near"]
    assert any("broken.wav" in warning for warning in document["warnings"])


@pytest.mark.parametrize(
    "arguments",
    [
        ["align"],
        ["align", "--nonsense"],
        ["align", "{take}", "--search-ms", "-1"],
        ["align", "{take}", "--search-ms", "1 m"],
        ["align", "{take}", "--from", "5 samples"],
        ["align", "{take}", "--from", "abc"],
        ["align", "{take}", "--from", "5", "--to", "3"],
        ["batch", "{take}", "--share", "4/3"],
        ["batch", "{take}", "--pattern", "nothing"],
        ["algin"],
        ["--nonsense"],
    ],
)
def test_wrong_usage_is_exit_code_2(
    take: Path, capsys: pytest.CaptureFixture[str], arguments: list[str]
) -> None:
    assert lagline(*(argument.format(take=take) for argument in arguments)) == 2
    printed = capsys.readouterr()
    assert printed.out == "" and printed.err and "Traceback" not in printed.err


def test_an_anchor_that_is_not_there_is_named_with_the_choices(
    take: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert lagline("align", take, "--anchor", "zither") == 1
    assert "latest, first, far, near" in capsys.readouterr().err


def test_a_fault_of_ours_is_a_sentence_and_goes_to_the_log(
    take: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(align_module.options, "analysis_options", lambda *_: 1 / 0)
    assert lagline("align", take) == 1
    said = capsys.readouterr().err
    assert "ZeroDivisionError" in said and "Traceback" not in said
    log = Path(next(word for word in said.split() if word.endswith(".log:")).rstrip(":"))
    assert "Traceback" in log.read_text("utf-8")


def test_files_without_a_command_open_the_desk(take: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = NotedDesk()
    assert run([str(take)], desk) == 0
    assert run([], desk) == 0
    assert desk.opened == [[take], []]
    assert run([str(take / "gone.wav")], desk) == 1
    monkeypatch.delenv("QT_QPA_PLATFORM")
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    if sys.platform.startswith("linux"):
        assert run([str(take)], desk) == 1
    assert len(desk.opened) == 2


def test_commands_start_without_qt_and_without_a_sound_library() -> None:
    code = (
        "import sys\n"
        "from lagline.__main__ import main\n"
        "assert main(['align', 'nowhere.wav']) == 1\n"
        "heavy = {'PySide6', 'pyqtgraph', 'sounddevice'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_version_is_printed() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "lagline", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("lagline ")


def test_a_log_that_cannot_be_kept_is_said(
    take: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    blocked = tmp_path / "a file"
    blocked.touch()
    monkeypatch.setattr(align_module.options, "analysis_options", lambda *_: 1 / 0)
    monkeypatch.setenv("LAGLINE_LOG_DIR", str(blocked / "log"))
    assert lagline("align", take) == 1
    said = capsys.readouterr().err
    assert "No log could be kept" in said and "Traceback" not in said


def test_a_passage_outside_the_take_is_wrong_usage(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert lagline("align", take, "--from", "100") == 2
    assert "2.000 s long" in capsys.readouterr().err
    assert lagline("align", take, "--from", "0.100001", "--to", "0.100002") == 2


@pytest.mark.skipif(sys.platform == "win32", reason="Windows knows no SIGINT to send")
def test_a_batch_that_is_interrupted_says_so_and_how_to_go_on(take: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    code = (
        "import signal, sys\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # else ignored in the background
        "from lagline.__main__ import main\n"
        "sys.exit(main(sys.argv[1:]))\n"
    )
    words = [sys.executable, "-c", code, "batch", str(take.parent), "--out", str(out), "--workers", "1"]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    wait_for((out / "journal.jsonl").exists, process)  # begun; the worker is still loading
    process.send_signal(signal.SIGINT)
    said = process.communicate(timeout=120)[1]
    assert process.returncode == 130
    assert "goes on from there" in said and "stopped" in said and "Traceback" not in said


STOPPED = """
import os, signal, sys, time
from multiprocessing import util
signal.signal(signal.SIGINT, signal.default_int_handler)  # else ignored in the background
spawn = util.spawnv_passfds
def stopped_there(path, words, handles):
    process = spawn(path, words, handles)
    if any("spawn_main" in str(word) for word in words):
        time.sleep(later_s)
        os.kill(os.getpid(), signal.SIGINT) if alone else os.killpg(0, signal.SIGINT)
    return process
util.spawnv_passfds = stopped_there
later_s, alone = float(sys.argv.pop()), sys.argv.pop() == "alone"
from lagline.__main__ import main
if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows knows no SIGINT to send")
@pytest.mark.parametrize(("who", "later_s"), (("alone", 0.0), ("all", 0.06), ("all", 0.1)))
def test_a_batch_stopped_while_its_worker_starts_says_one_sentence(
    take: Path, tmp_path: Path, who: str, later_s: float
) -> None:
    """It comes between starting the worker and giving it its orders, while the worker loads Python."""
    words = ["batch", str(take.parent), "--out", str(tmp_path / "out"), "--workers", "1", who, str(later_s)]
    done = subprocess.run(
        [sys.executable, "-c", STOPPED, *words],
        capture_output=True, text=True, timeout=120, check=False, start_new_session=True,
    )  # fmt: skip
    assert done.returncode == 130
    assert "goes on from there" in done.stderr and "stopped" in done.stderr
    assert "Traceback" not in done.stderr and "Error" not in done.stderr
