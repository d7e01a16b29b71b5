"""Measuring a take from the desk: asks the analysis, puts what it found into the session."""

from __future__ import annotations

from PySide6.QtCore import QObject, Signal

from lagline.analysis.options import AnalysisOptions
from lagline.desk.analysis_thread import AnalysisThread
from lagline.desk.store import SessionStore
from lagline.session.edits import with_alignment
from lagline.session.findings import Alignment
from lagline.session.values import Session


class Measuring(QObject):
    """A result that comes for lanes that are no longer there is dropped."""

    progressed = Signal(float)
    measured = Signal()
    problem = Signal(str)
    over = Signal()

    def __init__(self, store: SessionStore, thread: AnalysisThread, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._store, self._thread = store, thread
        self._session: Session | None = None
        thread.progressed.connect(self.progressed)
        thread.finished.connect(self._take)
        thread.failed.connect(self._fail)
        thread.cancelled.connect(self.over)

    @property
    def is_busy(self) -> bool:
        """Whether a measurement is under way."""
        return self._thread.is_busy

    def measure(self) -> None:
        """Measure against the chosen anchor, or the lane that hears the source last."""
        session = self._store.session
        if session is None:
            return
        if len(session.lanes) < 2:
            self.problem.emit("Measuring needs two lanes. Add another recording of the same performance.")
            self.over.emit()
            return
        if self.is_busy and self._session is not None and _asked(session) == _asked(self._session):
            return  # asked again for what is under way
        self._session = session
        options = AnalysisOptions(anchor=session.anchor_id) if session.anchor_id else AnalysisOptions()
        self.progressed.emit(0.0)
        self._thread.measure(session, options)

    def cancel(self) -> None:
        """Stop it; the session stays as it is."""
        self._thread.cancel()

    def leave(self) -> None:
        """Another take is on the desk now: what is being measured is of no use."""
        self._thread.cancel()
        self._session = None

    def _take(self, alignment: Alignment) -> None:
        self.over.emit()
        now, then = self._store.session, self._session
        if now is None or then is None or _sound(now) != _sound(then):
            self.problem.emit("The lanes changed while they were measured: press Measure again.")
            return
        self._store.apply("Measure", lambda old: with_alignment(old, alignment))
        self.measured.emit()

    def _fail(self, sentence: str) -> None:
        self.over.emit()
        self.problem.emit(sentence)


def _asked(session: Session) -> tuple[object, str | None]:
    """What a measurement of the session depends on."""
    return _sound(session), session.anchor_id


def _sound(session: Session) -> dict[str, tuple[object, int]]:
    """What was measured: the recordings and where they lie."""
    return {lane.id: (lane.source, lane.place_samples) for lane in session.lanes}
