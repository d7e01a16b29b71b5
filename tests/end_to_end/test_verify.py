"""A delivery held against its list later: whole, and with one thing changed at a time."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.support.takes import noise_take

from lagline.cli.run import run
from lagline.jobs.open_take import open_take
from lagline.session import edits, storage
from lagline.session.values import Move, Version


class NoDesk:
    def open(self, paths: object) -> int:
        raise AssertionError("no window was asked for")


@pytest.fixture
def delivery(tmp_path: Path) -> Path:
    """Near copied and flipped, Far interpolated; blends, sheets, lists."""
    noise_take(tmp_path / "in", frames=96_000)
    take = open_take([tmp_path / "in"]).session
    moves = {"Near": Move(120.0, -1), "Far": Move(-30.25), "Room": Move(7.0)}
    take = edits.with_version(
        take, Version("v1", "Shifted", {lane.id: moves[lane.name] for lane in take.lanes})
    )
    storage.save(take, tmp_path / "take.lagline")
    assert run(["deliver", str(tmp_path / "take.lagline"), "--out", str(tmp_path / "out")], NoDesk()) == 0
    return tmp_path / "out"


def verify(folder: Path, *more: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, dict]]:
    capsys.readouterr()
    code = run(["verify", str(folder), "--json", *more], NoDesk())
    document = json.loads(capsys.readouterr().out)
    assert document["as_delivered"] == (code == 0)
    return code, {Path(one["file"]).name: one for one in document["files"]}


def lane(folder: Path, name: str) -> Path:
    (path,) = (folder / "aligned").glob(f"* - {name} - *.wav")
    return path


def test_all_is_as_it_was_delivered_and_elsewhere_too(
    tmp_path: Path, delivery: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    moved = tmp_path / "elsewhere"
    shutil.move(delivery, moved)
    code, files = verify(moved, "--recordings", str(tmp_path / "in"), capsys=capsys)
    assert code == 0 and len(files) >= 9
    assert files[lane(moved, "Room").name]["compared"] == "bit for bit"
    for name in ("Near", "Far"):
        words = files[lane(moved, name).name]["compared"]
        assert words.endswith("dB left") and float(words.split()[0]) < -110
    code, files = verify(moved, capsys=capsys)
    assert code == 0 and files[lane(moved, "Room").name]["compared"] == ""


def damaged_sample(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[-3_000] ^= 1
    path.write_bytes(data)


def other_stamp(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[data.index(b"bext") + 8 + 338] ^= 1
    path.write_bytes(data)


def louder(path: Path) -> None:
    samples, rate_hz = soundfile.read(path)
    soundfile.write(path, 1.2 * samples, rate_hz, "PCM_24")


def shorter(path: Path) -> None:
    samples, rate_hz = soundfile.read(path)
    soundfile.write(path, samples[:-1], rate_hz, soundfile.info(path).subtype)


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (damaged_sample, "its bytes have changed"),
        (other_stamp, "its time stamp is 1, not 0"),
        (louder, "its loudness is"),
        (shorter, "its length is"),
        (Path.unlink, "it is missing"),
        (lambda path: path.write_bytes(b"no sound"), "it can't be read"),
    ],
)
def test_one_changed_lane_is_named_and_no_other(
    delivery: Path, capsys: pytest.CaptureFixture[str], damage: object, says: str
) -> None:
    path = lane(delivery, "Near")
    damage(path)  # type: ignore[operator]
    code, files = verify(delivery, capsys=capsys)
    assert code == 1
    assert [name for name, one in files.items() if one["problems"]] == [path.name]
    assert any(says in problem for problem in files[path.name]["problems"])


def test_a_changed_sheet_is_named(delivery: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (sheet,) = delivery.glob("*.csv")
    sheet.write_text(sheet.read_text("utf-8").replace("120", "121", 1), "utf-8")
    code, files = verify(delivery, capsys=capsys)
    assert code == 1 and [name for name, one in files.items() if one["problems"]] == [sheet.name]


def test_a_file_saved_again_tells_whether_its_sound_is_still_the_recordings(
    tmp_path: Path, delivery: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = lane(delivery, "Far")
    samples, rate_hz = soundfile.read(path)
    recordings = ("--recordings", str(tmp_path / "in"))
    soundfile.write(path, samples, rate_hz, soundfile.info(path).subtype)  # only the texts are lost
    code, files = verify(delivery, *recordings, capsys=capsys)
    assert code == 1 and files[path.name]["compared"].endswith("dB left")
    soundfile.write(path, np.roll(samples, 1), rate_hz, soundfile.info(path).subtype)
    code, files = verify(delivery, *recordings, capsys=capsys)
    assert any("does not hold its recording as moved" in problem for problem in files[path.name]["problems"])


def test_the_table_is_for_people(delivery: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", str(delivery)], NoDesk()) == 0
    assert "files are as they were delivered." in capsys.readouterr().out


def test_what_is_no_delivery_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", str(tmp_path)], NoDesk()) == 1
    assert "is no delivery" in capsys.readouterr().err
    (tmp_path / "delivery.json").write_text("{}")
    assert run(["verify", str(tmp_path)], NoDesk()) == 1
    assert "delivery.json is no delivery" in capsys.readouterr().err


def test_a_take_of_two_rates_is_delivered_at_the_higher_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its lanes go through the session's rate, which holds less than both recording and file."""
    folder = tmp_path / "in"
    noise_take(folder, frames=96_000)
    rng = np.random.default_rng(7)
    soundfile.write(folder / "Wide.wav", 0.1 * rng.standard_normal(192_000), 96_000, "PCM_24")
    take = open_take([folder]).session
    assert take.rate_hz == 48_000
    storage.save(take, tmp_path / "take.lagline")
    out = tmp_path / "out"
    asked = ["deliver", str(tmp_path / "take.lagline"), "--out", str(out), "--file-rate", "96000"]
    assert run(asked, NoDesk()) == 0
    code, files = verify(out, "--recordings", str(folder), capsys=capsys)
    assert code == 0
    assert float(files[lane(out, "Wide").name]["compared"].split()[0]) < -90


def test_a_list_that_makes_no_sense_is_named_not_divided_by(
    delivery: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = delivery / "aligned" / "delivery.json"
    path.write_text(path.read_text("utf-8").replace('"rate_hz": 48000', '"rate_hz": 0'), "utf-8")
    assert run(["verify", str(delivery)], NoDesk()) == 1
    assert "its rate is 48000, not 0" in " ".join(capsys.readouterr().out.split())
