"""The timeline of a delivery, read by the OpenTimelineIO library."""

from pathlib import Path
from urllib.parse import unquote

import pytest
from msgspec.structs import replace
from tests.support.takes import noise_take

from lagline.blend.clips import open_clips
from lagline.deliver.hand_over import Order, hand_over
from lagline.media.probe import probe
from lagline.session.values import Move, Version

otio = pytest.importorskip("opentimelineio", reason="opentimelineio is not installed")


def test_every_file_lies_at_the_stamp_with_its_whole_length(tmp_path: Path) -> None:
    version = Version("v1", "Shifted 100 %", {"near": Move(-101.5, -1)}, note="Softer.")
    session = replace(noise_take(tmp_path / "in"), versions=(version,), time_reference=5 * 3600 * 48_000)
    order = Order(lanes_of=("v1",), timelines=True)
    delivery = hand_over(session, open_clips(session), tmp_path / "out", order)
    (path,) = [path for path in delivery if path.suffix == ".otio"]
    read = otio.adapters.read_from_file(str(path))
    assert isinstance(read, otio.schema.Timeline)
    assert read.name == "Invented take, Shifted 100 %"
    stamp = otio.opentime.RationalTime(5 * 3600 * 48_000 - 102, 48_000)
    assert read.global_start_time == stamp
    assert [track.name for track in read.audio_tracks()] == ["Near", "Far", "Room"]
    assert len(read.tracks) == 3
    for clip in read.find_clips():
        file = path.parent / unquote(clip.media_reference.target_url)
        info = probe(file)
        assert clip.source_range.start_time == stamp
        assert clip.source_range.duration == otio.opentime.RationalTime(info.frames, info.rate_hz)
        assert clip.media_reference.available_range == clip.source_range
        assert info.time_reference == stamp.value
        assert clip.range_in_parent().start_time.value == 0
    near = next(iter(read.find_clips()))
    assert near.metadata["lagline"]["shift_samples"] == -101.5
    assert near.metadata["lagline"]["polarity"] == -1
