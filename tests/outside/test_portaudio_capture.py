"""The real PortAudio path, sample for sample, on an ALSA device that writes to a file.

PortAudio's ALSA host and ALSA's "file" plugin are the outside reference: what they were handed is compared
with the offline blend, bit by bit.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.support.alsa_capture import NAME, captured, configuration, require_portaudio, run_scripted
from tests.support.array_clips import FloatArray
from tests.support.playback_processes import until
from tests.support.short_take import FRAMES, LENGTH, RATE_HZ, START, VERSION, take

from lagline.blend.clips import open_clips
from lagline.blend.mix import blend
from lagline.blend.passage import fade_frames, rise
from lagline.playback.guard import NO_LIMIT
from lagline.playback.player import Player
from lagline.playback.protocol import Settings

FADE = fade_frames(RATE_HZ)
CURVE = rise(FADE)


def first_sound(sent: FloatArray) -> int:
    return int(np.flatnonzero(sent.any(axis=1))[0])


def faded_in(sound: FloatArray) -> FloatArray:
    return np.concatenate([sound[:FADE] * CURVE[1:], sound[FADE:]])


@pytest.mark.parametrize("switch_at", [20_000, 20_480])
def test_what_reaches_the_device_is_the_blend(tmp_path: Path, switch_at: int):
    require_portaudio()
    session = take(tmp_path)
    script = Path(__file__).parents[1] / "support" / "scripted_capture.py"
    sent = run_scripted(script, tmp_path, str(switch_at))
    sent = sent[first_sound(sent) :][:FRAMES]  # zeros: the device's own start and the limiter's look-ahead

    clips = open_clips(session)
    original = faded_in(blend(session, session.original, clips, START, FRAMES))
    shifted = blend(session, VERSION, clips, START, FRAMES)
    out, back = switch_at + FADE, switch_at + 2 * FADE
    assert np.array_equal(sent[:switch_at], original[:switch_at])
    assert np.array_equal(sent[switch_at:out], original[switch_at:out] * CURVE[FADE - 1 :: -1])
    assert np.array_equal(sent[out:back], shifted[out:back] * CURVE[1:])
    assert len(sent) >= FRAMES - 2_000
    assert np.array_equal(sent[back:], shifted[back : len(sent)])


def test_the_engine_process_sends_the_take_to_its_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Everything between: player, pipe, engine process, feeder thread, PortAudio."""
    require_portaudio()
    monkeypatch.setenv("ALSA_CONFIG_PATH", configuration(tmp_path))
    session = take(tmp_path)
    with Player(Settings(patient=True), measure_levels=False) as player:
        player.load(session)
        player.set_device(NAME)
        player.set_monitor_gain(0.0)
        player.set_guard(NO_LIMIT)
        player.seek(START)
        player.play()
        until(lambda: not player.state().playing)
        state = player.state()
        assert state.device_name == f"{NAME} (ALSA)" and not state.is_silent, state.message
        assert not state.playing and state.starved == 0
    sent = captured(tmp_path)
    sent = sent[first_sound(sent) :]
    _, stop = session.span(VERSION)  # the shifted version ends last, and the end is faded out
    assert stop > LENGTH
    whole = faded_in(blend(session, session.original, open_clips(session), START, stop - START))
    steady = len(whole) - FADE
    assert np.array_equal(sent[:steady], whole[:steady])
    assert not sent[len(whole) :].any()
