"""Lanes whose clock ran away: drift taken out in the files, one start and one length all the same."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.support.takes import lane_on_disk

from lagline.blend.clips import open_clips
from lagline.deliver.blends import write_blend
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.stems import write_stems
from lagline.media.cue import CuePoint, pack_cues, parse_cues
from lagline.media.riff import read_chunk, read_layout
from lagline.session.values import Move, Session, Version

RATE_HZ = 48_000
SECONDS = 4
PPM = -400.0  # the lane's clock is slow, so what it hears seems to come ever earlier
LATE = 250.0
EVENTS = np.arange(1, SECONDS) * RATE_HZ


def pulses(places: np.ndarray, frames: int) -> np.ndarray:
    """Smooth bumps, 0.5 high, centred between samples where need be."""
    times = np.arange(frames)
    return sum(0.5 * np.exp(-0.5 * ((times - place) / 6.0) ** 2) for place in places).astype(np.float32)


@pytest.fixture
def take(tmp_path: Path) -> tuple[Session, Version]:
    heard = EVENTS * (1 + PPM * 1e-6) + LATE
    marks = pack_cues(tuple(CuePoint(n, round(at)) for n, at in enumerate(heard, start=1)))
    # The slow clock counts fewer samples in the same time.
    frames = round(SECONDS * RATE_HZ * (1 + PPM * 1e-6))
    lanes = (
        lane_on_disk(tmp_path / "Near.wav", pulses(EVENTS, SECONDS * RATE_HZ)),
        lane_on_disk(tmp_path / "Far.wav", pulses(heard, frames), chunks=marks),
    )
    version = Version("v1", "Shifted", {"far": Move(-LATE, rate_ppm=PPM)})
    return Session(RATE_HZ, lanes, name="Two clocks", time_reference=RATE_HZ), version


def test_the_lanes_fit_from_the_first_event_to_the_last(
    take: tuple[Session, Version], tmp_path: Path
) -> None:
    session, version = take
    delivery = write_stems(session, version, open_clips(session), tmp_path / "out")
    near, far = (soundfile.read(path)[0] for path in delivery)
    start, stop = session.span(version)
    assert len(near) == len(far) == stop - start
    assert start < 0 and stop >= SECONDS * RATE_HZ
    assert np.abs(near - far).max() < 2e-3
    assert delivery.warnings == ()


def test_marks_stay_on_their_events(take: tuple[Session, Version], tmp_path: Path) -> None:
    session, version = take
    start = session.span(version)[0]
    far = write_stems(session, version, open_clips(session), tmp_path / "out").paths[1]
    layout = read_layout(far)
    assert layout is not None
    place = layout.first(b"cue ")
    assert place is not None
    marks = [point.at_samples for point in parse_cues(read_chunk(far, place))]
    assert marks == pytest.approx(EVENTS - start, abs=1.0)


def test_a_lane_that_lasts_longer_is_not_cut_off(tmp_path: Path) -> None:
    """The end of the recording is in the file: 10 000 ppm make a second of 48 000 into 48 485 samples."""
    samples = np.full(RATE_HZ, 0.25, np.float32)
    lane = lane_on_disk(tmp_path / "Far.wav", samples)
    session = Session(RATE_HZ, (lane,), name="Slow clock")
    version = Version("v1", "Shifted", {"far": Move(rate_ppm=-10_000.0)})
    (path,) = write_stems(session, version, open_clips(session), tmp_path / "out")
    (written, _) = soundfile.read(path)
    assert len(written) == 48_485
    assert np.abs(written[48_000:48_400] - 0.25).max() < 1e-3


def test_whole_samples_keep_the_drift_and_say_so(take: tuple[Session, Version], tmp_path: Path) -> None:
    session, version = take
    clips, options = open_clips(session), DeliveryOptions(whole_samples=True)
    stems = write_stems(session, version, clips, tmp_path / "stems", options)
    blend = write_blend(session, version, clips, tmp_path / "blend" / "blend.wav", options)
    for delivery in (stems, blend):
        assert any("drift" in warning for warning in delivery.warnings)
    copied, _ = soundfile.read(stems.paths[1], dtype="int32")
    source, _ = soundfile.read(session.lanes[1].source.path, dtype="int32")
    assert np.array_equal(copied[: len(source)], source)
    assert {soundfile.info(path).frames for path in (*stems, *blend)} == {SECONDS * RATE_HZ + int(LATE)}
