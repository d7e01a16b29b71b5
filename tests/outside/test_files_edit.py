"""The edit over the recordings, opened by the OpenTimelineIO library, and its blend made without our code.

A blend that an editor makes from the edit must be the one we print: the sum below knows nothing but the
timeline, the recordings, and what the guide says of the metadata.
"""

from __future__ import annotations

import csv
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import pytest
import soundfile
from msgspec.structs import replace
from tests.support.recordings import noise
from tests.support.takes import noise_take

from lagline.deliver.options import DeliveryOptions
from lagline.jobs.hand_over import hand_over_take
from lagline.media.probe import probe
from lagline.media.write import write_audio
from lagline.session.values import Balance, Lane, Move, Session, Source, Version

otio = pytest.importorskip("opentimelineio", reason="opentimelineio is not installed")
OPTIONS = DeliveryOptions(depth="float", peak_dbtp=None)


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """Three files of one channel and one of two, whose second channel takes part; one lane is muted."""
    take = noise_take(tmp_path / "in", frames=48_000)
    pair = tmp_path / "in" / "Pair 50 %.wav"
    write_audio(pair, [noise(30_000, 2, seed=9)], 48_000, 2, frames=30_000)
    info = probe(pair)
    source = Source(pair, 1, 48_000, info.frames, info.size_bytes, info.subtype)
    lanes = (
        *take.lanes[:2],
        take.lanes[2],
        Lane("right", "Right", source, place_samples=1_000),
        replace(take.lanes[0], id="muted", name="Muted"),
    )
    moves = {"near": Move(120.25, -1), "far": Move(-30.0), "right": Move(-3.4)}
    balances = {"room": Balance(-4.5, -0.6), "right": Balance(2.0, 1.0), "muted": Balance(mute=True)}
    return replace(
        take,
        lanes=lanes,
        versions=(Version("v1", "Shifted", moves, balances),),
        time_reference=48_000 * 3_600,
    )


def rebuilt(path: Path, frames: int) -> np.ndarray:
    """The blend of the edit: shape (frames, 2)."""
    edit = otio.adapters.read_from_file(str(path))
    blend = np.zeros((frames, 2))
    for track in edit.audio_tracks():
        (clip,) = track.find_clips()
        if not clip.enabled:
            continue
        said = clip.metadata["lagline"]
        file = path.parent / unquote(clip.media_reference.target_url)
        samples = soundfile.read(file, always_2d=True)[0][:, said["channel"] - 1]
        first = round(clip.source_range.start_time.value)
        samples = samples[first : first + round(clip.source_range.duration.value)]
        at = round(clip.range_in_parent().start_time.value)
        turn = np.exp(-2j * np.pi * np.fft.rfftfreq(2 * frames) * said["fraction_samples"])
        placed = np.concatenate([np.zeros(at), samples])
        later = np.fft.irfft(np.fft.rfft(placed, 2 * frames) * turn)[:frames]
        angle = (said["pan"] + 1) * np.pi / 4
        gain = said["polarity"] * 10 ** (said["gain_db"] / 20)
        blend += gain * later[:, None] * [np.cos(angle), np.sin(angle)]
    return blend


def test_the_blend_made_from_the_edit_is_the_one_that_is_printed(tmp_path: Path, session: Session) -> None:
    done = hand_over_take(session, tmp_path / "out", "v1", OPTIONS, edit="linked")
    (path,) = (path for path in done.paths if path.name.endswith("edit - Shifted.otio"))
    (printed,) = (path for path in done.paths if path.name.endswith("blend - Shifted.wav"))
    blend = soundfile.read(printed)[0]
    left, whole = (
        np.fft.rfft(sound[2_000:29_000] * np.hanning(27_000)[:, None], axis=0)[: 27_000 * 2 // 5]  # 19.2 kHz
        for sound in (rebuilt(path, len(blend)) - blend, blend)
    )
    assert 20 * np.log10(np.linalg.norm(left) / np.linalg.norm(whole)) < -100
    read = otio.adapters.read_from_file(str(path))
    assert read.global_start_time == otio.opentime.RationalTime(48_000 * 3_600, 48_000)
    assert [track.name for track in read.audio_tracks()] == ["Near", "Far", "Room", "Right", "Muted"]
    assert all(not Path(unquote(clip.media_reference.target_url)).is_absolute() for clip in read.find_clips())


def test_a_bundle_holds_the_recordings_themselves(tmp_path: Path, session: Session) -> None:
    done = hand_over_take(session, tmp_path / "out", "v1", OPTIONS, edit="bundle")
    (path,) = (path for path in done.paths if path.suffix == ".otioz")
    (tmp_path / "opened").mkdir()
    otio.adapters.read_from_file(str(path), extract_to_directory=str(tmp_path / "opened"))
    inside = tmp_path / "opened" / "content.otio"
    for clip in otio.adapters.read_from_file(str(inside)).find_clips():
        file = inside.parent / unquote(clip.media_reference.target_url)
        assert file.read_bytes() == (tmp_path / "in" / file.name).read_bytes()


def test_the_table_says_the_same(tmp_path: Path, session: Session) -> None:
    done = hand_over_take(session, tmp_path / "out", "v1", OPTIONS, edit="linked")
    (path,) = (path for path in done.paths if path.name.endswith("edit - Shifted.csv"))
    with path.open(newline="", encoding="utf-8") as file:
        rows = {row["lane"]: row for row in csv.DictReader(file)}
    near, right = rows["Near"], rows["Right"]
    assert (near["position_samples"], float(near["fraction_samples"]), near["polarity"]) == (
        "120",
        0.25,
        "-1",
    )
    assert (right["channel"], right["in_samples"], right["out_samples"]) == ("2", "0", "30000")
    assert int(right["position_samples"]) + float(right["fraction_samples"]) == pytest.approx(1_000 - 3.4)
    assert (path.parent / right["file"]).resolve() == tmp_path / "in" / "Pair 50 %.wav"
    assert [row["plays"] for row in rows.values()] == ["yes"] * 4 + ["no"]
