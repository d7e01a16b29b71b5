"""Commands about markers and regions."""

from __future__ import annotations

from functools import partial

from lagline.desk.actions import Handler
from lagline.desk.parts import DeskParts
from lagline.session.markers import with_marker, with_marker_name, without_marker
from lagline.session.values import Marker


class MarkerCommands:
    """Set, name, remove, and go from one to the next."""

    def __init__(self, parts: DeskParts) -> None:
        self._parts = parts

    def handlers(self) -> dict[str, Handler]:
        """What each of these commands does, by its id."""
        return {
            "marker": self._set,
            "next_marker": partial(self._step, 1),
            "last_marker": partial(self._step, -1),
        }

    def rename(self, marker: Marker) -> None:
        """Ask for another name; nothing happens when none is given."""
        name = self._parts.questions.text("Name the marker", "Name", marker.name)
        if name is not None:
            self._parts.edits.apply(
                f"Name marker {marker.name}", lambda old: with_marker_name(old, marker, name)
            )

    def remove(self, marker: Marker) -> None:
        """Take a marker away."""
        self._parts.edits.apply(f"Remove marker {marker.name}", lambda old: without_marker(old, marker))

    def _set(self) -> None:
        chosen = self._parts.times.chosen
        start, stop = chosen or (round(self._parts.playing.state.position_samples), None)
        self._parts.edits.apply("Set a marker", lambda old: with_marker(old, start, stop))

    def _step(self, direction: int) -> None:
        session, here = self._parts.store.session, round(self._parts.playing.state.position_samples)
        places = [marker.at_samples for marker in session.markers] if session is not None else []
        ahead = [at for at in places if (at - here) * direction > 0]
        if ahead:
            there = min(ahead) if direction > 0 else max(ahead)
            self._parts.playing.seek(there)
            self._parts.times.reveal(there)
        else:
            where = "after" if direction > 0 else "before"
            self._parts.messages.show_answer(f"There is no marker {where} the playhead. Q sets one.")
