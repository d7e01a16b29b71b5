"""A delivered set as others take it: placed by time stamp, read by wavinfo, sox and soundfile.

EBU Tech 3285: TimeReference counts samples from midnight to the first sample of the file.
"""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from msgspec.structs import replace
from tests.support.takes import lane_on_disk
from wavinfo import WavInfoReader

from lagline.blend.clips import open_clips
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.stems import write_stems
from lagline.media.bext import Bext, pack_bext
from lagline.media.riff import Chunk
from lagline.session.values import Move, Session, Version

RATE_HZ = 48_000
TEN_O_CLOCK = 10 * 3_600 * RATE_HZ
CLICKS = {"Near": 5_000, "Room": 5_101, "Far": 5_350}  # where the stroke lies in each recording


def stamped_take(folder: Path, midnight_samples: int) -> Session:
    """Three recordings of one stroke with one stamp, Far's recorder started 200 samples later."""
    lanes = []
    for name, at in CLICKS.items():
        later = 200 if name == "Far" else 0
        samples = np.zeros(20_000, np.float32)
        samples[at - later] = 0.75
        stamp = Bext(description=name, time_reference=midnight_samples + later)
        chunks = [Chunk(b"bext", pack_bext(stamp))]
        lane = lane_on_disk(folder / f"{name}.wav", samples, chunks=chunks, place_samples=later)
        lanes.append(lane)
    return Session(RATE_HZ, tuple(lanes), name="Stroke", anchor_id="far", time_reference=midnight_samples)


def aligned(session: Session) -> Version:
    latest = max(CLICKS.values())
    moves = {lane.id: Move(float(latest - CLICKS[lane.name])) for lane in session.lanes}
    return Version("v1", "Shifted", moves)


@pytest.mark.parametrize("midnight_samples", [TEN_O_CLOCK, 2**32 + 12_345])
def test_an_editor_that_places_by_time_stamp_keeps_the_alignment(
    tmp_path: Path, midnight_samples: int
) -> None:
    session = stamped_take(tmp_path, midnight_samples)
    delivery = write_stems(session, aligned(session), open_clips(session), tmp_path / "out")
    places = []
    for path in delivery:
        info = WavInfoReader(str(path))
        assert info.bext is not None
        samples, _ = soundfile.read(path)
        places.append(info.bext.time_reference + int(np.argmax(np.abs(samples))))
    assert places == [midnight_samples + CLICKS["Far"]] * 3
    assert len({soundfile.info(path).frames for path in delivery}) == 1


@pytest.mark.skipif(shutil.which("sox") is None, reason="sox is not installed")
def test_sox_takes_the_difference_of_copy_and_recording_and_hears_nothing(tmp_path: Path) -> None:
    """Whole-sample stems against the recordings, trimmed and subtracted by sox: every sample equal."""
    session = stamped_take(tmp_path, TEN_O_CLOCK)
    version = aligned(session)
    delivery = write_stems(session, version, open_clips(session), tmp_path / "out")
    for lane, path in zip(session.lanes, delivery, strict=True):
        start = lane.place_samples + int(version.move(lane.id).shift_samples)
        trimmed = tmp_path / f"trimmed {lane.id}.wav"
        subprocess.run(["sox", path, trimmed, "trim", f"{start}s", "20000s"], check=True)
        told = subprocess.run(
            ["sox", "-m", "-v", "1", trimmed, "-v", "-1", lane.source.path, "-n", "stats"],
            capture_output=True, text=True, check=True,
        ).stderr  # fmt: skip
        levels = {line.split()[0]: line.split()[1:] for line in told.splitlines() if line.strip()}
        assert levels["Min"][-1] == levels["Max"][-1] == "0.000000", told


def test_another_rate_keeps_the_stroke_together_to_a_hundredth_of_a_sample(tmp_path: Path) -> None:
    session = stamped_take(tmp_path, TEN_O_CLOCK)
    options = DeliveryOptions(rate_hz=44_100, depth="float")
    delivery = write_stems(session, aligned(session), open_clips(session), tmp_path / "out", options)
    spectra = [np.fft.rfft(soundfile.read(path)[0]) for path in delivery]
    hz = np.fft.rfftfreq(soundfile.info(delivery.paths[0]).frames, 1 / 44_100)
    band = (hz > 100) & (hz < 18_000)
    for spectrum in spectra[1:]:
        turn = np.unwrap(np.angle(spectrum[band] * np.conj(spectra[0][band])))
        slope = np.polyfit(2 * np.pi * hz[band] / 44_100, turn, 1)[0]
        assert abs(slope) < 0.01
    references = {WavInfoReader(str(path)).bext.time_reference for path in delivery}  # type: ignore[union-attr]
    assert references == {10 * 3_600 * 44_100}


def test_the_loudest_place_is_told(tmp_path: Path) -> None:
    """A click on a sample at -2.5 dBFS has its true peak there."""
    session = stamped_take(tmp_path, TEN_O_CLOCK)
    session = replace(session, lanes=session.lanes[:1])
    (path,) = write_stems(session, aligned(session), open_clips(session), tmp_path / "out")
    info = WavInfoReader(str(path))
    assert info.bext is not None
    assert info.bext.max_true_peak == pytest.approx(20 * np.log10(0.75), abs=0.01)
