"""Renders what will be heard, ahead of the audio thread, and offers it new reels after seeks and edits."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Mapping

import numpy as np
from msgspec import Struct

from lagline.blend.mix import ClipLike, FloatArray, render_versions
from lagline.blend.passage import loop_allowed, rise
from lagline.playback.mixdown import Mixdown, Scratch
from lagline.playback.mixer import READY_S, Mixer
from lagline.playback.programme import Programme
from lagline.playback.reels import Handover, Reel
from lagline.playback.steady import SteadyClips
from lagline.session.values import ORIGINAL_ID, Session, Version

AHEAD_S = 2.0  # length of the rings
LEAST_SLICE_S, MOST_SLICE_S = 0.04, 0.25  # of sound rendered at a time: long slices cost less a sample ...
SLICE_TAKES_S = 0.01  # ... but a command waits for the slice to be done
EDIT_READY_S = 0.15  # of a change rendered before it is offered: the hearing guard wants to know what comes
BLEND_IN_S = 0.02  # an edit while playing goes over from the old to the new sound
LEAST_MARGIN_S = 0.015
MOST_MARGIN_S = 0.2

ClipOpener = Callable[[Session], Mapping[str, ClipLike]]


class Material(Struct, frozen=True):
    """What is to be rendered: the session, the versions kept ready for switching, the loop.

    leads : by version id, samples later at which a version is read, so that all of them are at the same
        moment of the music at any session time (`blend.same_moment`); empty to switch on one clock.
    is_mixed : render single lanes, and mix whichever version is heard: for many versions.
    """

    session: Session
    version_ids: tuple[str, ...] = (ORIGINAL_ID,)
    loop: tuple[int, int] | None = None
    leads: dict[str, int] = {}
    is_mixed: bool = False

    def programme_end(self) -> int:
        """Session sample after the last sound of any of the versions."""
        return self.session.span(*self.versions())[1]

    def versions(self) -> tuple[Version, ...]:
        """The versions kept ready, in the order of their reels."""
        return tuple(self.session.version(version_id) for version_id in self.version_ids)

    def render(self, clips: Mapping[str, ClipLike], position: int, frames: int) -> list[FloatArray]:
        """A stretch of every version, each float32, shape (frames, 2)."""
        versions = self.versions()
        leads = [self.leads.get(version_id, 0) for version_id in self.version_ids]
        blocks: dict[str, FloatArray] = {}
        for lead in dict.fromkeys(leads):
            together = [one for one, its_lead in zip(versions, leads, strict=True) if its_lead == lead]
            rendered = render_versions(self.session, together, clips, position + lead, frames)
            blocks.update(zip((version.id for version in together), rendered, strict=True))
        return [blocks[version_id] for version_id in self.version_ids]

    def sounds_as(self, other: Material) -> bool:
        """Whether each version is the same at the same session time."""
        return self.session == other.session and self.leads == other.leads


class Feeder:
    """Keeps the mixer supplied.

    `show` and `jump` may be called from any thread; `work` belongs to one. An edit takes effect a margin
    ahead of the playhead that grows when rendering is slow: a splice that the audio thread has passed is
    refused by it and made again further ahead.
    """

    def __init__(
        self,
        mixer: Mixer,
        open_clips: ClipOpener,
        report: Callable[[str], None],
        *,
        ahead_s: float = AHEAD_S,
    ) -> None:
        self.mixer = mixer
        self._capacity = math.ceil(ahead_s * mixer.rate_hz)
        self.woken = threading.Event()
        self.block_frames = 512  # of the device; set by the engine
        self._clips = SteadyClips(open_clips, report)
        self._rate_hz = mixer.rate_hz
        self._wanted: Material | None = None
        self._jump_to: tuple[int, int] | None = None
        self._token = 0  # of the last jump asked for
        self._mixdown: tuple[Material, Mixdown] | None = None  # the last one made
        self._edition: tuple[Material, int] | None = None  # what sounds different has a number of its own
        self._material: Material | None = None  # what the newest reel is rendered from
        self._before: Material | None = None  # what the reel before it was rendered from
        self._reel: Reel | None = None  # the newest reel: playing, or offered
        self._pending: Handover | None = None
        self._margin_s = LEAST_MARGIN_S
        self._slice_s = LEAST_SLICE_S

    def show(self, material: Material) -> None:
        """Render from this from now on; what plays goes over to it as soon as it can."""
        self._wanted = material
        self.woken.set()

    def jump(self, position: int, token: int = 0) -> None:
        """Go on from a session time: at once, and from there when play is pressed.

        `token` appears on the board when it is done.
        """
        self._jump_to = (position, token)
        self.woken.set()

    def work(self) -> bool:
        """Do one short piece of work; False when there is nothing to do."""
        self._settle_pending()
        wanted = self._wanted
        if wanted is None:
            return False
        jump, self._jump_to = self._jump_to, None
        if jump is not None or self._reel is None:
            position, self._token = jump or (0, 0)
            self._start_at(position, wanted)
            return True
        if wanted is not self._material and self._go_over(wanted):
            return True
        return self._top_up()

    def _settle_pending(self) -> None:
        """Learn what the audio thread did with the last offer."""
        if self._pending is None or self.mixer.answered[0] is not self._pending:
            return
        if not self.mixer.answered[1]:  # refused: too late, so do it again with more room
            self._margin_s = min(2.0 * self._margin_s, MOST_MARGIN_S)
            self._reel, self._material = self._pending.base, self._before
        self._pending = None

    def _start_at(self, position: int, material: Material) -> None:
        """Offer a reel that begins at a session time."""
        loop = loop_allowed(material.loop, self._rate_hz)
        reel = self._new_reel(Programme(position, material.programme_end(), loop), material)
        self._render(reel, material, round(READY_S * self._rate_hz))
        self._offer(Handover(reel, token=self._token), material)

    def _go_over(self, material: Material) -> bool:
        """Offer a reel of changed material that goes on from what plays; False to try again later."""
        pending, (playing, index) = self._pending, self.mixer.place
        if playing is None or (pending is not None and pending.at is None):
            offered = pending.reel if pending else self._reel
            self._start_at(offered.programme.start if offered else 0, material)  # a jump not yet made
            return True
        loop = loop_allowed(material.loop, self._rate_hz)
        here = playing.programme.position(index)
        if not self.mixer.wanted.playing:
            self._splice(playing, index, material, loop, overlap=0)
            return True
        if loop is not None and loop != playing.programme.loop and not loop[0] <= here < loop[1]:
            self._start_at(loop[0], material)
            return True
        began = time.perf_counter()
        at = index + round(self._margin_s * self._rate_hz) + 2 * self.block_frames
        overlap = round(BLEND_IN_S * self._rate_hz)
        # The old sound must be there to come from. Near the end there is none: the change is made when it
        # has stopped.
        if pending is not None or playing.written < at + overlap:
            return False
        self._splice(playing, at, material, loop, overlap)
        # Once slow is no reason to hear every later edit late: the machine may have paused in between.
        needed_s = min(1.5 * (time.perf_counter() - began), 2.0 * self._margin_s)
        self._margin_s = min(max(LEAST_MARGIN_S, needed_s, 0.95 * self._margin_s), MOST_MARGIN_S)
        return True

    def _splice(
        self, playing: Reel, at: int, material: Material, loop: tuple[int, int] | None, overlap: int
    ) -> None:
        """Offer a reel that follows from a frame of the playing one."""
        programme = playing.programme.continued(at, loop, material.programme_end())
        reel = self._new_reel(programme, material, playing.levels.base + at, overlap)
        if overlap:
            self._render(reel, material, overlap, coming_from=(playing, at))
        self._render(reel, material, round(EDIT_READY_S * self._rate_hz))
        self._offer(Handover(reel, playing, at), material)

    def _top_up(self) -> bool:
        reel, material = self._reel, self._material
        if reel is None or material is None:
            return False
        playing, index = self.mixer.place
        room = reel.room(index if playing is reel else 0)
        frames = min(round(self._slice_s * self._rate_hz), self._capacity // 4)
        if room < frames:
            if not room or not _ends(reel, room):
                return False
            frames = room
        began = time.perf_counter()
        self._render(reel, material, frames)
        speed = frames / self._rate_hz / max(time.perf_counter() - began, 1e-6)
        self._slice_s = min(max(SLICE_TAKES_S * speed, LEAST_SLICE_S), MOST_SLICE_S)
        return True

    def _new_reel(self, programme: Programme, material: Material, base: int = 0, overlap: int = 0) -> Reel:
        if self._edition is None or not self._edition[0].sounds_as(material):
            self._edition = material, self._edition[1] + 1 if self._edition else 0
        edition = self._edition[1]
        return Reel(
            programme,
            material.version_ids,
            self._capacity,
            self._rate_hz,
            edition=edition,
            base=base,
            overlap=overlap,
            mixdown=self._mixdown_of(material) if material.is_mixed else None,
        )

    def _mixdown_of(self, material: Material) -> Mixdown:
        known = self._mixdown
        if known is None or not (
            known[0].sounds_as(material) and known[0].version_ids == material.version_ids
        ):
            self._mixdown = known = material, Mixdown(material.session, material.versions(), material.leads)
        return known[1]

    def _offer(self, handover: Handover, material: Material) -> None:
        self._before, self._material = self._material, material
        self._reel, self._pending = handover.reel, handover
        self.mixer.offer = handover

    def _render(
        self, reel: Reel, material: Material, frames: int, coming_from: tuple[Reel, int] | None = None
    ) -> None:
        """Append programme frames to the reel, as far as it goes on."""
        clips = self._clips.of(material.session)
        mixdown = reel.mixdown
        for stretch in reel.programme.stretches(reel.written, frames):
            source = material if mixdown is None else mixdown
            blocks = source.render(clips, stretch.position, stretch.frames)
            gain = reel.programme.seam_gain(stretch, self._rate_hz)
            if gain is not None:
                blocks = [block * (gain if mixdown is None else gain[:, 0]) for block in blocks]
            if coming_from is not None and mixdown is None:
                _blend_in(blocks, reel, *coming_from, stretch.index, frames)
            reel.write(blocks)
        if coming_from is not None and mixdown is not None:
            self._mix_heads(reel, *coming_from)

    def _mix_heads(self, reel: Reel, old: Reel, at: int) -> None:
        """Let what is heard now go on from the old reel without a break; all else is gone to in silence."""
        heads: dict[int, FloatArray] = {}
        scratch = Scratch(reel.overlap)
        for version_id in {self.mixer.wanted.view.version_id, ORIGINAL_ID} & reel.slots.keys():
            slot, old_slot = reel.slots[version_id], old.slots.get(version_id)
            if old_slot is not None:
                before, own = (np.empty((reel.overlap, 2), np.float32) for _ in range(2))
                old.copy(old_slot, at, before, scratch)
                reel.copy(slot, 0, own, scratch)
                heads[slot] = before + (own - before) * rise(reel.overlap)[: len(own)]
        reel.heads = heads


def _blend_in(blocks: list[FloatArray], reel: Reel, old: Reel, at: int, index: int, overlap: int) -> None:
    """Let the blocks, frames of `reel` from `index` on, begin as the old reel's sound and end as their own.

    Where old and new are equal the result is bit for bit the same.
    """
    weight = rise(overlap)[index : index + len(blocks[0])]
    for slot, version_id in enumerate(reel.version_ids):
        old_slot = old.slots.get(version_id)
        if old_slot is not None:
            before = np.empty_like(blocks[slot])
            old.copy(old_slot, at + index, before, Scratch(len(before)))
            blocks[slot] = before + (blocks[slot] - before) * weight


def _ends(reel: Reel, frames: int) -> bool:
    """Whether this many frames more are the last of its programme."""
    length = reel.programme.length
    return length is not None and reel.written + frames >= length
