"""The whole main job from the command line: recordings in, findings, aligned files out, found at zero."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from tests.support.desk_door import NotedDesk

from lagline.cli.run import run
from lagline.jobs.demo import demo_folder, demo_takes


def lagline(*arguments: object) -> int:
    return run([str(argument) for argument in arguments], NotedDesk())


def aligned(capsys: pytest.CaptureFixture[str], *arguments: object) -> dict[str, dict[str, object]]:
    capsys.readouterr()
    assert lagline("align", *arguments, "--json") == 0
    document = json.loads(capsys.readouterr().out)
    return {lane["name"]: lane for lane in document["lanes"]}


def truth(take: str) -> dict[str, dict[str, object]]:
    document = json.loads((demo_folder() / take / "truth.json").read_text("utf-8"))
    return {lane["name"]: lane for lane in document["lanes"]}


@pytest.mark.parametrize("take", demo_takes())
def test_demo_takes_are_measured_as_they_were_made(take: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The truth is exact by construction of the generator: geometry over the speed of sound, plus latency."""
    found = aligned(capsys, demo_folder() / take)
    for name, lane in truth(take).items():
        if found[name]["trust_word"] in ("weak", "none"):
            continue  # said to be doubtful: the ear decides
        assert found[name]["arrival_samples"] == pytest.approx(lane["arrival_samples"], abs=1.0), name
        assert found[name]["polarity"] == lane["polarity"], name


def test_rendered_files_are_found_at_zero_and_upright(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "delivery"
    assert lagline("render", demo_folder() / "chapel", "--out", out) == 0
    files = sorted((out / "aligned").glob("*.wav"))
    infos = [soundfile.info(file) for file in files]
    assert len({(info.frames, info.samplerate) for info in infos}) == 1 and len(infos) == 4
    for lane in aligned(capsys, out / "aligned").values():
        assert lane["arrival_samples"] == pytest.approx(0.0, abs=0.05)
        assert lane["polarity"] == 1


def test_whole_sample_files_hold_the_recordings_bit_for_bit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "delivery"
    assert lagline("render", demo_folder() / "chapel", "--out", out, "--whole-samples") == 0
    found = aligned(capsys, demo_folder() / "chapel", "--whole-samples")
    for name, lane in found.items():
        shift = int(str(lane["proposed_shift_samples"]).split(".")[0])
        (file,) = (out / "aligned").glob(f"* {name} - *.wav")
        source = soundfile.read(demo_folder() / "chapel" / f"{name}.flac", dtype="int32")[0]
        written = soundfile.read(file, dtype="int32")[0]
        assert not written[:shift].any()
        upright = source if lane["polarity"] == 1 else -source
        assert np.array_equal(written[shift : shift + len(source)], upright), name


def test_the_blend_of_the_aligned_files_is_fuller(tmp_path: Path) -> None:
    """Lined up, upright lanes add instead of cancelling: more energy, at unchanged lane levels."""
    out = tmp_path / "delivery"
    assert lagline("render", demo_folder() / "chapel", "--out", out, "--depth", "float") == 0

    def energy(name: str) -> float:
        samples: npt.NDArray[np.float64] = soundfile.read(next(out.glob(f"*blend - {name}.wav")))[0]
        return float(np.mean(np.square(samples)))

    assert 10 * np.log10(energy("Shifted") / energy("Original")) > 1.0


def test_nothing_is_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "delivery"
    assert lagline("render", demo_folder() / "chapel", "--out", out) == 0
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    assert lagline("render", demo_folder() / "chapel", "--out", out) == 1
    assert "already there" in capsys.readouterr().err
    assert {path: path.read_bytes() for path in out.rglob("*") if path.is_file()} == before
    assert lagline("render", demo_folder() / "chapel", "--out", out, "--overwrite") == 0


def test_demo_without_a_display_leaves_the_whole_job_in_a_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    desk = NotedDesk()
    out = tmp_path / "demo"
    assert run(["demo", "--out", str(out)], desk) == 0
    shown = capsys.readouterr().out
    assert str(out) in shown and "pickup" in shown and "inverted" in shown
    names = {path.name for path in out.rglob("*") if path.is_file()}
    assert sum(name.endswith(".wav") for name in names) == 6  # four lanes, two blends
    assert {"chapel.lagline", "desk light.png", "desk dark.png"} <= names
    assert any("delay sheet" in name for name in names)
    assert desk.opened == [] and [dark for _, dark in desk.pictures] == [False, True]
    (out / "chapel.lagline").unlink()  # the files are in the way too, and it is said before measuring
    assert run(["demo", "--out", str(out)], desk) == 1
    assert "already there" in capsys.readouterr().err


def test_demo_with_a_display_opens_the_desk(monkeypatch: pytest.MonkeyPatch) -> None:
    desk = NotedDesk()
    monkeypatch.setattr("lagline.cli.demo.window_problem", lambda: None)
    assert run(["demo", "kit"], desk) == 0
    assert [path.name for path in desk.opened[0]] == ["kit.lagline"]
    assert desk.measured


def test_an_unknown_demo_take_is_an_error(capsys: pytest.CaptureFixture[str]) -> None:
    assert lagline("demo", "opera") == 1
    assert "opera" in capsys.readouterr().err
