"""What is heard is what is written: an exact null between the device and the rendered file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from msgspec.structs import replace
from tests.support.alsa_capture import NAME, captured, configuration, require_portaudio
from tests.support.playback_processes import until
from tests.support.short_take import RATE_HZ, START, VERSION, take

from lagline.blend.passage import fade_frames
from lagline.deliver.options import DeliveryOptions
from lagline.jobs.hand_over import hand_over_take
from lagline.playback.guard import NO_LIMIT
from lagline.playback.player import Player
from lagline.playback.protocol import Settings
from lagline.session.values import Session

FADE = fade_frames(RATE_HZ)


def heard(session: Session, version_id: str, folder: Path) -> npt.NDArray[np.float32]:
    """The take from START on, through player, engine and PortAudio, as the device was sent it."""
    with Player(Settings(patient=True), measure_levels=False) as player:
        player.load(replace(session, level_match=False))
        player.set_device(NAME)
        player.set_monitor_gain(0.0)
        player.set_guard(NO_LIMIT)
        player.select(version_id)
        player.seek(START)
        player.play()
        until(lambda: not player.state().playing)
        assert not player.state().is_silent
    sent = captured(folder)
    return sent[int(np.flatnonzero(sent.any(axis=1))[0]) :]


@pytest.mark.parametrize(("version_id", "name"), [("original", "Original"), ("v1", "Shifted")])
def test_playback_nulls_with_the_rendered_blend(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, version_id: str, name: str
) -> None:
    require_portaudio()
    monkeypatch.setenv("ALSA_CONFIG_PATH", configuration(tmp_path))
    session = take(tmp_path)
    out = tmp_path / "delivery"
    hand_over_take(session, out, "v1", DeliveryOptions(depth="float"))
    (file,) = out.glob(f"*blend - {name}.wav")
    written: npt.NDArray[np.float32] = soundfile.read(file, dtype="float32", always_2d=True)[0]
    file_start, _ = session.span(VERSION)  # a lane is moved earlier than the first recording begins
    written = written[START - file_start :]
    sent = heard(session, version_id, tmp_path)
    # Between the play ramp of 5 ms and the fade at the end every sample is the same to the bit.
    steady = min(len(sent), len(written)) - 2 * FADE
    assert steady > 0.9 * len(written)
    assert np.array_equal(sent[FADE:steady], written[FADE:steady])
