"""What is heard is what is written: a rendered file taken from what playback sends out leaves nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.support.short_take import RATE_HZ, take

from lagline.blend.clips import open_clips
from lagline.blend.passage import fade_frames
from lagline.deliver.blends import write_blend
from lagline.deliver.options import DeliveryOptions
from lagline.playback.board import Board
from lagline.playback.feeder import Feeder, Material
from lagline.playback.guard import NO_LIMIT
from lagline.playback.mixer import Mixer
from lagline.playback.views import View, Wanted


@pytest.mark.parametrize("version_id", ["original", "v1"])
def test_playback_minus_render_is_nothing(tmp_path: Path, version_id: str):
    session = take(tmp_path)
    version = session.version(version_id)
    clips = open_clips(session)
    folder = tmp_path / "out"
    folder.mkdir()
    write_blend(session, version, clips, folder / "blend.wav", DeliveryOptions(depth="float"))
    written, rate_hz = soundfile.read(folder / "blend.wav", dtype="float32")
    start = min(0, *(int(np.floor(version.move(lane.id).shift_samples)) for lane in session.lanes))

    mixer = Mixer(RATE_HZ, Board())
    feeder = Feeder(mixer, lambda _: clips, pytest.fail)
    feeder.show(Material(session, ("original", "v1")))
    feeder.jump(start)
    mixer.wanted = Wanted(playing=True, monitor_gain=1.0, view=View(version.id), most_rise_db=NO_LIMIT)
    sent = np.zeros((len(written) + mixer.delay_frames, 2), np.float32)
    for first in range(0, len(sent), 512):
        while feeder.work():
            pass
        mixer.fill(sent[first : first + 512])
    sent = sent[mixer.delay_frames :]
    inner = slice(fade_frames(RATE_HZ), 80_000)
    assert rate_hz == RATE_HZ and len(written) > 85_000
    assert np.array_equal(sent[inner] - written[inner], np.zeros_like(sent[inner]))
