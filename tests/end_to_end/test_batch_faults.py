"""An archive with a fault of each kind: batch names every one, and its exit code says so."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from tests.support.recordings import noise, recording

from lagline.cli.run import run

RATE_HZ = 48_000


class NoDesk:
    def open(self, paths: object) -> int:
        raise AssertionError("no window was asked for")


def take(folder: Path, seed: int) -> None:
    """Two lanes of one noise, the far one 100 samples later."""
    folder.mkdir(parents=True)
    sound = 0.5 * noise(3 * RATE_HZ, seed=seed)[:, 0]
    recording(folder / "Near.wav", sound)
    recording(folder / "Far.wav", np.concatenate([np.zeros(100, np.float32), sound[:-100]]) * 0.7)


def changed(path: Path, change: object) -> None:
    import soundfile

    samples, rate_hz = soundfile.read(path)
    recording(path, change(samples).astype(np.float32), rate_hz)  # type: ignore[operator]


def overdriven(samples: np.ndarray) -> np.ndarray:
    return np.clip(2 * samples / np.abs(samples).max(), -1, 1)


def dropped(samples: np.ndarray) -> np.ndarray:
    samples[70_001:70_031] = 0.0
    return samples


def repeated(samples: np.ndarray) -> np.ndarray:
    samples[50_256:50_512] = samples[50_000:50_256]
    return samples


PLANTED = {
    "clipped": (overdriven, "is clipped in"),
    "turned down": (lambda samples: 0.5 * overdriven(samples), "is flat at"),
    "dropped": (dropped, "drops to exact zeros in 1 place"),
    "repeated": (repeated, "plays a stretch twice in 1 place"),
}


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    root = tmp_path / "archive"
    for seed, name in enumerate(("clean", *PLANTED, "copied", "unreadable", "lonely")):
        take(root / name, seed)
    for name, (change, _) in PLANTED.items():
        changed(root / name / "Far.wav", change)
    shutil.copy(root / "copied" / "Near.wav", root / "copied" / "Twin.wav")
    (root / "unreadable" / "Room.wav").write_bytes(b"RIFF nothing")
    (root / "lonely" / "Far.wav").write_bytes(b"RIFF nothing")
    return root


def test_every_planted_fault_is_named_and_nothing_else(
    tmp_path: Path, archive: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["batch", str(archive), "--out", str(tmp_path / "out"), "--workers", "1"], NoDesk()) == 3
    printed = capsys.readouterr().out
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    results = {result["take"]: result for result in summary["results"]}
    assert (summary["takes"], summary["failed"], summary["faulty"]) == (8, 1, 6)
    assert results["clean"]["faults"] == [] and results["lonely"]["state"] == "failed"
    expected = {name: says for name, (_, says) in PLANTED.items()}
    expected |= {"copied": "exactly the same samples", "unreadable": "Room.wav cannot be read"}
    page = (tmp_path / "out" / "report.html").read_text("utf-8")
    table = (tmp_path / "out" / "summary.csv").read_text("utf-8-sig")
    for name, says in expected.items():
        (fault,) = results[name]["faults"]
        assert says in fault
        assert says in page and says in table
        assert f"fault in {name}: " in printed


def test_all_well_is_0_and_nothing_done_is_1(tmp_path: Path) -> None:
    take(tmp_path / "well" / "one", 1)
    assert run(["batch", str(tmp_path / "well"), "--workers", "1"], NoDesk()) == 0
    take(tmp_path / "ill" / "one", 1)
    for path in (tmp_path / "ill" / "one").iterdir():
        path.write_bytes(b"RIFF nothing")
    assert run(["batch", str(tmp_path / "ill"), "--workers", "1"], NoDesk()) == 1


def test_takes_are_delivered_in_the_same_run_and_told_line_by_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("one", "two"):
        take(tmp_path / "archive" / name, len(name))
    asked = ["batch", str(tmp_path / "archive"), "--out", str(tmp_path / "out"), "--workers", "1"]
    assert run([*asked, "--deliver", "--json"], NoDesk()) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert sorted(line["take"] for line in lines) == ["one", "two"]
    for name in ("one", "two"):
        assert len(list((tmp_path / "out" / name / "delivery" / "aligned").glob("*.wav"))) == 2
        delivered, recordings = tmp_path / "out" / name / "delivery", tmp_path / "archive" / name
        assert run(["verify", str(delivered), "--recordings", str(recordings)], NoDesk()) == 0
    capsys.readouterr()
    assert run([*asked, "--deliver", "--json"], NoDesk()) == 0  # nothing is left to do
    assert capsys.readouterr().out == ""


def test_notes_are_told_below_the_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import soundfile

    root = tmp_path / "archive"
    take(root / "song", 3)
    samples, _ = soundfile.read(root / "song" / "Far.wav", dtype="float32")
    recording(root / "song" / "Far.wav", 0.5 * samples + 0.1, RATE_HZ)  # an offset is worth a note
    run(["batch", str(root), "--out", str(tmp_path / "out"), "--workers", "1"], NoDesk())
    printed = capsys.readouterr().out
    noted = json.loads((tmp_path / "out" / "summary.json").read_text())["results"][0]["warnings"]
    assert noted and all(f"note on song: {note}" in printed for note in noted)
