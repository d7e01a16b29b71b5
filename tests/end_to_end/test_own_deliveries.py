"""What Lagline delivered is never taken for recordings of a take, wherever it lies."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile
from tests.support.desk_door import NotedDesk
from tests.support.recordings import noise, recording
from tests.support.takes import noise_take

from lagline.cli.run import run
from lagline.errors import NoTakes, OwnDelivery
from lagline.jobs.find_takes import find_takes
from lagline.jobs.open_take import open_take

Lagline = Callable[..., str]


@pytest.fixture
def lagline(capsys: pytest.CaptureFixture[str]) -> Lagline:
    def call(*arguments: object, code: int = 0) -> str:
        assert run([str(argument) for argument in arguments], NotedDesk()) == code
        printed = capsys.readouterr()
        return printed.out if code == 0 else printed.err

    return call


@pytest.fixture
def take(tmp_path: Path) -> Path:
    noise_take(tmp_path / "day" / "take", frames=48_000)
    return tmp_path / "day" / "take"


def lanes(folder: Path) -> list[str]:
    return [lane.name for lane in open_take([folder]).session.lanes]


@pytest.mark.parametrize("file_format", ["wav", "flac"])
def test_a_delivery_into_the_folder_of_the_take_adds_no_lanes(
    take: Path, lagline: Lagline, file_format: str
) -> None:
    lagline("render", take, "-o", take, "--format", file_format)
    found = json.loads(lagline("align", take, "--json"))
    assert [lane["name"] for lane in found["lanes"]] == ["Far", "Near", "Room"]
    (said,) = (warning for warning in found["warnings"] if "delivered" in warning)
    assert said.startswith("Left out, because Lagline delivered them itself: take - blend - Original.")
    named = [path for path in take.iterdir() if path.suffix in (".wav", ".flac")]
    assert len(named) == 5  # as a shell's *.wav has it
    assert {lane["name"] for lane in json.loads(lagline("align", *named, "--json"))["lanes"]} == set(
        lanes(take)
    )
    lagline("render", take, "-o", take, "--format", file_format, "--overwrite")
    assert lanes(take) == ["Far", "Near", "Room"]


def test_a_batch_reports_no_delivery_as_a_take(take: Path, tmp_path: Path, lagline: Lagline) -> None:
    lagline("render", take, "-o", take / "delivery")
    lagline("render", take, "-o", tmp_path / "day" / "for the client")
    found = find_takes(tmp_path / "day")
    assert [found_take.name for found_take in found.takes] == ["take"]
    (said,) = found.problems
    assert said == (
        "Left out, because Lagline delivered them itself: "
        "10 files in for the client, for the client/aligned, "
        "take/delivery and take/delivery/aligned."
    )
    assert "take" in lagline("batch", tmp_path / "day")
    with pytest.raises(NoTakes, match="delivered them itself"):
        find_takes(take / "delivery")


def test_a_delivery_itself_is_refused_in_words(take: Path, lagline: Lagline) -> None:
    lagline("render", take, "-o", take / "delivery")
    said = lagline("align", take / "delivery", "--json", code=1)
    assert "delivery holds what Lagline delivered itself" in said and "take - blend - Original.wav" in said
    assert "Open the recordings it was made from" in said
    assert "delivered itself" in lagline("render", take / "delivery", "-o", take / "again", code=1)
    assert not (take / "again").exists()


def test_aligned_files_given_and_nothing_else_are_opened_and_it_is_said(take: Path, lagline: Lagline) -> None:
    """Whoever names them wants to see that they are lined up."""
    lagline("render", take, "-o", take / "delivery")
    aligned = take / "delivery" / "aligned"
    for given in ([aligned], sorted(aligned.glob("*.wav"))):
        opened = open_take(given)
        assert len(opened.session.lanes) == 3
        assert any("are lined up already" in problem for problem in opened.problems)


def test_a_delivered_file_is_known_by_its_mark_where_no_list_lies_beside_it(
    take: Path, tmp_path: Path, lagline: Lagline
) -> None:
    for file_format in ("wav", "flac"):
        lagline("render", take, "-o", tmp_path / file_format, "--format", file_format)
        for path in (tmp_path / file_format).glob(f"*.{file_format}"):
            shutil.copy(path, take)
    assert len(list(take.iterdir())) == 7
    assert lanes(take) == ["Far", "Near", "Room"]


def test_a_file_without_a_mark_is_known_by_the_list_beside_it(take: Path, lagline: Lagline) -> None:
    lagline("render", take, "-o", take, "--format", "flac")
    for path in take.glob("*.flac"):  # as delivered before there were marks
        sound, rate_hz = soundfile.read(path, dtype="int32")
        soundfile.write(path, sound, rate_hz, subtype="PCM_24")
        _list_again(take / "delivery.json", path)
    assert lanes(take) == ["Far", "Near", "Room"]
    for path in take.glob("*.flac"):  # something else under the same name is a recording
        recording(path, noise(30_000, seed=7))
    assert len(lanes(take)) == 5


def _list_again(manifest: Path, path: Path) -> None:
    """Change the size that the manifest tells of a file."""
    document = json.loads(manifest.read_text("utf-8"))
    for file in document["files"]:
        if file["name"] == path.name:
            file["size_bytes"] = path.stat().st_size
    manifest.write_text(json.dumps(document), "utf-8")


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"schema": "lagline/delivery/1"}', b"\xff" * 100])
def test_a_damaged_list_harms_nothing(take: Path, content: bytes) -> None:
    (take / "delivery.json").write_bytes(content)
    (take / "delivery (2).json").mkdir()
    assert lanes(take) == ["Far", "Near", "Room"]


def test_nothing_but_blends_is_no_take_unless_they_are_named(take: Path, lagline: Lagline) -> None:
    lagline("render", take, "-o", take / "delivery")
    with pytest.raises(OwnDelivery):
        open_take([take / "delivery"])
    blends = sorted((take / "delivery").glob("*.wav"))
    opened = open_take(blends)
    assert any("Lagline delivered" in problem for problem in opened.problems)
