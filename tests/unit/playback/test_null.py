"""What is heard is what is written: a rendered file taken from what playback sends out leaves nothing."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.support.short_take import RATE_HZ, take

from lagline.blend.clips import open_clips
from lagline.blend.loudness_match import matched_gains
from lagline.blend.mix import ClipLike
from lagline.blend.passage import fade_frames
from lagline.combinations.cells import board_session, laid_out, parts_of
from lagline.deliver.blends import write_blend
from lagline.deliver.options import DeliveryOptions
from lagline.jobs.combine import hand_over_cells
from lagline.playback.board import Board
from lagline.playback.feeder import Feeder, Material
from lagline.playback.guard import NO_LIMIT
from lagline.playback.mixer import Mixer
from lagline.playback.views import View, Wanted
from lagline.session.values import Session
from lagline.units import db_to_gain


@pytest.mark.parametrize("is_mixed", [False, True])
@pytest.mark.parametrize("version_id", ["original", "v1"])
def test_playback_minus_render_is_nothing(tmp_path: Path, version_id: str, is_mixed: bool):
    session = take(tmp_path)
    version = session.version(version_id)
    clips = open_clips(session)
    folder = tmp_path / "out"
    folder.mkdir()
    write_blend(session, version, clips, folder / "blend.wav", DeliveryOptions(depth="float"))
    written, rate_hz = soundfile.read(folder / "blend.wav", dtype="float32")
    start = min(0, *(int(np.floor(version.move(lane.id).shift_samples)) for lane in session.lanes))

    sent = captured(session, clips, version_id, ("original", "v1"), start, len(written), is_mixed)
    inner = slice(fade_frames(RATE_HZ), 80_000)
    assert rate_hz == RATE_HZ and len(written) > 85_000
    assert np.array_equal(sent[inner] - written[inner], np.zeros_like(sent[inner]))


def test_every_combination_as_heard_minus_its_file_is_nothing(tmp_path: Path):
    session = take(tmp_path)
    cells = laid_out(parts_of(session), ("original", "v1"))
    done = hand_over_cells(session, cells, tmp_path / "out", DeliveryOptions(depth="float", peak_dbtp=None))
    board = board_session(session, cells)
    clips, ids = open_clips(board), tuple(cell.id for cell in cells)
    start, stop = board.span(*board.versions)
    gains = matched_gains(board, clips).gains_db
    files = [path for path in done.paths if path.suffix == ".wav"]
    for cell, path in zip(cells, files, strict=True):
        written, _ = soundfile.read(path, dtype="float32")
        sent = captured(board, clips, cell.id, ids, start, stop - start, True) * np.float32(
            db_to_gain(gains[cell.id])
        )
        inner = slice(fade_frames(RATE_HZ), 80_000)
        assert len(written) > 85_000
        assert np.abs(sent[inner] - written[inner]).max() < 1e-6, cell.name  # -120 dB


def captured(
    session: Session,
    clips: Mapping[str, ClipLike],
    version_id: str,
    ready: tuple[str, ...],
    start: int,
    frames: int,
    is_mixed: bool,
) -> np.ndarray:
    """What playback sends out of a version, from a session time on, at a gain of 1."""
    mixer = Mixer(RATE_HZ, Board())
    feeder = Feeder(mixer, lambda _: clips, pytest.fail)
    feeder.show(Material(session, ready, is_mixed=is_mixed))
    feeder.jump(start)
    mixer.wanted = Wanted(playing=True, monitor_gain=1.0, view=View(version_id), most_rise_db=NO_LIMIT)
    sent = np.zeros((frames + mixer.delay_frames, 2), np.float32)
    for first in range(0, len(sent), 512):
        while feeder.work():
            pass
        mixer.fill(sent[first : first + 512])
    return sent[mixer.delay_frames :]
