"""The tone panel: what two versions do to the tone of the blend over a passage."""

from __future__ import annotations

from typing import Literal

from msgspec import Struct
from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QTabWidget, QVBoxLayout, QWidget

from lagline.analysis.notches import PairComb
from lagline.analysis.tone import Coherence, ToneReport
from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.coherence_plot import CoherencePlot
from lagline.desk.panels.figures import frequency_text, signed
from lagline.desk.panels.flow import FlowLayout
from lagline.desk.panels.spectrum_plot import SpectrumPlot, SummingPlot
from lagline.desk.panels.themed import Themed, plain_label, shown
from lagline.desk.panels.tone_change_plot import ToneChangePlot
from lagline.desk.panels.tone_job import predict_pair
from lagline.desk.theme import GAP, PAD
from lagline.session.values import ORIGINAL_ID, Session

Passage = Literal["loop", "view", "take"]


DEEPEST_WRITTEN_DB = -40.0  # no two real lanes are alike enough for more


class ToneWish(Struct, frozen=True):
    """What the panel wants to be shown: versions to compare, over which passage, and the lane to compare
    with the anchor (None: none)."""

    from_id: str
    to_id: str
    passage: Passage
    lane_id: str | None


class TonePanel(Themed):
    """Change, fine spectra, summing gain and coherence of two versions over the loop, the view or the take.

    Receives: `show_session(session or None)`, `show_report(ToneReport or None)`,
    `show_coherence(Coherence or None)`, `show_busy(bool)`, `show_stopped()`, `show_failed(sentence)`,
    `show_message(text)`. The reports come from `tone_job.tone_of` and
    `tone_job.shared_with_anchor` on another thread.

    Signals
    -------
    tone_requested(ToneWish) : measure this; asked whenever a choice or a version changes while visible.
    """

    tone_requested = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Tone")
        self._session: Session | None = None
        self._report: ToneReport | None = None
        self._asked: tuple[ToneWish, object] | None = None
        self._is_stale = False  # what is drawn is of another choice or another version
        self._is_stopped = False
        self._has_chosen = False  # the passage: until then the loop where there is one, else the take
        self._from = Chooser("From version", "The version to compare with")
        self._to = Chooser("To version", "The version that is compared")
        self._passage = Chooser("Passage", "Where tone is measured")
        for text, key in (("Loop", "loop"), ("View", "view"), ("Whole take", "take")):
            self._passage.addItem(text, key)
        self._first = Chooser("First lane of the pair", "Predicted notches of these two lanes")
        self._second = Chooser("Second lane of the pair", "Predicted notches of these two lanes")
        self._passage.activated.connect(self._keep_passage)
        for chooser in (self._from, self._to, self._passage, self._first, self._second):
            chooser.currentIndexChanged.connect(self._choice_changed)

        self.change = ToneChangePlot()
        self.spectrum = SpectrumPlot()
        self.summing = SummingPlot()
        self.shared = CoherencePlot()
        self.tabs = QTabWidget()
        self.tabs.setAccessibleName("Tone plots")
        self.tabs.setDocumentMode(True)
        self.tabs.tabBar().setExpanding(True)
        for pane, name, tip in (
            (self.change, "Change", "Third octaves of one version over the other"),
            (self.spectrum, "Spectra", "Fine spectrum of each version"),
            (self.summing, "Summing", "Where the lanes add up and where they cancel"),
            (self.shared, "Shared", "Coherence and phase of the second lane against the anchor"),
        ):
            self.tabs.setTabToolTip(self.tabs.addTab(pane, name), tip)
        self._pair_text = plain_label(selectable=True)
        self._pair_text.setAccessibleName("Predicted notches")
        self._status = plain_label()
        self._status.setProperty("muted", True)

        choices = QWidget()
        flow = FlowLayout(choices)
        for text, chooser in (
            ("From", self._from),
            ("to", self._to),
            ("over", self._passage),
            ("Pair", self._first),
            ("and", self._second),
        ):
            flow.addWidget(_labelled(text, chooser))
        column = QVBoxLayout(self)
        column.setContentsMargins(PAD, PAD, PAD, PAD)
        column.setSpacing(GAP)
        column.addWidget(choices)
        column.addWidget(self.tabs, 1)
        column.addWidget(self._pair_text)
        column.addWidget(self._status)
        self.show_session(None)
        self.follow_theme()

    def show_session(self, session: Session | None) -> None:
        """Offer the session's versions and lanes; keeps what was chosen where it is still there."""
        self._session = session
        versions = session.version_names() if session is not None else ()
        lanes = session.lanes if session is not None else ()
        current = session.current_version_id if session is not None else ORIGINAL_ID
        anchor = session.anchor_id if session is not None else None
        offered = [(name, version_id) for version_id, name in versions]
        self._from.offer(offered, ORIGINAL_ID)
        self._to.offer(offered, current)
        names: list[tuple[str, object]] = [(lane.name, lane.id) for lane in lanes]
        self._first.offer(names, anchor or (lanes[0].id if lanes else ""))
        other = next((lane.id for lane in lanes if lane.id != (anchor or lanes[0].id)), "")
        self._second.offer(names, other)
        if not self._has_chosen:
            with QSignalBlocker(self._passage):
                self._passage.choose("loop" if session is not None and session.loop else "take")
        if session is None:
            self._report = None
            self._has_chosen = False
            self.tabs.setCurrentIndex(0)
            self.shared.show_plot(False)
            self._asked = None
        self._refresh()
        self._ask()

    def show_report(self, report: ToneReport | None) -> None:
        self._report, self._is_stale = report, False
        self._refresh()

    def show_coherence(self, coherence: Coherence | None) -> None:
        """Of the second lane against the anchor over the passage."""
        if coherence is None:
            self.shared.show_plot(False)
            return
        if not coherence.is_enough:
            self.shared.empty.say(
                "Too short to say",
                "Coherence of fewer than 8 stretches always looks high. Choose a longer passage.",
            )
            self.shared.show_plot(False)
            return
        self.shared.show_arrays(coherence)

    def show_busy(self, busy: bool) -> None:
        for pane in (self.change, self.spectrum, self.summing, self.shared):
            pane.show_waiting(busy and (self._is_stale or not pane.has_plot))
        self._status.setText("Measuring the passage …" if busy else "")
        self._status.setVisible(busy)

    def show_stopped(self) -> None:
        """Measuring was given up; coming back to the panel measures again."""
        self._is_stopped = True
        self._drop_stale()

    def show_failed(self, sentence: str) -> None:
        self._drop_stale()
        self.show_message(sentence)

    def _drop_stale(self) -> None:
        """Nothing is known of this choice."""
        if self._is_stale and self._report is not None:
            self._report = None
            self.shared.show_plot(False)
            self._refresh()

    def show_message(self, text: str) -> None:
        self._status.setText(text)
        self._status.setVisible(bool(text))

    def wish(self) -> ToneWish | None:
        """What is chosen now; None without a session."""
        if self._session is None:
            return None
        return ToneWish(
            self._from.currentData(),
            self._to.currentData(),
            self._passage.currentData(),
            self._second.currentData() or None,
        )

    def ask_again(self) -> None:
        """Measure even if nothing chosen has changed: the view has. What is drawn stays until then: it is
        of the same versions."""
        stale, self._asked = self._is_stale, None
        self._ask()
        self._is_stale = stale

    def forget_asked(self) -> None:
        """What was asked last is not coming; it is asked again when the panel is looked at."""
        self._asked = None

    def showEvent(self, event: object) -> None:
        super().showEvent(event)  # type: ignore[arg-type]
        if self._is_stopped:
            self._asked = None
        self._ask()

    def _keep_passage(self) -> None:
        self._has_chosen = True

    def _choice_changed(self) -> None:
        self._refresh()
        self._ask()

    def _ask(self) -> None:
        wish = self.wish()
        if wish is None or not self.isVisible() or self._session is None:
            return
        asked = (wish, what_matters(self._session, wish))
        if asked != self._asked:
            self._asked, self._is_stale, self._is_stopped = asked, True, False
            self.tone_requested.emit(wish)

    def _names(self) -> tuple[str, str]:
        return self._from.currentText(), self._to.currentText()

    def _refresh(self) -> None:
        wish, session, report = self.wish(), self._session, self._report
        if wish is None or session is None:
            self.change.show_report(None)
            self.spectrum.show_report(None, "", "", ("", ""))
            self.summing.show_report(None, "", "", ("", ""))
            shown(self._pair_text, "")
            return
        before, after = self._pair(wish.from_id), self._pair(wish.to_id)
        self.change.show_report(
            report, wish.from_id, wish.to_id, names=self._names(), before=before, after=after
        )
        self.spectrum.show_report(report, wish.from_id, wish.to_id, self._names())
        self.summing.show_report(report, wish.from_id, wish.to_id, self._names())
        shown(self._pair_text, self._pair_words(before, after))

    def _pair(self, version_id: str) -> PairComb | None:
        session, report = self._session, self._report
        first, second = self._first.currentData(), self._second.currentData()
        if session is None or first is None or second is None:
            return None
        levels = report.lane_db if report is not None else {}
        compared = session.compared(self._from.currentData(), self._to.currentData())
        version = compared.version(version_id)
        level = levels[second] - levels[first] if first in levels and second in levels else 0.0
        level += version.balance(second).gain_db - version.balance(first).gain_db
        level = min(max(level, -60.0), 60.0)
        return predict_pair(session, version, first, second, level)

    def _pair_words(self, before: PairComb | None, after: PairComb | None) -> str:
        first, second = self._first.currentText(), self._second.currentText()
        if self._first.currentData() == self._second.currentData():
            return "Choose two different lanes to predict their notches."
        if before is None or after is None:
            return f"{first} and {second}: measure first to predict their notches."
        names = self._names()
        return "\n".join(
            f"{name}: {_comb_words(comb)}" for name, comb in zip(names, (before, after), strict=True)
        )


def what_matters(session: Session, wish: ToneWish) -> object:
    """Everything of the session that the tone of a wish depends on. Raises NotInSession."""
    pair = session.compared(wish.from_id, wish.to_id)
    compared = pair.version(wish.from_id), pair.version(wish.to_id)
    return (
        tuple((lane.id, lane.source, lane.solo, lane.place_samples) for lane in session.lanes),
        *((version.moves, version.balances) for version in compared),
        session.loop if wish.passage == "loop" else None,
        session.anchor_id,
        session.alignment,
    )


def _comb_words(comb: PairComb) -> str:
    """`notches at 474 Hz, 948 Hz, 1.42 kHz …, -8.7 dB; peaks +4.3 dB`."""
    if not comb.notches_hz:
        if comb.polarity < 0 and comb.delay_samples < 0.5:
            return "in time but opposite: they cancel at every frequency."
        return "no notches below 20 kHz."
    some = ", ".join(frequency_text(hertz) for hertz in comb.notches_hz[:3])
    more = " …" if len(comb.notches_hz) > 3 else ""
    deep = comb.notch_db < DEEPEST_WRITTEN_DB
    depth = f"below {signed(DEEPEST_WRITTEN_DB, 0)}" if deep else signed(comb.notch_db, 1)
    return f"notches at {some}{more}, {depth} dB; peaks {signed(comb.peak_db, 1)} dB"


def _labelled(text: str, chooser: Chooser) -> QWidget:
    """A chooser with its label before it, kept together when lines break."""
    together = QWidget()
    row = QHBoxLayout(together)
    row.setContentsMargins(0, 0, 0, 0)
    row.setSpacing(GAP)
    label = QLabel(text)
    label.setBuddy(chooser)
    row.addWidget(label)
    row.addWidget(chooser)
    return together
