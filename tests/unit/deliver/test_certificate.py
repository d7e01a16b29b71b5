"""What was checked of each file of a delivery stands on one page; a file that fails is never delivered."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.recordings import noise
from tests.support.takes import lane_on_disk

from lagline.blend.mix import pan_gains
from lagline.deliver import blends as blends_module
from lagline.deliver.certify import certified
from lagline.deliver.delivered import DeliveredFile
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.read_documents import read_back
from lagline.errors import CannotWrite
from lagline.jobs.hand_over import hand_over_take
from lagline.media.bext import Bext, pack_bext
from lagline.media.riff import Chunk
from lagline.media.write import write_audio
from lagline.session.values import Balance, Move, Session, Version

INFO = Chunk(b"LIST", b"INFOIART\x07\0\0\0Nobody\0\0")
UNKNOWN = Chunk(b"abcd", b"odd")
BEXT = Chunk(b"bext", pack_bext(Bext(description="Take 3", time_reference=48_000)))
CHNA = Chunk(b"chna", bytes(44))


@pytest.fixture
def session(tmp_path: Path) -> Session:
    lanes = (
        lane_on_disk(tmp_path / "Near.wav", noise(48_000)[:, 0], chunks=[BEXT, INFO, UNKNOWN]),
        lane_on_disk(tmp_path / "<Room> & hall.wav", noise(48_000, seed=1)[:, 0], chunks=[BEXT]),
    )
    version = Version("v1", "Shifted", {lanes[0].id: Move(120.0), lanes[1].id: Move(-3.25, -1)})
    return Session(48_000, lanes, name="Song 3", versions=(version,), time_reference=48_000)


def words_of(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page.partition("<body>")[2]))


@pytest.mark.parametrize("file_format", ["WAV", "FLAC"])
def test_one_page_tells_of_both_folders(tmp_path: Path, session: Session, file_format: str) -> None:
    options = DeliveryOptions(file_format=file_format)  # type: ignore[arg-type]
    done = hand_over_take(session, tmp_path / "out", "v1", options, edit="bundle")
    assert [path.parent.name for path in done.paths if path.name == "certificate.html"] == ["out"]
    words = words_of((tmp_path / "out" / "certificate.html").read_text("utf-8"))
    for path in done.paths:
        is_told = path.name not in ("certificate.html", "delivery.json", "checksums.sha256")
        assert (path.name.replace("<", "&lt;").replace("&", "&amp;") in words) == is_told, path
    assert "Near.wav, channel 1 +120.000 as recorded bit for bit" in words
    assert re.search(r"hall\.wav, channel 1 -3\.250 flipped -1\d\d dB left", words)
    for path in (tmp_path / "out" / "delivery.json", tmp_path / "out" / "aligned" / "delivery.json"):
        for file in json.loads(path.read_text("utf-8"))["files"]:
            wanted = {
                "lane": ["format", "stamp", "metadata", "samples", "levels"],
                "blend": ["format", "stamp", "metadata", "samples", "levels"],
                "certificate": [],
            }.get(file["kind"], ["text"])
            assert file["checked"] == wanted, file["name"]


def test_what_does_not_hold_is_not_ticked(tmp_path: Path) -> None:
    """A float lane over full scale, shifted by half a sample and written with 16 bits, is clipped."""
    loud = lane_on_disk(tmp_path / "Loud.wav", 12.0 * noise(48_000)[:, 0], subtype="FLOAT")
    calm = lane_on_disk(tmp_path / "Calm.wav", noise(48_000, seed=1)[:, 0], subtype="FLOAT")
    session = Session(
        48_000, (loud, calm), name="Loud", versions=(Version("v1", "Shifted", {loud.id: Move(0.5)}),)
    )
    hand_over_take(session, tmp_path / "out", "v1", DeliveryOptions(depth="16"))
    told = json.loads((tmp_path / "out" / "aligned" / "delivery.json").read_text("utf-8"))["files"]
    ticked = {file["lane"]: "samples" in file["checked"] for file in told if file["kind"] == "lane"}
    assert ticked == {"Loud": False, "Calm": True}
    assert "dB left, clipped" in words_of((tmp_path / "out" / "certificate.html").read_text("utf-8"))


def test_a_document_of_which_nothing_was_asked_is_not_ticked(tmp_path: Path) -> None:
    (tmp_path / "cells.txt").write_text("anything", "utf-8")
    file = DeliveredFile("sheet", "cells.txt", 8, "")
    assert read_back(file, tmp_path / "cells.txt", []).checked == ()
    assert read_back(file, tmp_path / "cells.txt", [("anything",)]).checked == ("text",)


def test_what_became_of_the_metadata(tmp_path: Path, session: Session) -> None:
    hand_over_take(session, tmp_path / "out", "v1", DeliveryOptions())
    near, room, *_ = json.loads((tmp_path / "out" / "aligned" / "delivery.json").read_text("utf-8"))["files"]
    assert near["metadata"] == {"bext": "changed", "LIST INFO": "same", "abcd": "same"}
    assert room["metadata"] == {"bext": "changed"}
    words = words_of((tmp_path / "out" / "certificate.html").read_text("utf-8"))
    assert "LIST INFO, abcd bext – –" in words
    hand_over_take(session, tmp_path / "bare", "v1", DeliveryOptions(carry_metadata=False))
    near, *_ = json.loads((tmp_path / "bare" / "aligned" / "delivery.json").read_text("utf-8"))["files"]
    assert near["metadata"] == {"bext": "changed", "LIST INFO": "left behind", "abcd": "left behind"}


def test_a_stamp_or_a_chunk_that_is_not_what_was_to_be_written_is_no_delivery(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    write_audio(path, [noise(9_000)], 48_000, 1, frames=9_000, chunks=[BEXT, UNKNOWN])
    file = DeliveredFile("blend", "a.wav", 0, "", frames=9_000, rate_hz=48_000, subtype="PCM_24")
    fine = certified(file, path, (), 48_000, time_reference=48_000, chunks=[BEXT, UNKNOWN])
    assert fine.checked == ("format", "stamp", "metadata")
    with pytest.raises(CannotWrite, match="time stamp is 48000, not 48001"):
        certified(file, path, (), 48_000, time_reference=48_001, chunks=[BEXT, UNKNOWN])
    for chunks in ([BEXT], [BEXT, CHNA], [BEXT, Chunk(b"abcd", b"odo")], [UNKNOWN, BEXT]):
        with pytest.raises(CannotWrite, match="metadata is not what was written"):
            certified(file, path, (), 48_000, time_reference=48_000, chunks=chunks)
    with pytest.raises(CannotWrite, match="length is 9000, not 9001"):
        certified(
            replace(file, frames=9_001), path, (), 48_000, time_reference=48_000, chunks=[BEXT, UNKNOWN]
        )


DOCUMENTS = {
    "sheet.txt": "Near  2.500 ms\nFar   0.000 ms\n",
    "sheet.csv": 'lane,ms\r\n"Near",2.5\r\nFar,0.0\r\n',
    "sheet.html": "<table><tr><td>Near</td><td>2.500&nbsp;ms</td></tr><tr><td>Far</td><td>0.000</td></tr>",
    "edit.otio": '{"children": [{"name": "Near", "at": 2.5}, {"name": "Far", "at": 0.0}]}',
}


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_document_without_a_lane_or_its_figure_is_no_delivery(tmp_path: Path, name: str) -> None:
    told = [("Near", "2.5"), ("Far", "0.0")]
    file = DeliveredFile("sheet", name, 0, "")
    path = tmp_path / name
    text = DOCUMENTS[name]
    path.write_text(text, "utf-8", newline="")
    assert read_back(file, path, told).checked == ("text",)
    for old, new in (("Near", "Hear"), ("2.5", "3.5"), ("Far", "")):
        path.write_text(text.replace(old, new), "utf-8", newline="")
        with pytest.raises(CannotWrite, match=r"it lacks (Near|Far)"):
            read_back(file, path, told)
    path.write_bytes(text.encode("utf-8")[:-30] + b"\xff")
    with pytest.raises(CannotWrite):
        read_back(file, path, told)


def test_a_bundle_with_a_damaged_recording_is_no_delivery(tmp_path: Path, session: Session) -> None:
    done = hand_over_take(session, tmp_path / "out", "v1", DeliveryOptions(), edit="bundle")
    (bundle,) = (path for path in done.paths if path.suffix == ".otioz")
    data = bytearray(bundle.read_bytes())
    data[len(data) // 2] ^= 1
    bundle.write_bytes(data)
    with pytest.raises(CannotWrite, match="damaged"):
        read_back(DeliveredFile("edit", bundle.name, 0, ""), bundle, ())


@pytest.mark.parametrize(
    "options",
    [
        DeliveryOptions(),
        DeliveryOptions(depth="float", mono_blend=True),
        DeliveryOptions(depth="16", rate_hz=44_100),
    ],
)
def test_a_blend_is_the_sum_of_its_recordings(
    tmp_path: Path, session: Session, options: DeliveryOptions, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By spectra, not by the code that mixes: see `null`."""
    balances = {session.lanes[0].id: Balance(-4.0, 0.3), session.lanes[1].id: Balance(2.0, -1.0)}
    moves = dict(session.versions[0].moves)
    moves[session.lanes[1].id] = Move(-3.25, -1, 12.0)
    version = replace(session.versions[0], balances=balances, moves=moves)
    mixed = replace(session, versions=(version,))
    hand_over_take(mixed, tmp_path / "out", "v1", options)
    files = json.loads((tmp_path / "out" / "delivery.json").read_text("utf-8"))["files"]
    blends = [file for file in files if file["kind"] == "blend"]
    assert len(blends) == 2 and all(file["left_db"] < -100 for file in blends)
    monkeypatch.setattr(blends_module, "pan_gains", lambda pan: pan_gains(-pan))  # sides taken for each other
    if not options.mono_blend:
        with pytest.raises(CannotWrite, match="does not hold its lanes as blended"):
            hand_over_take(mixed, tmp_path / "wrong", "v1", options)
        assert not (tmp_path / "wrong").exists()
