"""What playback should send out, worked out sample by sample from the rules alone.

The rules, none of the mixer's code: a block sees what was wanted when it began; a change of version, a
jump, a stop or the end first fades out over 5 ms, then changes in silence, then fades in over 5 ms; an edit
goes over from old to new within 20 ms at the programme frame where the engine says it does; a loop fades out
before its stop and in after its start. The sound itself is the offline blend.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from tests.support.array_clips import ArrayClip, FloatArray

from lagline.blend.mix import blend
from lagline.playback.views import View, Wanted
from lagline.session.values import ORIGINAL_ID, Session

RATE_HZ = 48_000
FADE = 240
OVERLAP = 960
RISE = (0.5 - 0.5 * np.cos(np.pi * np.arange(FADE + 1) / FADE)).astype(np.float32)
CROSS = (0.5 - 0.5 * np.cos(np.pi * np.arange(OVERLAP + 1) / OVERLAP)).astype(np.float32)
MARGIN = 4_000  # of session time kept before and after the take


class Revision:
    """The programme as one state of the session has it, from programme frame `at` on."""

    def __init__(
        self,
        session: Session,
        loop: tuple[int, int] | None,
        at: int,
        position: int,
        wrapped: bool,
        overlap: int,
    ) -> None:
        self.session = session
        self.at = at
        self.overlap = overlap
        self.loop = loop if loop is not None and position < loop[1] else None
        self._positions = [position]
        self._wrapped = [wrapped and self.loop is not None]

    def _grow(self, index: int) -> None:
        while len(self._positions) <= index - self.at:
            position, wrapped = self._positions[-1] + 1, self._wrapped[-1]
            if self.loop is not None and position == self.loop[1]:
                position, wrapped = self.loop[0], True
            self._positions.append(position)
            self._wrapped.append(wrapped)

    def position(self, index: int) -> int:
        self._grow(index)
        return self._positions[index - self.at]

    def wrapped(self, index: int) -> bool:
        self._grow(index)
        return self._wrapped[index - self.at]

    def positions(self, indices: np.ndarray) -> np.ndarray:
        return self._run(self._positions, indices)

    def _run(self, values: list, indices: np.ndarray) -> np.ndarray:
        """The values at indices, which follow each other."""
        self._grow(int(indices[-1]))
        return np.array(values[indices[0] - self.at : indices[-1] - self.at + 1])

    def seam(self, indices: np.ndarray) -> FloatArray:
        positions = self.positions(indices)
        if self.loop is None:
            return np.ones(len(indices), np.float32)
        wrapped = self._run(self._wrapped, indices)
        out = RISE[np.clip(self.loop[1] - 1 - positions, 0, FADE)]
        back = RISE[np.where(wrapped, np.clip(positions - self.loop[0], 0, FADE), FADE)]
        return out * back


class Oracle:
    """Follows the same wishes as a mixer and tells what must come out, block by block."""

    def __init__(self, clips: Mapping[str, ArrayClip], end: int) -> None:
        self._clips = clips
        self._end = end
        self._blends: dict[tuple[int, str], tuple[Session, FloatArray]] = {}
        self.revisions: list[Revision] = []
        self.index = 0
        self.phase = 0
        self.view = View()
        self.jump: tuple[Session, tuple[int, int] | None, int] | None = None
        self.ended = False

    def playing(self) -> Revision:
        """The revision that the next frame is of; a later one may have been announced."""
        return next(revision for revision in reversed(self.revisions) if revision.at <= self.index)

    def position(self) -> int:
        return self.playing().position(self.index)

    def edit(self, session: Session, loop: tuple[int, int] | None, at: int) -> None:
        """The session changes at a frame of the programme now playing; one announced before is off."""
        self.revisions = [revision for revision in self.revisions if revision.at <= self.index]
        last = self.revisions[-1]
        wrapped = last.wrapped(at) and loop == last.loop
        overlap = OVERLAP if at > self.index else 0
        self.revisions.append(Revision(session, loop, at, last.position(at), wrapped, overlap))

    def go(self, session: Session, loop: tuple[int, int] | None, position: int) -> None:
        """A jump is asked for; a change that was announced and not yet heard comes with it instead."""
        self.revisions = [revision for revision in self.revisions if revision.at <= self.index]
        self.jump = (session, loop, position)

    def block(self, frames: int, wanted: Wanted) -> FloatArray:
        """What must come out of a block of this size."""
        steps: list[tuple[int, int, View, list[Revision]]] = []
        while len(steps) < frames:
            if self.phase == 0:
                if self.jump is not None:
                    session, loop, position = self.jump
                    self.revisions = [Revision(session, loop, 0, position, False, 0)]
                    self.index, self.jump = 0, None
                if self.revisions:
                    self.view = wanted.view
            left = self._left()
            self.ended = self.phase == 0 and left < 2
            count = 1
            if not self.revisions or (self.phase == 0 and (not wanted.playing or self.ended)):
                count, phase = 0, -1
            elif (
                not wanted.playing
                or self.jump is not None
                or self.view != wanted.view
                or left - self.phase < (2 if self.phase < FADE else 1)
            ):
                phase = self.phase = self.phase - 1
            elif self.phase < FADE:
                phase = self.phase = self.phase + 1
            else:  # nothing happens until the end, or until a change of what the end is
                announced = [revision.at for revision in self.revisions if revision.at > self.index]
                count = min([frames - len(steps), left - FADE, *(at - self.index for at in announced)])
                phase = FADE
            steps += [(self.index + n, phase, self.view, self.revisions) for n in range(max(count, 1))]
            self.index += count
        return self._rendered(*map(list, zip(*steps, strict=True)))

    def _left(self) -> int:
        if not self.revisions:
            return 0
        now = self.playing()
        return 1 << 40 if now.loop is not None else self._end - now.position(self.index)

    def _rendered(self, indices: list, phases: list, views: list, lists: list) -> FloatArray:
        out = np.zeros((len(indices), 2), np.float32)
        first = 0
        while first < len(indices):
            stop = first
            while (
                stop < len(indices)
                and views[stop] == views[first]
                and lists[stop] is lists[first]
                and (phases[stop] < 0) == (phases[first] < 0)
            ):
                stop += 1
            if phases[first] >= 0:
                sound = self._heard(views[first], lists[first], np.array(indices[first:stop]))
                out[first:stop] = sound * RISE[phases[first:stop]][:, np.newaxis]
            first = stop
        return out

    def _heard(self, view: View, revisions: list[Revision], indices: np.ndarray) -> FloatArray:
        sound = self._version(view.version_id, revisions, indices)
        if view.difference:
            sound = sound - self._version(ORIGINAL_ID, revisions, indices)
        if view.mono:
            middle = (sound[:, 0] + sound[:, 1]) * np.float32(0.5)
            sound = np.column_stack([middle, middle])
        return sound

    def _version(self, version_id: str, revisions: list[Revision], indices: np.ndarray) -> FloatArray:
        sound = np.zeros((len(indices), 2), np.float32)
        for revision in revisions:
            there = indices >= revision.at
            if not there.any():
                continue
            frames = indices[there]
            whole = self._blend(revision.session, version_id)
            new = whole[revision.positions(frames) + MARGIN] * revision.seam(frames)[:, np.newaxis]
            since = frames - revision.at
            weight = CROSS[np.minimum(since, OVERLAP)][:, np.newaxis]
            old = sound[there]
            going_over = (since < revision.overlap)[:, np.newaxis]
            sound[there] = np.where(going_over, old + (new - old) * weight, new)
        return sound

    def _blend(self, session: Session, version_id: str) -> FloatArray:
        key = (id(session), version_id)
        if key not in self._blends:
            length = self._end + 2 * MARGIN
            sound = blend(session, session.version(version_id), self._clips, -MARGIN, length)
            self._blends[key] = (session, sound)  # holding the session keeps its id its own
        return self._blends[key][1]
