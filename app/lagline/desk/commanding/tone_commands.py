"""Tone of the blends in the background, for the loop, the view or the take.

Every request carries what it was made of. A report of a session, a version or a passage that is no longer
there is shown to nobody; whoever looks then asks again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace
from PySide6.QtCore import QEvent, QObject, QTimer

from lagline.desk.panels.latest import LatestTask
from lagline.desk.parts import DeskParts
from lagline.errors import NotInSession
from lagline.session.values import ORIGINAL_ID, Session

if TYPE_CHECKING:
    from lagline.analysis.tone import Coherence, ToneReport
    from lagline.desk.panels.tone import Passage, ToneWish

TONE_TITLE = "Measuring tone"
REST_MS = 300  # a view that is being panned is measured once it rests


class _Asked(Struct, frozen=True):
    """A request: by the tone panel, or for the plot among the evidence."""

    wish: ToneWish
    matters: object  # all of the session that its tone depends on
    passage: tuple[int, int]
    by_panel: bool


class ToneCommands(QObject):
    """Has tone and coherence measured in the background, when asked or when the session has come to rest."""

    def __init__(self, parts: DeskParts) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self._task = LatestTask("tone", parts.window)
        self._task.done.connect(self._show)
        self._task.failed.connect(self._fail)
        self._task.busy_changed.connect(self._show_busy)
        self._rest = QTimer(self)
        self._rest.setSingleShot(True)
        self._rest.setInterval(REST_MS)
        self._rest.timeout.connect(self._ask_again)
        self._asked: _Asked | None = None  # the latest
        self._for_panel: _Asked | None = None  # the latest of the panel's own
        self._in_evidence: _Asked | None = None  # what is drawn there
        self._given_up: _Asked | None = None  # by the evidence: stopped or failed
        parts.times.changed.connect(self._view_moved)
        parts.side.built.connect(self._watch_evidence)

    def measure(self, wish: ToneWish) -> None:
        """The tone panel wants this."""
        self._ask(wish, by_panel=True)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.Show:  # whichever tab or panel hid it until now
            self._look_at_evidence()
        return False

    def _look_at_evidence(self) -> None:
        """The tone plot among the evidence may be in front: original against the current version."""
        session = self._parts.store.session
        if session is None:
            return
        tabs = self._parts.side.tabs
        pane = tabs.evidence.tone
        if not pane.isVisible():
            return
        is_old = not self._is_evidence(self._in_evidence)
        pane.show_waiting(is_old)
        if not is_old or (self._task.is_busy and self._is_evidence(self._asked)):
            return
        if self._task.is_busy:
            tabs.tone.forget_asked()  # its own request gives way
        self._ask(_evidence_wish(session), by_panel=False)

    def follow(self) -> None:
        """The session has changed; the tone panel asks by itself."""
        session = self._parts.store.session
        if session is None and self._in_evidence is None:
            return  # the tabs may not be there yet
        pane = self._parts.side.tabs.evidence.tone
        if session is None:
            self._in_evidence = None
            pane.show_report(None)
        elif pane.isVisible() and not self._is_evidence(self._given_up):
            is_old = not self._is_evidence(self._in_evidence)
            pane.show_waiting(is_old)
            if is_old:
                self._rest.start()

    def close(self) -> None:
        """Stop measuring and let nothing more begin."""
        self._rest.stop()
        self._task.close()

    def _watch_evidence(self) -> None:
        self._parts.side.tabs.evidence.tone.installEventFilter(self)

    def _ask(self, wish: ToneWish, *, by_panel: bool) -> None:
        from lagline.desk.panels.tone import what_matters

        session, clips = self._parts.store.session, dict(self._parts.sounds.clips)
        if session is None:
            return
        asked = self._asked = _Asked(wish, what_matters(session, wish), self._passage(wish), by_panel)
        start, stop = asked.passage
        if by_panel:
            self._for_panel = asked
        else:
            self._given_up = None
            self._parts.side.tabs.evidence.tone.explain_empty()

        def work(cancelled: Callable[[], bool]) -> tuple[_Asked, ToneReport, Coherence | None]:
            # Loads scipy: on this thread, and only once tone is looked at.
            from lagline.desk.panels.tone_job import shared_with_anchor, tone_of

            versions = (wish.from_id, wish.to_id)
            report = tone_of(session, versions, clips, start, stop, cancelled=cancelled)
            shared = None
            if wish.lane_id is not None:
                shared = shared_with_anchor(session, wish.lane_id, clips, start, stop, cancelled=cancelled)
            return asked, report, shared

        self._task.ask(work)

    def _passage(self, wish: ToneWish) -> tuple[int, int]:
        session = self._parts.store.session
        if session is None:
            return 0, 0
        first, last = session.span(session.current_version)
        if wish.passage == "loop" and session.loop is not None:
            return session.loop
        if wish.passage == "view":
            seen = self._parts.times.seen
            return max(first, round(seen[0])), min(last, round(seen[1]))
        return first, last

    def _is_current(self, asked: _Asked | None) -> bool:
        """Whether a report of this would be one of what is on the desk now."""
        from lagline.desk.panels.tone import what_matters

        session = self._parts.store.session
        if asked is None or session is None:
            return False
        try:
            matters = what_matters(session, asked.wish)
        except NotInSession:  # the version, deleted meanwhile
            return False
        return matters == asked.matters and self._passage(asked.wish) == asked.passage

    def _is_evidence(self, asked: _Asked | None) -> bool:
        """Whether a report of this is what belongs among the evidence now."""
        session = self._parts.store.session
        return session is not None and self._is_current(asked) and _compares(asked, _evidence_wish(session))

    def _view_moved(self) -> None:
        if self._asked is None:
            return
        panel = self._parts.side.tabs.tone
        wish = panel.wish()
        if panel.isVisible():
            self._rest.start()
        elif wish is not None and wish.passage == "view":
            panel.forget_asked()

    def _ask_again(self) -> None:
        """Whoever is looked at, where what it was told last is no longer so."""
        tabs = self._parts.side.tabs
        if tabs.tone.isVisible():
            if not self._is_current(self._for_panel):
                tabs.tone.ask_again()
        else:
            self._look_at_evidence()

    def _show(self, found: tuple[_Asked, ToneReport, Coherence | None]) -> None:
        asked, report, shared = found
        session, tabs = self._parts.store.session, self._parts.side.tabs
        if session is None or not self._is_current(asked):
            tabs.tone.forget_asked()
            self._rest.start()
            return
        if asked.by_panel:
            tabs.tone.show_report(report)
            tabs.tone.show_coherence(shared)
        if self._is_evidence(asked):
            self._in_evidence, self._given_up = asked, None
            before, after = session.version(ORIGINAL_ID), session.current_version
            pane = tabs.evidence.tone
            pane.show_report(report, before.id, after.id, names=(before.name, after.name))
            pane.show_waiting(False)

    def _fail(self, sentence: str) -> None:
        sentence, tabs = sentence[:1].upper() + sentence[1:], self._parts.side.tabs
        if self._asked is None or self._asked.by_panel:
            tabs.tone.show_failed(sentence)
        else:
            self._given_up = self._asked
            tabs.evidence.tone.explain_empty("Tone was not measured", sentence)

    def stops(self) -> dict[str, Callable[[], object]]:
        """How to stop what is under way, by the title it has at the foot."""
        return {TONE_TITLE: self._stop}

    def _stop(self) -> None:
        self._task.cancel()
        if self._asked is None or self._asked.by_panel:
            self._parts.side.tabs.tone.show_stopped()
        else:
            self._given_up = self._asked

    def _show_busy(self, busy: bool) -> None:
        tabs = self._parts.side.tabs
        tabs.tone.show_busy(busy)
        # What is drawn there of another version or take gives way, also where nothing comes of it.
        is_old = not self._is_evidence(self._in_evidence)
        if is_old and not busy and self._in_evidence is not None:
            self._in_evidence = None
            tabs.evidence.tone.show_report(None)
        tabs.evidence.tone.show_waiting(is_old and (busy or self._rest.isActive()))
        if busy:
            self._parts.foot.show_task(TONE_TITLE, None)
        else:
            self._parts.foot.hide_task(TONE_TITLE)


def _evidence_wish(session: Session) -> ToneWish:
    from lagline.desk.panels.tone import ToneWish

    passage: Passage = "loop" if session.loop is not None else "take"
    return ToneWish(ORIGINAL_ID, session.current_version_id, passage, None)


def _compares(asked: _Asked | None, wish: ToneWish) -> bool:
    """Whether it is of these versions over this passage."""
    return asked is not None and replace(asked.wish, lane_id=wish.lane_id) == wish
