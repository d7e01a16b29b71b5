"""Requests about lanes and versions become edits of the store, each with the name that undo shows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import reduce

from msgspec.structs import replace
from PySide6.QtCore import QObject, Signal

from lagline.combinations.cells import Cell, timing_name, with_cell_kept
from lagline.desk.shift_limit import checked_shifts
from lagline.desk.store import SessionStore
from lagline.errors import LaglineError
from lagline.session import edits, trying
from lagline.session.values import ORIGINAL, ORIGINAL_ID, Lane, Mark, Ranking, Session, Trial
from lagline.units import ms_to_samples

MOST_NAMED = 3
Loop = tuple[int, int] | None


class LaneEdits(QObject):
    """Holds no state of its own; what an edit refuses is said through `refused`."""

    refused = Signal(str)
    applied = Signal()  # what was asked for came about

    def __init__(self, store: SessionStore, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._store = store
        self.rounding: edits.Rounding = "none"  # of findings that are taken over
        self._lent: tuple[Loop, Loop] = None, None  # the loop that a trial made, and the one before it

    def apply(self, name: str, edit: Callable[[Session], Session], group: str | None = None) -> None:
        """Apply an edit as a step of that name, one with those of its `group`; an objection is told."""
        try:
            self._store.apply(name, edit, group)
        except (ValueError, LaglineError) as problem:
            text = str(problem)
            self.refused.emit(text[:1].upper() + text[1:])
        else:
            self.applied.emit()

    def _name(self, lane_id: str) -> str:
        session = self._store.session
        return session.lane(lane_id).name if session else ""

    # moving

    def _move(self, name: str, edit: Callable[[Session], Session], group: str | None = None) -> None:
        """An edit by hand, which does not put a lane out of all reach."""
        self.apply(name, lambda old: checked_shifts(old, edit(old)), group)

    def shift(self, lane_id: str, shift_samples: float, group: str = "") -> None:
        """Put a lane at a shift in samples, positive = later."""
        self._move(
            f"Shift {self._name(lane_id)}",
            lambda old: edits.with_shift(old, lane_id, shift_samples),
            group or None,
        )

    def settle(self, _lane_id: str = "") -> None:
        """Let the next edit be a step of its own: a drag has ended."""
        self._store.end_group()

    def nudge(self, lane_ids: tuple[str, ...], by_samples: float) -> None:
        """Move lanes later; lanes linked to a moved one move once."""

        def nudged(old: Session) -> Session:
            moved: set[str] = set()
            for lane_id in lane_ids:
                if lane_id not in moved:
                    moved.update(edits.linked_lanes(old, lane_id))
                    old = edits.nudged(old, lane_id, by_samples)
            return old

        names = ", ".join(map(self._name, lane_ids))
        self._move(f"Nudge {names}", nudged, f"nudge {lane_ids}")

    def nudge_ms(self, lane_ids: tuple[str, ...], by_ms: float) -> None:
        """Move lanes later by milliseconds."""
        if self._store.session is not None:
            self.nudge(lane_ids, ms_to_samples(by_ms, self._store.session.rate_hz))

    def put_back(self, lane_id: str) -> None:
        """Put a lane back to where it was before it was tried or accepted."""
        self.put_back_each((lane_id,))

    def try_place(self, lane_id: str, index: int, loop: Loop = None) -> None:
        """Try a runner-up of the lane's finding; -1 is the finding itself. `loop`: what to loop meanwhile."""
        what = "its finding" if index == trying.THE_FINDING else f"runner-up {index + 1}"
        self._and_loop(
            f"Try {what} for {self._name(lane_id)}",
            lambda old: trying.tried(old, lane_id, index, rounding=self.rounding),
            loop,
        )

    def _and_loop(self, name: str, edit: Callable[[Session], Session], loop: Loop) -> None:
        """An edit and the loop it is heard in, as one step."""

        def done(old: Session) -> Session:
            new = edit(old)
            if new == old:
                return old
            if loop is not None and loop != old.loop:
                made, before = self._lent
                self._lent = loop, (before if old.loop == made else old.loop)
            return edits.with_loop(new, loop or old.loop)

        self.apply(name, done)

    def put_at_arrival(self, lane_id: str, arrival_samples: float) -> None:
        """Put the lane where an arrival against the anchor is undone, wherever the anchor now is."""

        self._move(
            f"Shift {self._name(lane_id)}",
            lambda old: edits.with_shift(old, lane_id, _anchor_shift(old) - arrival_samples),
        )

    def accept(self, lane_ids: Sequence[str], loop: Loop = None) -> None:
        """Take the findings of these lanes over."""
        self._and_loop(
            self._accept_name(lane_ids),
            lambda old: edits.accepted(old, lane_ids, rounding=self.rounding),
            loop,
        )

    def decide(self, lane_ids: Sequence[str], loop: Loop = None) -> None:
        """What is tried of these lanes stays; of the others the findings are taken over."""
        self._and_loop(
            self._accept_name(lane_ids),
            lambda old: trying.decided(old, lane_ids, rounding=self.rounding),
            loop,
        )

    def _accept_name(self, lane_ids: Sequence[str]) -> str:
        return f"Accept {self._name(lane_ids[0]) if len(lane_ids) == 1 else f'{len(lane_ids)} findings'}"

    # the lane

    def flip(self, lane_id: str, polarity: int) -> None:
        """Give a lane this polarity: 1 as recorded, -1 flipped."""
        self.apply(
            f"Polarity of {self._name(lane_id)}", lambda old: edits.with_polarity(old, lane_id, polarity)
        )

    def mute(self, lane_id: str, on: bool) -> None:
        name = self._name(lane_id)
        self.apply(f"Mute {name}" if on else f"Unmute {name}", lambda old: edits.with_mute(old, lane_id, on))

    def solo(self, lane_id: str, on: bool) -> None:
        """Listen to a lane alone, or no longer."""
        name = self._name(lane_id)
        self.apply(f"Solo {name}" if on else f"Unsolo {name}", lambda old: edits.with_solo(old, lane_id, on))

    def mute_each(self, lane_ids: tuple[str, ...]) -> None:
        """Mute these lanes in one step; when all of them are mute already, let them sound."""
        session = self._store.session
        on = session is not None and not all(session.current_version.balance(each).mute for each in lane_ids)
        self._each("Mute" if on else "Unmute", lane_ids, lambda old, each: edits.with_mute(old, each, on))

    def solo_each(self, lane_ids: tuple[str, ...]) -> None:
        """Solo these lanes in one step; when all of them are already, take it away."""
        on = not all(lane.solo for lane in self._lanes(lane_ids))
        self._each("Solo" if on else "Unsolo", lane_ids, lambda old, each: edits.with_solo(old, each, on))

    def flip_each(self, lane_ids: tuple[str, ...]) -> None:
        """Turn each of these lanes over, in one step."""

        def flipped(old: Session, each: str) -> Session:
            return edits.with_polarity(old, each, -old.current_version.move(each).polarity)

        self._each("Polarity of", lane_ids, flipped)

    def put_back_each(self, lane_ids: tuple[str, ...]) -> None:
        """Put lanes back to where they were, in one step; a loop that a trial made goes with the last one."""

        def back(old: Session) -> Session:
            new = reduce(trying.put_back, lane_ids, old)
            made, before = self._lent
            is_over = made is not None and new.loop == made and not new.current_version.trying
            return edits.with_loop(new, before) if is_over else new

        self.apply(f"Put back {self._names(lane_ids)}", back)

    def _each(self, what: str, lane_ids: tuple[str, ...], edit: Callable[[Session, str], Session]) -> None:
        """One step of the history, however many lanes."""
        self.apply(f"{what} {self._names(lane_ids)}", lambda old: reduce(edit, lane_ids, old))

    def _lanes(self, lane_ids: tuple[str, ...]) -> list[Lane]:
        session = self._store.session
        return [session.lane(lane_id) for lane_id in lane_ids] if session is not None else []

    def _names(self, lane_ids: tuple[str, ...]) -> str:
        if len(lane_ids) > MOST_NAMED:
            return f"{len(lane_ids)} lanes"
        return ", ".join(map(self._name, lane_ids))

    def gain(self, lane_id: str, gain_db: float) -> None:
        self.apply(
            f"Gain of {self._name(lane_id)}",
            lambda old: edits.with_gain(old, lane_id, gain_db),
            f"gain {lane_id}",
        )

    def pan(self, lane_id: str, pan: float) -> None:
        self.apply(
            f"Pan of {self._name(lane_id)}", lambda old: edits.with_pan(old, lane_id, pan), f"pan {lane_id}"
        )

    def anchor(self, lane_id: str) -> None:
        self.apply(f"Anchor on {self._name(lane_id)}", lambda old: edits.with_anchor(old, lane_id))

    def rename(self, lane_id: str, name: str) -> None:
        self.apply(f"Rename {self._name(lane_id)}", lambda old: edits.with_lane_name(old, lane_id, name))

    def remove(self, lane_id: str) -> None:
        self.apply(f"Remove {self._name(lane_id)}", lambda old: edits.without_lane(old, lane_id))

    def order(self, lane_ids: list[str]) -> None:
        """Put the lanes into this order."""
        self.apply("Order of the lanes", lambda old: edits.with_lane_order(old, lane_ids))

    def link(self, lane_ids: tuple[str, ...]) -> None:
        """Link these lanes; when they are linked with each other already, take them apart."""

        def linked(old: Session) -> Session:
            links = {old.lane(lane_id).link for lane_id in lane_ids}
            if len(lane_ids) < 2 and links == {None}:
                raise ValueError("choose two lanes or more to link: Ctrl or Shift and click headers")
            if len(links) == 1 and None not in links:
                return edits.with_link(old, lane_ids, None)
            return edits.with_link(old, lane_ids, f"link-{'-'.join(lane_ids)}")

        self.apply("Link lanes", linked)

    # the take

    def loop(self, loop: tuple[int, int] | None, group: str = "") -> None:
        """Loop these samples, start to stop; None takes the loop away."""
        self.apply("Loop" if loop else "No loop", lambda old: edits.with_loop(old, loop), group or None)

    def level_match(self, on: bool) -> None:
        """Hear all versions equally loud, or as they are."""
        self.apply("Equal loudness", lambda old: replace(old, level_match=on))

    def temperature(self, temperature_c: float) -> None:
        """Count distances at this temperature of the air, degrees C."""
        self.apply("Air temperature", lambda old: replace(old, temperature_c=temperature_c), "temperature")

    # versions

    def choose_version(self, version_id: str) -> None:
        """Let edits go to this version; Original can't be edited."""
        session = self._store.session
        if session is None or version_id in (ORIGINAL_ID, session.current_version_id):
            return
        name = session.version(version_id).name
        self.apply(
            f"Work on {name}", lambda old: edits.with_current_version(old, version_id), "choose version"
        )

    def keep_version(self, version_id: str, name: str) -> None:
        """A copy under a name; work goes on where it is."""

        def kept(old: Session) -> Session:
            new = edits.with_new_version(old, _checked_name(old, name), version_id)
            return replace(new, current_version_id=old.current_version_id)

        self.apply(f"Keep {name.strip()}", kept)

    def duplicate_version(self, version_id: str, name: str) -> None:
        """A copy under a name, to work in."""
        self.apply(
            f"Duplicate to {name.strip()}",
            lambda old: edits.with_new_version(old, _checked_name(old, name), version_id),
        )

    def part_version(self, version_id: str, fraction: float, name: str) -> None:
        """A new version that takes every shift of another in part, to work in."""

        def taken(old: Session) -> Session:
            new = edits.with_new_version(old, _checked_name(old, name), version_id)
            return edits.with_version(new, edits.partly(new.current_version, fraction))

        self.apply(f"Take {100 * fraction:.0f} % as {name.strip()}", taken)

    def note_version(self, version_id: str, text: str) -> None:
        self.apply(
            "Note on a version",
            lambda old: edits.with_version(old, replace(old.version(version_id), note=text)),
            f"note {version_id}",
        )

    def ranking(self, ranking: Ranking) -> None:
        """What a blind run over several combinations came to is kept."""
        self.apply("Keep a ranking", lambda old: edits.with_ranking(old, ranking))

    def rate_cell(self, cell: Cell, stars: int) -> None:
        """Give a combination 1 to 5 stars; 0 takes them away."""

        def rated(old: Session) -> Session:
            return edits.with_mark(old, cell.id, replace(old.marks.get(cell.id, Mark()), rating=stars))

        self.apply(f"Rate {cell.name}", rated)

    def strike_cell(self, cell: Cell) -> None:
        """Strike a combination out, or take it back."""

        def struck(old: Session) -> Session:
            mark = old.marks.get(cell.id, Mark())
            return edits.with_mark(old, cell.id, replace(mark, struck=not mark.struck))

        self.apply(f"Strike out {cell.name}", struck)

    def keep_cell(self, cell: Cell) -> None:
        """The combination as one more version; work goes on where it is."""

        def kept(old: Session) -> Session:
            name = f"{cell.name}, {timing_name(old, cell)}"
            taken = {version.name.casefold() for version in (ORIGINAL, *old.versions)}
            name = free_name(old, name) if name.casefold() in taken else name
            return with_cell_kept(old, cell, name)

        self.apply(f"Keep {cell.name}", kept)

    def notes(self, text: str) -> None:
        self.apply("Notes", lambda old: replace(old, notes=text), "notes")

    def trial(self, trial: Trial) -> None:
        """Keep a blind trial with the session."""
        self.apply("Keep a blind trial", lambda old: edits.with_trial(old, trial))

    def discarded_run(self, mode: str, version_ids: tuple[str, str]) -> None:
        """Count a blind run that was broken off."""
        self.apply("Discard a blind trial", lambda old: edits.with_discarded_run(old, mode, version_ids))

    def new_version(self) -> None:
        """Add a version and work in it."""
        self.apply("New version", lambda old: edits.with_new_version(old, free_name(old, "Version")))

    def copy_version(self) -> None:
        """Copy the current version and work in the copy."""
        self.apply(
            "Duplicate version",
            lambda old: edits.with_new_version(
                old, free_name(old, old.current_version.name), old.current_version_id
            ),
        )

    def rename_version(self, version_id: str, name: str) -> None:
        def renamed(old: Session) -> Session:
            version = old.version(version_id)
            return edits.with_version(old, replace(version, name=_checked_name(old, name, version.name)))

        self.apply("Rename version", renamed)

    def delete_version(self, version_id: str = "") -> None:
        """Delete a version, the current one by default."""
        self.apply(
            "Delete version", lambda old: edits.without_version(old, version_id or old.current_version_id)
        )


def _anchor_shift(session: Session) -> float:
    """Where the anchor itself was put: the others line up on it there."""
    anchor = session.alignment.anchor_id if session.alignment else session.anchor_id
    return session.current_version.move(anchor).shift_samples if anchor else 0.0


def _checked_name(session: Session, name: str, own: str = "") -> str:
    """A version's name without spaces around it. Raises ValueError for none, or another version's."""
    wanted = name.strip()
    taken = {version.name.casefold() for version in (ORIGINAL, *session.versions)} - {own.casefold()}
    if not wanted or wanted.casefold() in taken:
        raise ValueError("a version needs a name that no other version has")
    return wanted


def free_name(session: Session, stem: str) -> str:
    """`stem 2`, or the next number that no version has."""
    taken = {version.name.casefold() for version in session.versions}
    return next(
        name
        for name in (f"{stem} {number}" for number in range(2, len(taken) + 4))
        if name.casefold() not in taken
    )
