"""Tone of the blends in the background, for the loop, the view or the take."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer

from lagline.desk.panels.latest import LatestTask
from lagline.desk.parts import DeskParts
from lagline.session.values import ORIGINAL_ID

if TYPE_CHECKING:
    from lagline.analysis.tone import Coherence, ToneReport
    from lagline.desk.panels.tone import Passage, ToneWish

TITLE = "Measuring tone"
REST_MS = 300  # a view that is being panned is measured once it rests


class ToneCommands(QObject):
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
        self._measured: tuple[int, int] | None = None
        parts.times.changed.connect(self._view_moved)

    def measure(self, wish: ToneWish) -> None:
        session, clips = self._parts.store.session, dict(self._parts.sounds.clips)
        if session is None:
            return
        start, stop = self._measured = self._passage(wish)

        def work(cancelled: Callable[[], bool]) -> tuple[ToneReport, Coherence | None]:
            # Loads scipy: on this thread, and only once tone is looked at.
            from lagline.desk.panels.tone_job import shared_with_anchor, tone_of

            versions = (wish.from_id, wish.to_id)
            report = tone_of(session, versions, clips, start, stop, cancelled=cancelled)
            shared = None
            if wish.lane_id is not None:
                shared = shared_with_anchor(session, wish.lane_id, clips, start, stop, cancelled=cancelled)
            return report, shared

        self._task.ask(work)

    def look_at_evidence(self, _index: int) -> None:
        """The tone plot among the evidence came to the front: original against the current version."""
        from lagline.desk.panels.tone import ToneWish

        session, evidence = self._parts.store.session, self._parts.side.tabs.evidence
        if session is not None and evidence.tabs.currentWidget() is evidence.tone:
            passage: Passage = "loop" if session.loop is not None else "take"
            self.measure(ToneWish(ORIGINAL_ID, session.current_version_id, passage, None))

    def close(self) -> None:
        self._rest.stop()
        self._task.close()

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

    def _view_moved(self) -> None:
        if self._measured is not None and self._parts.side.tabs.tone.isVisible():
            self._rest.start()

    def _ask_again(self) -> None:
        tone = self._parts.side.tabs.tone
        wish = tone.wish()
        if wish is not None and tone.isVisible() and self._passage(wish) != self._measured:
            tone.ask_again()

    def _show(self, found: tuple[ToneReport, Coherence | None]) -> None:
        tabs = self._parts.side.tabs
        report, shared = found
        tabs.tone.show_report(report)
        tabs.tone.show_coherence(shared)
        session = self._parts.store.session
        if session is not None:
            tabs.evidence.tone.show_report(report, *report_ids(report))

    def _fail(self, sentence: str) -> None:
        self._parts.side.tabs.tone.show_failed(sentence[:1].upper() + sentence[1:])

    def stops(self) -> dict[str, Callable[[], object]]:
        return {TITLE: self._stop}

    def _stop(self) -> None:
        self._task.cancel()
        self._parts.side.tabs.tone.show_stopped()

    def _show_busy(self, busy: bool) -> None:
        self._parts.side.tabs.tone.show_busy(busy)
        if busy:
            self._parts.foot.show_task(TITLE, None)
        else:
            self._parts.foot.hide_task(TITLE)


def report_ids(report: ToneReport) -> tuple[str, str]:
    """The two versions a report compares: from, to."""
    ids = [version.version_id for version in report.versions]
    return ids[0], ids[-1]
