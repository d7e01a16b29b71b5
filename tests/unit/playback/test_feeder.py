"""The feeder: what it does while the audio thread goes on, paused or playing."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from msgspec.structs import replace
from tests.support.array_clips import ArrayClip, FloatArray, noise_clips, session_of

from lagline.blend.mix import blend
from lagline.errors import FileMissing
from lagline.playback.board import Board, Field
from lagline.playback.feeder import BLEND_IN_S, Feeder, Material
from lagline.playback.guard import NO_LIMIT
from lagline.playback.mixer import Mixer
from lagline.playback.reels import Handover
from lagline.playback.views import View, Wanted
from lagline.session import edits
from lagline.session.values import Move, Session, Version

RATE_HZ = 48_000
VERSION = Version(id="v1", name="x", moves={"a": Move(-5.5)})
IDS = ("original", "v1")


@pytest.fixture(params=[False, True], ids=["versions", "lanes"], autouse=True)
def is_mixed(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> bool:
    """Everything holds whether versions are rendered ahead, or lanes that versions are mixed from."""
    monkeypatch.setattr(Rig, "is_mixed", request.param)
    return bool(request.param)


class Rig:
    """A mixer and its feeder over clips in memory."""

    is_mixed = False

    def __init__(self, clips: dict[str, ArrayClip], session: Session | None = None, **wanted: object) -> None:
        self.clips = clips
        self.session = session or session_of(clips, VERSION)
        self.said: list[str] = []
        self.board = Board()
        self.mixer = Mixer(RATE_HZ, self.board)
        self.mixer.wanted = replace(Wanted(playing=True, monitor_gain=1.0, most_rise_db=NO_LIMIT), **wanted)
        self.feeder = Feeder(self.mixer, lambda _: clips, self.said.append, ahead_s=0.3)
        self.show()

    def show(self, session: Session | None = None, loop: tuple[int, int] | None = None) -> None:
        self.session = session or self.session
        self.feeder.show(Material(self.session, IDS, loop, is_mixed=self.is_mixed))

    def feed(self) -> None:
        while self.feeder.work():
            pass

    def play(self, blocks: int, frames: int = 256) -> FloatArray:
        out = np.zeros((blocks * frames, 2), np.float32)
        for n in range(blocks):
            self.feed()
            self.mixer.fill(out[n * frames : (n + 1) * frames])
        return out


def test_an_edit_while_playing_is_heard_within_150_ms():
    rig = Rig(noise_clips(2, 3 * RATE_HZ))
    rig.play(40)
    louder = edits.with_gain(rig.session, "a", -20.0)
    rig.show(louder)
    out = rig.play(40)
    start = 40 * 256 - rig.mixer.delay_frames
    new = blend(louder, louder.original, rig.clips, start, len(out))
    settled = np.flatnonzero((out != new).any(axis=1))[-1] + 1
    assert settled < 0.15 * RATE_HZ
    assert rig.board[Field.STARVED] == 0


class SlowClip(ArrayClip):
    """While it is read, the audio thread plays on."""

    meanwhile: Callable[[], None] = staticmethod(lambda: None)

    def read(self, start: int, stop: int) -> FloatArray:
        self.meanwhile()
        return super().read(start, stop)


def test_a_splice_that_comes_too_late_is_made_again_further_ahead():
    clips = {key: SlowClip(clip.samples) for key, clip in noise_clips(3, 3 * RATE_HZ).items()}
    rig = Rig(clips)
    rig.play(4)
    offers: list[Handover] = []

    def play_on() -> None:
        rig.mixer.fill(np.zeros((480, 2), np.float32))
        if rig.mixer.offer is not None and rig.mixer.offer not in offers:
            offers.append(rig.mixer.offer)

    for clip in clips.values():
        clip.meanwhile = play_on
    edited = edits.with_gain(rig.session, "a", -20.0)
    rig.show(edited)
    for _ in range(40):
        rig.feeder.work()
    assert len(offers) >= 3, "nothing came too late, so nothing was tested"
    assert rig.mixer.answered == (offers[-1], True)
    assert rig.board[Field.STARVED] == 0
    for clip in clips.values():
        clip.meanwhile = lambda: None
    rig.play(math.ceil(BLEND_IN_S * RATE_HZ / 256))  # past the crossing from the old sound to the new
    reel, index = rig.mixer.place
    out = np.zeros((256, 2), np.float32)
    reel.copy(0, index, out)
    position = reel.programme.position(index)
    assert np.array_equal(out, blend(edited, edited.original, clips, position, 256))


def test_edits_while_paused_need_no_margin_and_keep_the_place():
    rig = Rig(noise_clips(2, 3 * RATE_HZ))
    rig.play(40)
    rig.mixer.wanted = replace(rig.mixer.wanted, playing=False)
    rig.play(4)
    place = rig.board[Field.POSITION]
    for gain_db in (-3.0, -6.0, -9.0):
        rig.show(edits.with_gain(rig.session, "a", gain_db))
        rig.play(1)
    assert rig.board[Field.POSITION] == place
    rig.mixer.wanted = replace(rig.mixer.wanted, playing=True)
    out = rig.play(8)[rig.mixer.delay_frames + 240 :]
    new = blend(rig.session, rig.session.original, rig.clips, int(place) + 240, len(out))
    assert np.array_equal(out, new)


def test_a_jump_and_an_edit_before_it_is_made_both_count():
    rig = Rig(noise_clips(2, 3 * RATE_HZ))
    rig.play(10)
    rig.feeder.jump(50_000)
    rig.feeder.work()
    edited = edits.with_mute(rig.session, "b", True)
    rig.show(edited)
    out = rig.play(10)[rig.mixer.delay_frames + 480 :]
    assert np.array_equal(out, blend(edited, edited.original, rig.clips, 50_240, len(out)))


def test_a_loop_set_elsewhere_is_gone_to_at_once():
    rig = Rig(noise_clips(1, 3 * RATE_HZ))
    rig.play(10)
    rig.show(loop=(60_000, 70_000))
    rig.play(4)
    assert 60_000 <= rig.board[Field.POSITION] < 70_000
    rig.play(120)
    assert 60_000 <= rig.board[Field.POSITION] < 70_000
    assert rig.board[Field.STARVED] == 0


def test_what_is_ahead_is_bounded():
    rig = Rig(noise_clips(1, 3 * RATE_HZ))
    rig.play(3)
    reel, index = rig.mixer.place
    assert 0 < reel.written - index <= reel.capacity == round(0.3 * RATE_HZ)


def test_a_clock_that_stands_still_stops_nothing(monkeypatch: pytest.MonkeyPatch):
    """Some systems tell time in steps that are longer than rendering takes."""
    monkeypatch.setattr("lagline.playback.feeder.time", SimpleNamespace(perf_counter=lambda: 5.0))
    rig = Rig(noise_clips(1, 3 * RATE_HZ))
    assert rig.play(60)[-1_000:].any()
    assert rig.board[Field.STARVED] == 0


def test_an_edit_after_a_jump_and_a_switch_at_once_are_all_heard():
    """Right after a jump little is rendered, so the splice of the edit lies near the end of it."""
    rig = Rig(noise_clips(2, 3 * RATE_HZ))
    rig.play(20)
    rig.feeder.block_frames = 256
    rig.feeder.jump(50_000)
    rig.feeder.work()
    rig.mixer.fill(np.zeros((512, 2), np.float32))
    edited = edits.with_mute(rig.session, "b", True)
    rig.show(edited)
    rig.feeder.work()
    assert rig.mixer.offer is not None and rig.mixer.offer.at is not None
    rig.mixer.wanted = replace(rig.mixer.wanted, view=View("v1", turn=1))
    out = rig.play(40)
    assert rig.board[Field.STARVED] == 0
    position = int(rig.board[Field.POSITION])
    assert np.array_equal(out[-256:], blend(edited, edited.current_version, rig.clips, position - 256, 256))


class GoneClip(ArrayClip):
    gone = True

    def read(self, start: int, stop: int) -> FloatArray:
        if self.gone:
            raise FileMissing(Path("gone.wav"))
        return super().read(start, stop)


def test_a_recording_that_cannot_be_read_is_silent_and_said_once():
    clips = noise_clips(2, RATE_HZ)
    clips["b"] = GoneClip(clips["b"].samples)
    rig = Rig(clips)
    out = rig.play(20)[rig.mixer.delay_frames + 240 :]
    assert np.array_equal(out, blend(rig.session, rig.session.original, {"a": clips["a"]}, 240, len(out)))
    assert len(rig.said) == 1
    assert "lane b" in rig.said[0] and "gone.wav" in rig.said[0]


def test_views_are_ready_to_switch_without_the_feeder():
    rig = Rig(noise_clips(2, RATE_HZ))
    rig.play(10)
    rig.mixer.wanted = replace(rig.mixer.wanted, view=View("v1", turn=1))
    out = np.zeros((2_048, 2), np.float32)
    rig.mixer.fill(out)
    start = 2_560 - rig.mixer.delay_frames
    new = blend(rig.session, rig.session.current_version, rig.clips, start, len(out))
    assert np.array_equal(out[rig.mixer.delay_frames + 480 :], new[rig.mixer.delay_frames + 480 :])


@pytest.mark.parametrize("shift", [-300.25, 500.5])
def test_the_end_of_the_longest_version_ends_the_programme(shift: float):
    clips = noise_clips(1, 10_000)
    version = Version(id="v1", name="x", moves={"a": Move(shift)})
    rig = Rig(clips, session_of(clips, version))
    rig.play(60)
    assert (
        rig.mixer.place[1] == max(10_000, 10_000 + int(np.ceil(shift))) - rig.mixer.place[0].programme.start
    )


def steady_rig() -> Rig:
    """A lane that stands still: every dip and every step shows."""
    rig = Rig({"a": ArrayClip(np.full(3 * RATE_HZ, 0.5))})
    rig.play(40)
    return rig


def test_an_edit_goes_over_without_a_dip_in_what_is_heard():
    rig = steady_rig()
    level = float(rig.play(1)[-1, 0])
    rig.show(edits.with_gain(rig.session, "a", -6.0))
    out = rig.play(60)[:, 0]
    assert out[-1] == pytest.approx(level * 10 ** (-6 / 20), rel=1e-4)
    assert out.min() == pytest.approx(out[-1], rel=1e-4)
    assert np.abs(np.diff(out)).max() < level * np.pi / 2 / (BLEND_IN_S * RATE_HZ)


def test_what_is_switched_to_before_an_edit_is_made_is_gone_to_in_silence_rather_than_with_a_click():
    rig = steady_rig()
    level = float(rig.play(1)[-1, 0])
    rig.feeder.show(Material(edits.with_gain(rig.session, "a", -20.0), IDS, is_mixed=rig.is_mixed))
    while rig.mixer.offer is rig.mixer.answered[0]:
        assert rig.feeder.work()
    rig.mixer.wanted = replace(rig.mixer.wanted, view=View("v1"))  # its beginning was not mixed
    out = rig.play(60)[:, 0]
    assert out[-1] == pytest.approx(level / 10, rel=1e-4)
    assert np.abs(np.diff(out)).max() < 1.01 * level * np.pi / 2 / (0.005 * RATE_HZ)
