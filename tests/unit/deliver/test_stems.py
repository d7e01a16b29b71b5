from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.support.recordings import noise
from tests.support.takes import lane_on_disk, noise_take

from lagline.blend.clips import open_clips
from lagline.blend.mix import lane_signal
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.stems import write_stems
from lagline.errors import Cancelled, CannotWrite, FileMissing, WouldOverwrite
from lagline.media import write as write_module
from lagline.media.bext import Bext, pack_bext
from lagline.media.cue import CuePoint, pack_cues, parse_cues
from lagline.media.probe import probe
from lagline.media.riff import Chunk, read_chunk, read_layout
from lagline.session.values import Move, Session, Version

SHIFTED = Version("v1", "Shifted", {"near": Move(120.0), "far": Move(-30.0, -1), "room": Move(0.0)})


def samples_of(path: Path) -> np.ndarray:
    samples, _ = soundfile.read(path, dtype="int32", always_2d=True)
    return samples[:, 0]


def test_every_file_has_one_start_one_length_and_its_samples_bit_for_bit(tmp_path: Path) -> None:
    session = noise_take(tmp_path / "in")
    delivery = write_stems(session, SHIFTED, open_clips(session), tmp_path / "out")
    assert [path.name for path in delivery] == [
        "Invented take - Near - Shifted.wav",
        "Invented take - Far - Shifted.wav",
        "Invented take - Room - Shifted.wav",
    ]
    near, far, room = (samples_of(path) for path in delivery)
    assert len(near) == len(far) == len(room) == 500 + 9_000
    sources = [samples_of(lane.source.path) for lane in session.lanes]
    assert np.array_equal(near[120:9_120], sources[0])
    assert np.array_equal(far[470:9_470], -sources[1])
    assert np.array_equal(room[:9_000], sources[2])
    assert not near[:120].any() and not near[9_120:].any()
    assert [file.copied for file in delivery.files] == [True, False, True]  # the flipped one is no copy
    assert delivery.warnings == ()
    assert sorted(entry.name for entry in (tmp_path / "out").iterdir()) == sorted(p.name for p in delivery)


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_source_depth_is_kept_and_others_can_be_chosen(tmp_path: Path, subtype: str) -> None:
    session = noise_take(tmp_path / "in", subtype=subtype)
    clips = open_clips(session)
    kept = write_stems(session, SHIFTED, clips, tmp_path / "kept")
    assert {probe(path).subtype for path in kept} == {subtype}
    for depth, wanted in (("16", "PCM_16"), ("24", "PCM_24"), ("float", "FLOAT")):
        chosen = write_stems(session, SHIFTED, clips, tmp_path / depth, DeliveryOptions(depth=depth))
        assert {probe(path).subtype for path in chosen} == {wanted}
        assert chosen.files[0].copied == (
            depth == "float" or int(depth) >= int(subtype[-2:] if subtype != "FLOAT" else 99)
        )


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory) -> Session:
    return noise_take(tmp_path_factory.mktemp("take"))


@given(shift=st.floats(-200, 200), polarity=st.sampled_from([1, -1]))
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_float_files_are_what_the_blend_hears(
    take: Session, tmp_path: Path, shift: float, polarity: int
) -> None:
    version = Version("v1", "Shifted", {"far": Move(shift, polarity)})
    clips = open_clips(take)
    delivery = write_stems(take, version, clips, tmp_path, DeliveryOptions(depth="float", overwrite=True))
    start, stop = take.span(version)
    read, _ = soundfile.read(delivery.paths[1], dtype="float32")
    assert np.array_equal(read, lane_signal(take, version, take.lane("far"), clips, start, stop - start))


def test_a_shift_that_is_whole_but_for_a_trifle_is_copied(tmp_path: Path) -> None:
    session = noise_take(tmp_path / "in", subtype="PCM_16")
    for shift, whole in ((300.000007, 300), (-299.9995, -300), (0.0009, 0)):
        version = Version("v1", "Shifted", {"near": Move(shift)})
        out = tmp_path / str(shift)
        delivery = write_stems(session, version, open_clips(session), out)
        file, begin = delivery.files[0], max(whole, 0)
        assert (file.shift_samples, file.copied, file.subtype) == (whole, True, "PCM_16")
        copied = samples_of(delivery.paths[0])[begin : begin + 9_000]
        assert np.array_equal(copied, samples_of(session.lanes[0].source.path))


def test_a_lane_of_16_bits_moved_by_a_fraction_gets_24(tmp_path: Path) -> None:
    session = noise_take(tmp_path / "in", subtype="PCM_16")
    version = Version("v1", "Shifted", {"near": Move(10.5), "far": Move(10.0), "room": Move(0.0, 1, 2.0)})
    clips = open_clips(session)
    delivery = write_stems(session, version, clips, tmp_path / "out")
    assert [probe(path).subtype for path in delivery] == ["PCM_24", "PCM_16", "PCM_24"]
    assert "Near, Room: written with 24 bits" in delivery.warnings[0]
    told = write_stems(session, version, clips, tmp_path / "told", DeliveryOptions(depth="16"))
    assert [probe(path).subtype for path in told] == ["PCM_16"] * 3
    assert told.warnings == ()


def test_a_lane_lifted_above_full_scale_is_not_clipped_unasked(tmp_path: Path) -> None:
    """A square wave overshoots between its samples (Gibbs, 9 % of its step)."""
    square = np.where(np.arange(9_000) // 50 % 2, 0.999, -0.999).astype(np.float32)
    session = Session(48_000, (lane_on_disk(tmp_path / "Loud.wav", square),), name="Take")
    version = Version("v1", "Shifted", {"loud": Move(0.5)})
    clips = open_clips(session)
    delivery = write_stems(session, version, clips, tmp_path / "out")
    assert (delivery.files[0].subtype, delivery.files[0].clipped_samples) == ("FLOAT", 0)
    assert "Loud: written as 32-bit float" in delivery.warnings[0]
    start, stop = session.span(version)
    read, _ = soundfile.read(delivery.paths[0], dtype="float32")
    lane = session.lanes[0]
    assert np.array_equal(read, lane_signal(session, version, lane, clips, start, stop - start))
    asked = write_stems(session, version, clips, tmp_path / "asked", DeliveryOptions(depth="24"))
    assert asked.files[0].clipped_samples > 0


def test_whole_samples_only(tmp_path: Path) -> None:
    session = noise_take(tmp_path / "in")
    version = Version("v1", "Shifted", {"near": Move(100.6, rate_ppm=3.0)})
    delivery = write_stems(
        session, version, open_clips(session), tmp_path / "out", DeliveryOptions(whole_samples=True)
    )
    assert delivery.files[0].shift_samples == 101.0
    assert delivery.files[0].copied
    assert np.array_equal(samples_of(delivery.paths[0])[101:9_101], samples_of(session.lanes[0].source.path))


def test_dither_only_where_something_was_computed(tmp_path: Path) -> None:
    """16 bits asked for: the shifted lane is dithered by triangular noise, its error q/2 rms (-96.3 dBFS)."""
    session = noise_take(tmp_path / "in", subtype="PCM_16", frames=48_000)
    version = Version("v1", "Shifted", {"near": Move(10.5), "far": Move(10.0)})
    clips = open_clips(session)
    exact = write_stems(session, version, clips, tmp_path / "f", DeliveryOptions(depth="float"))
    dithered = write_stems(session, version, clips, tmp_path / "d", DeliveryOptions(depth="16"))
    plain = write_stems(session, version, clips, tmp_path / "p", DeliveryOptions(depth="16", dither=False))

    def error_db(delivery: object, lane: int) -> float:
        written, _ = soundfile.read(list(delivery)[lane], dtype="float64")  # type: ignore[call-overload]
        wanted, _ = soundfile.read(exact.paths[lane], dtype="float64")
        inner = slice(2_000, 40_000)
        return float(10 * np.log10(np.square(written - wanted)[inner].mean() + 1e-30))

    assert error_db(dithered, 0) == pytest.approx(-96.33, abs=0.1)
    assert error_db(plain, 0) == pytest.approx(-101.10, abs=0.1)
    assert error_db(dithered, 1) < -250
    again = write_stems(session, version, clips, tmp_path / "again", DeliveryOptions(depth="16"))
    assert np.array_equal(samples_of(again.paths[0]), samples_of(dithered.paths[0]))


def test_one_time_stamp_for_the_whole_set(tmp_path: Path) -> None:
    session = replace(noise_take(tmp_path / "in"), time_reference=1_000_000)
    early = Version("v1", "Early", {"near": Move(-250.0), "far": Move(77.25)})
    delivery = write_stems(session, early, open_clips(session), tmp_path / "out")
    infos = [probe(path) for path in delivery]
    assert {info.time_reference for info in infos} == {1_000_000 - 250}
    assert {info.frames for info in infos} == {250 + 500 + 9_000 + 78}
    stamp = Version("v1", "Early", {"near": Move(-250.0)})
    at_midnight = replace(session, time_reference=100)
    clamped = write_stems(at_midnight, stamp, open_clips(session), tmp_path / "clamped")
    assert {probe(path).bext.time_reference for path in clamped} == {0}  # type: ignore[union-attr]
    assert "before midnight" in clamped.warnings[0]


def test_metadata_of_the_recordings_is_carried_and_moved(tmp_path: Path) -> None:
    bext = Bext("Wooden flute, close", "Recorder One", "REF1", "2026-05-06", "10-00-00", 5_000_000)
    info = Chunk(b"LIST", b"INFOIART\x08\0\0\0Nobody\0\0")
    chunks = [Chunk(b"bext", pack_bext(bext)), info, *pack_cues((CuePoint(1, 1_000),))]
    lanes = (
        lane_on_disk(tmp_path / "Near.wav", noise(9_000)[:, 0], chunks=chunks),
        lane_on_disk(tmp_path / "Room.wav", noise(9_000, seed=1)[:, 0]),
    )
    session = Session(48_000, lanes, name="Take", time_reference=5_000_000)
    version = Version("v1", "Shifted", {"near": Move(101.37, -1)})
    delivery = write_stems(session, version, open_clips(session), tmp_path / "out")
    near = probe(delivery.paths[0]).bext
    assert near is not None
    assert (near.description, near.originator, near.date) == (
        "Wooden flute, close",
        "Recorder One",
        "2026-05-06",
    )
    assert near.version == 2
    assert "shift +101.370 samples; polarity -1" in near.coding_history
    assert near.loudness_lufs is None or near.loudness_lufs < 0  # 0.2 s is shorter than a gating block
    assert near.max_true_peak_dbtp is not None
    layout = read_layout(delivery.paths[0])
    assert layout is not None
    found = {place.id: read_chunk(delivery.paths[0], place) for place in layout.chunks if place.id != b"data"}
    assert found[b"LIST"] == info.data
    assert [point.at_samples for point in parse_cues(found[b"cue "])] == [1_101]
    room = probe(delivery.paths[1]).bext
    assert room is not None
    assert (room.description, room.originator) == ("Take, Room", "Lagline")
    bare = write_stems(
        session, version, open_clips(session), tmp_path / "bare", DeliveryOptions(carry_metadata=False)
    )
    assert probe(bare.paths[0]).bext.description == "Take, Near"  # type: ignore[union-attr]


def test_another_rate_keeps_lanes_together(tmp_path: Path) -> None:
    session = replace(noise_take(tmp_path / "in", frames=44_100, rate_hz=44_100), time_reference=44_100)
    delivery = write_stems(
        session, SHIFTED, open_clips(session), tmp_path / "out", DeliveryOptions(rate_hz=48_000)
    )
    infos = [probe(path) for path in delivery]
    assert {(info.rate_hz, info.frames) for info in infos} == {(48_000, -(-44_600 * 480 // 441))}
    assert {info.time_reference for info in infos} == {48_000}
    assert not any(file.copied for file in delivery.files)


def test_flac_says_that_it_has_no_stamp(tmp_path: Path) -> None:
    session = noise_take(tmp_path / "in")
    delivery = write_stems(
        session,
        SHIFTED,
        open_clips(session),
        tmp_path / "out",
        DeliveryOptions(file_format="FLAC", depth="float"),
    )
    assert {probe(path).format for path in delivery} == {"FLAC"}
    assert any("Few editors read a time stamp" in warning for warning in delivery.warnings)
    assert np.array_equal(samples_of(delivery.paths[0])[120:9_120], samples_of(session.lanes[0].source.path))


def test_samples_that_do_not_fit_are_said(tmp_path: Path) -> None:
    loud = lane_on_disk(tmp_path / "Loud.wav", np.full(1_000, 1.5, np.float32), subtype="FLOAT")
    session = Session(48_000, (loud,), name="Take")
    delivery = write_stems(
        session, SHIFTED, open_clips(session), tmp_path / "out", DeliveryOptions(depth="24")
    )
    assert delivery.files[0].clipped_samples == 1_000
    assert "Loud: 1000 samples did not fit" in delivery.warnings[0]


def test_all_or_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    session = noise_take(tmp_path / "in")
    out = tmp_path / "out"
    clips = open_clips(session)
    made = 0
    real = write_module.open_to_write

    def third_fails(path: Path) -> object:
        nonlocal made
        made += 1
        if made == 3:
            raise OSError(28, "No space left on device")
        return real(path)

    with monkeypatch.context() as patch:
        patch.setattr(write_module, "open_to_write", third_fails)
        with pytest.raises(CannotWrite):
            write_stems(session, SHIFTED, clips, out)
    assert not out.exists()
    with pytest.raises(Cancelled):
        write_stems(session, SHIFTED, clips, out, cancelled=lambda: True)
    assert not out.exists()
    session.lanes[2].source.path.unlink()
    with pytest.raises(FileMissing, match=r"Room\.wav"):
        write_stems(session, SHIFTED, open_clips(session), out)
    assert not out.exists()


def test_never_over_the_recordings(tmp_path: Path) -> None:
    session = noise_take(tmp_path / "in")
    before = {path: path.read_bytes() for path in (tmp_path / "in").iterdir()}
    options = DeliveryOptions(names="{lane}", overwrite=True)
    with pytest.raises(WouldOverwrite, match="own recordings"):
        write_stems(session, SHIFTED, open_clips(session), tmp_path / "in", options)
    assert {path: path.read_bytes() for path in (tmp_path / "in").iterdir()} == before


def test_again_into_the_same_folder_only_when_asked(tmp_path: Path) -> None:
    session = noise_take(tmp_path / "in")
    clips = open_clips(session)
    write_stems(session, SHIFTED, clips, tmp_path / "out")
    seen: list[float] = []
    with pytest.raises(WouldOverwrite):
        write_stems(session, SHIFTED, clips, tmp_path / "out", progress=seen.append)
    assert seen == []  # said before anything was rendered
    write_stems(session, SHIFTED, clips, tmp_path / "out", DeliveryOptions(overwrite=True))
    assert len(list((tmp_path / "out").iterdir())) == 3


def test_progress_runs_from_start_to_end(tmp_path: Path) -> None:
    session = noise_take(tmp_path / "in")
    seen: list[float] = []
    write_stems(session, SHIFTED, open_clips(session), tmp_path / "out", progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == 1.0
