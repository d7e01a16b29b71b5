import hashlib
import subprocess
from pathlib import Path
from types import SimpleNamespace

import msgspec
import numpy as np
import pytest
import soundfile
from msgspec.structs import replace
from tests.support.takes import noise_take

from lagline.blend.clips import open_clips
from lagline.blend.loudness import loudness
from lagline.blend.mix import ClipLike, blend
from lagline.deliver.blends import write_blend
from lagline.deliver.hand_over import ExtraFile, Order, hand_over
from lagline.deliver.manifest import CERTIFICATE_NAME, CHECKSUMS_NAME, MANIFEST_NAME, Manifest
from lagline.deliver.options import DeliveryOptions
from lagline.errors import Cancelled, CannotWrite, NotInSession, WouldOverwrite
from lagline.media import write as write_module
from lagline.media.probe import probe
from lagline.session.edits import with_balances
from lagline.session.values import ORIGINAL, Balance, Move, Session, Version

SHIFTED = Version("v1", "Shifted", {"near": Move(120.5), "far": Move(-30.0, -1)})
ORDER = Order(lanes_of=("v1",), blends_of=("original", "v1"), sheets_of=("v1",))


@pytest.fixture
def session(tmp_path: Path) -> Session:
    return replace(noise_take(tmp_path / "in", frames=48_000), versions=(SHIFTED,))


def test_everything_of_a_delivery_begins_together(tmp_path: Path, session: Session) -> None:
    delivery = hand_over(session, open_clips(session), tmp_path / "out", ORDER)
    names = [path.name for path in delivery]
    assert names == [
        "Invented take - Near - Shifted.wav",
        "Invented take - Far - Shifted.wav",
        "Invented take - Room - Shifted.wav",
        "Invented take - blend - Original.wav",
        "Invented take - blend - Shifted.wav",
        "Invented take - delay sheet - Shifted.csv",
        "Invented take - delay sheet - Shifted.txt",
        "Invented take - delay sheet - Shifted.html",
        CERTIFICATE_NAME,
        MANIFEST_NAME,
        CHECKSUMS_NAME,
    ]
    assert sorted(names) == sorted(entry.name for entry in (tmp_path / "out").iterdir())
    audio = [probe(path) for path in delivery.paths[:5]]
    assert len({info.frames for info in audio}) == 1
    assert {info.bext.time_reference for info in audio if info.bext} == {0}


def test_blends_are_what_is_heard_and_lanes_add_up_to_them(tmp_path: Path, session: Session) -> None:
    clips = open_clips(session)
    order = msgspec.structs.replace(ORDER, options=DeliveryOptions(depth="float", peak_dbtp=None))
    delivery = hand_over(session, clips, tmp_path / "out", order)
    start, stop = session.span(ORIGINAL, SHIFTED)
    for path, version in zip(delivery.paths[3:5], (ORIGINAL, SHIFTED), strict=True):
        read, _ = soundfile.read(path, dtype="float32")
        assert np.array_equal(read, blend(session, version, clips, start, stop - start))
    lanes = sum(soundfile.read(path, dtype="float64")[0] for path in delivery.paths[:3])
    printed, _ = soundfile.read(delivery.paths[4], dtype="float64")
    assert np.abs(lanes * np.sqrt(0.5) - printed[:, 0]).max() < 1e-6  # all lanes in the centre, 3 dB down


def test_level_matched_blends_are_equally_loud(tmp_path: Path, session: Session) -> None:
    session = with_balances(session, {lane.id: Balance(-12.0) for lane in session.lanes})
    copies = replace(
        session, lanes=tuple(replace(lane, source=session.lanes[0].source) for lane in session.lanes)
    )
    copies = replace(copies, lanes=tuple(replace(lane, place_samples=0) for lane in copies.lanes))
    clips = open_clips(copies)
    order = Order(blends_of=("original", "v1"), level_matched=True, options=DeliveryOptions(depth="float"))
    delivery = hand_over(copies, clips, tmp_path / "out", order)
    gains = [file.gain_db for file in delivery.files[:2]]
    assert gains[0] < -1.0 and gains[1] == 0.0  # three equal lanes are louder together; the louder goes down
    start, stop = copies.span(ORIGINAL, SHIFTED)
    told = [probe(path).bext.loudness_lufs for path in delivery.paths[:2]]  # type: ignore[union-attr]
    assert told[0] is not None and told[1] is not None
    assert told[0] == pytest.approx(told[1], abs=0.1)
    assert told[1] == pytest.approx(loudness(copies, copies.version("v1"), clips, start, stop), abs=0.02)


def test_blends_matched_over_a_loop_say_so(tmp_path: Path, session: Session) -> None:
    order = Order(blends_of=("original", "v1"), level_matched=True)
    whole = hand_over(session, open_clips(session), tmp_path / "whole", order)
    looped = replace(session, loop=(session.rate_hz // 4, session.rate_hz // 2))
    part = hand_over(looped, open_clips(looped), tmp_path / "part", order)
    assert not any("loop" in line for line in whole.warnings)
    assert "Blends matched in loudness over the loop only, 0.25 s to 0.50 s." in part.warnings


def test_mono_blend_keeps_the_level_of_a_lane_in_the_centre(tmp_path: Path, session: Session) -> None:
    alone = replace(session, lanes=(session.lanes[0],))
    options = DeliveryOptions(depth="float", mono_blend=True)
    (path,) = write_blend(alone, ORIGINAL, open_clips(alone), tmp_path / "mono.wav", options)
    read, _ = soundfile.read(path, dtype="float32", always_2d=True)
    source, _ = soundfile.read(session.lanes[0].source.path, dtype="float32")
    assert read.shape == (len(source), 1)
    assert np.allclose(read[:, 0], source, atol=1e-6)


def test_printed_gain(tmp_path: Path, session: Session) -> None:
    clips = open_clips(session)
    options = DeliveryOptions(depth="float")
    (plain,) = write_blend(session, SHIFTED, clips, tmp_path / "a.wav", options)
    (quiet,) = write_blend(session, SHIFTED, clips, tmp_path / "b.wav", options, -6.0)
    ratio = np.abs(soundfile.read(quiet)[0]).max() / np.abs(soundfile.read(plain)[0]).max()
    assert 20 * np.log10(ratio) == pytest.approx(-6.0, abs=1e-4)


def test_manifest_and_checksums_hold(tmp_path: Path, session: Session) -> None:
    session = replace(session, time_reference=9_000)
    extra = ExtraFile("report", "report.html", b"<p>Near, Far, Room</p>")
    delivery = hand_over(session, open_clips(session), tmp_path / "out", ORDER, extras=[extra])
    read = msgspec.json.decode((tmp_path / "out" / MANIFEST_NAME).read_bytes(), type=Manifest)
    assert (read.take, read.anchor, read.start_samples, read.time_reference) == (
        "Invented take",
        "Room",
        0,
        9_000,
    )
    assert {file.name for file in read.files} == {path.name for path in delivery} - {
        MANIFEST_NAME,
        CHECKSUMS_NAME,
    }
    for file in read.files:
        data = (tmp_path / "out" / file.name).read_bytes()
        assert (file.size_bytes, file.sha256) == (len(data), hashlib.sha256(data).hexdigest())
    assert read.files[1].shift_samples == -30.0
    assert [file.kind for file in read.files[-2:]] == ["report", "certificate"]
    checked = subprocess.run(
        ["sha256sum", "--check", CHECKSUMS_NAME],
        cwd=tmp_path / "out",
        capture_output=True,
        text=True,
        check=False,
    )
    assert checked.returncode == 0, checked.stderr


def test_failing_late_leaves_nothing(
    tmp_path: Path, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    def sheets_fail(path: Path) -> object:
        if "sheet" in path.name:  # names of parts are cut short
            raise OSError(28, "No space left on device")
        return path.open("xb")

    monkeypatch.setattr(write_module, "open_to_write", sheets_fail)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "keep.txt").write_text("there before")
    with pytest.raises(CannotWrite):
        hand_over(session, open_clips(session), tmp_path / "out", ORDER)
    assert [entry.name for entry in (tmp_path / "out").iterdir()] == ["keep.txt"]


def test_second_delivery_into_the_same_folder_is_refused(tmp_path: Path, session: Session) -> None:
    clips = open_clips(session)
    hand_over(session, clips, tmp_path / "out", ORDER)
    with pytest.raises(WouldOverwrite):
        hand_over(session, clips, tmp_path / "out", ORDER)
    again = msgspec.structs.replace(ORDER, options=DeliveryOptions(overwrite=True))
    hand_over(session, clips, tmp_path / "out", again)


def test_unknown_version(tmp_path: Path, session: Session) -> None:
    with pytest.raises(NotInSession, match="v9"):
        hand_over(session, open_clips(session), tmp_path / "out", Order(lanes_of=("v9",)))


def test_progress_ends_at_one(tmp_path: Path, session: Session) -> None:
    seen: list[float] = []
    hand_over(session, open_clips(session), tmp_path / "out", ORDER, progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def test_a_second_delivery_in_the_folder_has_lists_of_its_own(tmp_path: Path, session: Session) -> None:
    other = Version("v2", "Wide", {"near": Move(3.0)})
    session = replace(session, versions=(SHIFTED, other))
    clips = open_clips(session)
    first = hand_over(session, clips, tmp_path / "out", Order(lanes_of=("v1",)))
    before = (tmp_path / "out" / MANIFEST_NAME).read_bytes()
    second = hand_over(session, clips, tmp_path / "out", Order(lanes_of=("v2",)))
    assert [path.name for path in second.paths[-2:]] == ["delivery (2).json", "checksums (2).sha256"]
    assert (tmp_path / "out" / MANIFEST_NAME).read_bytes() == before
    assert len(list((tmp_path / "out").iterdir())) == len(first) + len(second)
    with pytest.raises(WouldOverwrite):
        hand_over(session, clips, tmp_path / "out", Order(lanes_of=("v2",)))
    replacing = Order(lanes_of=("v1",), options=DeliveryOptions(overwrite=True))
    again = hand_over(session, clips, tmp_path / "out", replacing)
    assert again.paths[-2].name == MANIFEST_NAME


def test_a_file_in_the_way_of_the_last_one_is_said_before_the_first(tmp_path: Path, session: Session) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "Invented take - delay sheet - Shifted.html").write_text("mine")
    seen: list[float] = []
    with pytest.raises(WouldOverwrite, match="delay sheet") as caught:
        hand_over(session, open_clips(session), out, ORDER, progress=seen.append)
    assert caught.value.replaceable and seen == []
    assert [path.name for path in out.iterdir()] == ["Invented take - delay sheet - Shifted.html"]


def test_a_full_disk_names_the_file_as_it_would_have_been(
    tmp_path: Path, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(write_module.shutil, "disk_usage", lambda _: SimpleNamespace(free=10))
    with pytest.raises(CannotWrite, match="Free some space") as caught:
        hand_over(session, open_clips(session), tmp_path / "out", ORDER)
    assert caught.value.path.parent == tmp_path / "out"
    assert not (tmp_path / "out").exists()


def test_a_move_that_is_refused_takes_back_what_was_moved(
    tmp_path: Path, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Path.replace

    def refused(self: Path, target: Path) -> Path:
        if self.suffix != ".part" and target.name.endswith("Shifted.txt"):
            raise PermissionError(13, "Permission denied")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", refused)
    with pytest.raises(CannotWrite, match="permissions") as caught:
        hand_over(session, open_clips(session), tmp_path / "out", ORDER)
    assert caught.value.path == tmp_path / "out" / "Invented take - delay sheet - Shifted.txt"
    assert not (tmp_path / "out").exists()


def test_stopping_does_not_wait_for_the_level_match(tmp_path: Path, session: Session) -> None:
    """Which reads whole recordings."""
    read: list[int] = []

    class Counted:
        def __init__(self, clip: ClipLike) -> None:
            self.rate_hz, self.frames = clip.rate_hz, clip.frames
            self._clip = clip

        def read(self, start: int, stop: int) -> np.ndarray:
            read.append(stop - start)
            return self._clip.read(start, stop)

    clips = {lane_id: Counted(clip) for lane_id, clip in open_clips(session).items()}
    order = Order(blends_of=("original", "v1"), level_matched=True)
    with pytest.raises(Cancelled):
        hand_over(session, clips, tmp_path / "out", order, cancelled=lambda: bool(read))
    assert len(read) == len(clips)  # the first block of each
    assert not list((tmp_path / "out").glob("*"))
