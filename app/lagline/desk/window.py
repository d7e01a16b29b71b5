"""The window: puts the parts together and connects them. What they do is in the parts."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import QEvent, QSettings, QSize, Qt, QTimer, Signal
from PySide6.QtGui import (
    QCloseEvent,
    QDragEnterEvent,
    QDragLeaveEvent,
    QDropEvent,
    QKeyEvent,
    QPaintEvent,
    QResizeEvent,
)
from PySide6.QtWidgets import QApplication, QMainWindow, QSplitter, QVBoxLayout, QWidget

from lagline.desk.actions import Actions, keeps_key
from lagline.desk.button_keys import ButtonKeys
from lagline.desk.commanding.context_menus import ContextMenus
from lagline.desk.commanding.desk_commands import DeskCommands
from lagline.desk.commanding.recent_menu import RecentMenu
from lagline.desk.pages import DeskPages
from lagline.desk.parts import DeskParts
from lagline.desk.playing import PlayerLike
from lagline.desk.questions import Questions
from lagline.desk.side_panel import USUAL_WIDTH
from lagline.desk.style import dress
from lagline.desk.transport_state import TransportState
from lagline.session.trying import with_before
from lagline.session.values import Session

PLOTS_MS = 100  # the plots load once the window has been painted, however long that takes
OVERVIEW_MS = 300  # the overview bar waits until the hand rests
TITLE_PX = 40  # what the desktop puts around a window, roughly
PANELS_MS = 60  # the side panel follows a drag at this pace


class DeskWindow(QMainWindow):
    """One take on one desk. `player`, `settings` and `questions` are injected."""

    first_painted = Signal()

    def __init__(
        self, player: PlayerLike, settings: QSettings | None = None, questions: Questions | None = None
    ) -> None:
        super().__init__()
        self.parts = DeskParts(self, player, settings, questions)
        self._lay_out()
        self.commands = DeskCommands(self.parts)
        self.actions_by_id = Actions(self, self.parts.lanes.stack, self.commands.handlers())
        self.menus = ContextMenus(self.parts, self.actions_by_id, self.commands.markers)
        self.recent = RecentMenu(self._recent_sessions, self)
        self.actions_by_id.menus["Take"].insertMenu(self.actions_by_id["add"], self.recent)
        self._button_keys = ButtonKeys(self, self.actions_by_id["play"])
        self._is_painted = False
        self._panel_timer = QTimer(self)
        self._panel_timer.setSingleShot(True)
        self._panel_timer.setInterval(PANELS_MS)
        self._panel_timer.timeout.connect(self._show_panels)
        self._overview_timer = QTimer(self)
        self._overview_timer.setSingleShot(True)
        self._overview_timer.setInterval(OVERVIEW_MS)
        self._overview_timer.timeout.connect(self._show_overview)
        self._connect()
        self.commands.restore(self.actions_by_id)
        self._restore()
        self._show_session(None)
        self._show_history()

    def _lay_out(self) -> None:
        self.setMinimumSize(640, 360)
        self.setAcceptDrops(True)
        self.split = QSplitter(Qt.Orientation.Horizontal)
        self.split.addWidget(self.parts.lanes)
        self.split.addWidget(self.parts.side)
        self.split.setStretchFactor(0, 1)
        self.split.setStretchFactor(1, 0)
        self.split.setCollapsible(0, False)
        self.split.setSizes([1280 - USUAL_WIDTH, USUAL_WIDTH])
        self.pages = DeskPages(self.parts.empty, self.split)
        self.day_split = QSplitter(Qt.Orientation.Vertical)
        self.day_split.addWidget(self.pages)
        self.day_split.addWidget(self.parts.takes_panel)
        self.day_split.setStretchFactor(0, 1)
        self.day_split.setStretchFactor(1, 0)
        self.day_split.setChildrenCollapsible(False)
        self.day_split.setSizes([560, 240])
        self.parts.takes_panel.hide()
        body = QWidget()
        column = QVBoxLayout(body)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.parts.strip)
        column.addWidget(self.day_split, 1)
        column.addWidget(self.parts.foot)
        self.setCentralWidget(body)
        self.parts.messages.lie_in(self.parts.foot.strip, body)

    def _connect(self) -> None:
        self.parts.store.leaving.connect(self._forget_take)
        self.parts.store.changed.connect(self._show_session)
        self.parts.store.history_changed.connect(self._show_history)
        self._connect_lanes()
        self._connect_strip()
        self.parts.side.built.connect(self._connect_side)
        self._connect_work()

    def _connect_lanes(self) -> None:
        stack, edits = self.parts.lanes.stack, self.parts.edits
        stack.shift_requested.connect(edits.shift)
        stack.shift_settled.connect(edits.settle)
        stack.polarity_requested.connect(edits.flip)
        stack.mute_requested.connect(edits.mute)
        stack.solo_requested.connect(edits.solo)
        stack.gain_requested.connect(edits.gain)
        stack.pan_requested.connect(edits.pan)
        stack.anchor_requested.connect(edits.anchor)
        stack.order_requested.connect(edits.order)
        stack.rename_requested.connect(self.commands.lane.ask_rename)
        stack.pointed.connect(self.commands.same_sound.point)
        stack.refused.connect(self.parts.messages.show_refusal)
        stack.selection_changed.connect(self.commands.show_selection)
        edits.refused.connect(self.parts.messages.show_refusal)
        edits.applied.connect(self.parts.messages.forget_refusals)
        self.parts.lanes.drags_shift_toggled.connect(self.commands.view.toggle_drags_shift)
        self.parts.times.chosen_changed.connect(self.commands.show_chosen)
        self.parts.lanes.plate.stay_requested.connect(self.commands.listen.stay)
        self.parts.lanes.ruler.loop_requested.connect(self.commands.listen.take_loop)
        self.parts.lanes.ruler.rename_requested.connect(self.commands.markers.rename)
        self.parts.lanes.seek_requested.connect(self.parts.playing.seek)
        self.parts.lanes.ruler.scrub_requested.connect(self.parts.playing.scrub)
        self.parts.lanes.ruler.scrub_ended.connect(self.parts.playing.end_scrub)

    def _connect_strip(self) -> None:
        strip, playing = self.parts.strip, self.parts.playing
        strip.play_requested.connect(self.commands.listen.play)
        strip.stop_requested.connect(playing.stop)
        strip.loop_requested.connect(self.commands.listen.loop)
        strip.heard_requested.connect(self.commands.listen.hear)
        strip.match_requested.connect(self.parts.edits.level_match)
        strip.difference_requested.connect(playing.set_difference)
        strip.mono_requested.connect(playing.set_mono)
        strip.moment_requested.connect(playing.set_same_moment)
        strip.monitor_requested.connect(playing.set_monitor)
        strip.dim_requested.connect(playing.set_dim)
        strip.device_requested.connect(self.commands.listen.use_device)
        strip.devices_wanted.connect(playing.look_for_devices)
        playing.state_changed.connect(strip.show_state)
        playing.state_changed.connect(self.parts.lanes.show_transport)
        playing.state_changed.connect(self.parts.sounds.show_transport)
        playing.state_changed.connect(self.commands.listen.show_transport)
        playing.looping_changed.connect(self.commands.listen.show_looping)
        playing.devices_found.connect(self.commands.listen.show_devices)
        playing.failed.connect(self.parts.messages.show_problem)
        playing.no_output_found.connect(self.commands.listen.tell_no_output)
        strip.monitor.show_gain(playing.state.monitor_gain_db)

    def _connect_side(self) -> None:
        tabs, edits, commands = self.parts.side.tabs, self.parts.edits, self.commands
        findings, evidence, versions = tabs.findings, tabs.evidence, tabs.versions
        self.menus.on_findings(findings.table)
        findings.measure_requested.connect(commands.work.measure)
        findings.cancel_requested.connect(self.parts.measuring.cancel)
        findings.decide_requested.connect(commands.lane.decide)
        findings.try_requested.connect(commands.lane.try_place)
        findings.put_back_requested.connect(edits.put_back)
        findings.lane_selected.connect(commands.choose_lane)
        findings.read_requested.connect(commands.guide.read_about)
        evidence.place_requested.connect(edits.put_at_arrival)
        evidence.passage_requested.connect(commands.go_to_time)
        evidence.passage_hovered.connect(commands.point_at_time)
        tabs.close_up.attack_step_requested.connect(commands.work.step_attack)
        tabs.close_up.span_requested.connect(commands.work.span_close_up)
        tabs.tone.tone_requested.connect(commands.tone.measure)
        tabs.board.board_changed.connect(commands.board.take_board)
        tabs.board.hear_requested.connect(commands.board.hear)
        tabs.board.stars_requested.connect(edits.rate_cell)
        tabs.board.strike_requested.connect(edits.strike_cell)
        tabs.board.keep_requested.connect(edits.keep_cell)
        tabs.board.rank_requested.connect(commands.board.rank)
        tabs.board.deliver_requested.connect(commands.board.delivery.show)
        tabs.board.balance.cell_wanted.connect(commands.board.balancing.take_cell)
        tabs.board.balance.pad.begun.connect(commands.board.balancing.begin)
        tabs.board.balance.pad.moved.connect(commands.board.balancing.move)
        tabs.board.mend_requested.connect(commands.board.mending.ask)
        tabs.board.mends.hear_asked.connect(commands.board.hear_mend)
        tabs.board.mends.keep_asked.connect(commands.board.mending.keep)
        versions.hear_requested.connect(commands.listen.hear)
        versions.edit_requested.connect(edits.choose_version)
        versions.keep_requested.connect(edits.keep_version)
        versions.duplicate_requested.connect(edits.duplicate_version)
        versions.rename_requested.connect(edits.rename_version)
        versions.note_requested.connect(edits.note_version)
        versions.delete_requested.connect(edits.delete_version)
        versions.part_requested.connect(edits.part_version)
        versions.trial_requested.connect(commands.dialogs.try_blind)
        tabs.notes.notes_requested.connect(edits.notes)
        self.parts.sounds.overviews_done.connect(self._make_ready)
        self.parts.playing.state_changed.connect(self._show_heard)

    def _connect_work(self) -> None:
        sounds, stack = self.parts.sounds, self.parts.lanes.stack
        sounds.overviews_grown.connect(stack.show_overviews)
        sounds.overviews_grown.connect(self._refresh_overview)
        sounds.overviews_grown.connect(self.commands.work.show_reading)
        sounds.overviews_done.connect(self.commands.work.show_reading)
        sounds.overviews_done.connect(self.commands.dialogs.tell_health)
        sounds.samples_read.connect(stack.show_samples)
        sounds.samples_read.connect(self.parts.lanes.sum.refresh)
        sounds.sums_started.connect(self.parts.lanes.sum.show_sums)
        sounds.sums_grown.connect(self.parts.lanes.sum.refresh)
        sounds.failed.connect(self.parts.messages.show_problem)
        self.parts.measuring.progressed.connect(self.commands.work.show_measuring)
        self.parts.measuring.over.connect(self.commands.work.end_measuring)
        self.parts.measuring.measured.connect(self._show_panels)
        self.parts.measuring.measured.connect(self.commands.work.tell_measured)
        self.parts.measuring.measured.connect(self.commands.lane.accept_as_asked)
        self.parts.measuring.problem.connect(self.commands.lane.forget_asked)
        self.parts.analysis.cancelled.connect(self.commands.lane.forget_asked)
        self.parts.measuring.problem.connect(self.parts.messages.show_problem)
        self.parts.files.opened.connect(self._arrive)
        self.parts.files.problem.connect(self.parts.messages.show_problem)
        self.parts.files.note.connect(self.parts.messages.show_note)
        self.parts.keeping.problem.connect(self.parts.messages.show_problem)
        self.parts.keeping.note.connect(self.parts.messages.show_note)
        self.parts.keeping.offer.connect(self.parts.messages.show_problem)
        self.parts.files.busy.connect(self.commands.work.show_busy)
        self.parts.files.busy.connect(self.pages.show_busy)
        self.parts.files.replaced.connect(self.parts.playing.rewind)
        self.parts.files.demo_opened.connect(self.commands.work.measure)
        self.parts.foot.stop_requested.connect(self.commands.stop)
        self.parts.messages.action_requested.connect(self.commands.view.run)
        self.parts.empty.open_requested.connect(self.parts.files.ask_open)
        self.parts.empty.folder_requested.connect(self.parts.files.ask_open_folder)
        self.parts.empty.demo_requested.connect(self.parts.files.open_demo)
        self.parts.empty.recent_requested.connect(self._open_recent)
        self.recent.open_requested.connect(self._open_recent)

    # showing

    def _forget_take(self) -> None:
        """Each view shown no session forgets all it kept of the last one: the next begins like the first."""
        self.commands.same_sound.end()
        self.parts.times.choose_nothing()
        self.parts.lanes.stack.show_session(None)
        self.parts.side.show_session(None)

    def _show_session(self, session: Session | None) -> None:
        self.pages.begin(session)
        self.parts.lanes.show_session(session)
        listened = with_before(session) if session is not None else None
        self.parts.strip.show_session(session)
        self.parts.sounds.show_session(listened)
        self.parts.playing.show_session(listened)
        self.commands.show_session(session)
        self.pages.end(session)
        if session is None:
            self.parts.messages.forget_note()
            self.parts.messages.close_message()
            self.parts.empty.open.setFocus(Qt.FocusReason.OtherFocusReason)
            self.parts.empty.show_recent(self.parts.settings.recent)
        if not self._panel_timer.isActive():
            self._panel_timer.start()
        self._overview_timer.start()

    def _show_panels(self) -> None:
        self.parts.side.show_session(self.parts.store.session)
        self.commands.work.follow(self.parts.store.session)
        self.commands.tone.follow()
        self.commands.board.follow()

    def _show_overview(self) -> None:
        self.parts.lanes.overview.show_session(self.parts.store.session)
        self.parts.lanes.overview.refresh()

    def _show_history(self) -> None:
        session, store = self.parts.store.session, self.parts.store
        self.actions_by_id.show_history(store.undo_name, store.redo_name)
        if session is None:
            self.setWindowTitle("Lagline")
            return
        self.setWindowTitle(f"{store.name}[*] – Lagline")
        would_lose = self.parts.keeping.would_lose()
        if self.isWindowModified() != would_lose:  # a drag asks at every step
            self.setWindowModified(would_lose)

    def _arrive(self, session: Session) -> None:
        """A take came onto the desk."""
        self.parts.measuring.leave()
        self.commands.work.forget_attack()
        self.parts.messages.forget_note()
        self.parts.messages.close_message()
        self.parts.lanes.stack.measure()
        self.parts.times.fit()
        self.parts.lanes.stack.setFocus(Qt.FocusReason.OtherFocusReason)

    def _show_heard(self, state: TransportState) -> None:
        self.parts.side.tabs.versions.show_heard(state.heard_id)
        board = self.parts.side.tabs.board
        board.show_heard(state.heard_id)
        board.show_match(0.0 if state.heard_id is None else state.match_db.get(state.heard_id, 0.0))

    def _make_ready(self, _files: object) -> None:
        """The recordings are drawn: while the hand rests, make the plot that a measurement shows first."""
        match = self.parts.side.tabs.evidence.match
        QTimer.singleShot(OVERVIEW_MS, match, match.make_ready)

    def _refresh_overview(self, _lane_ids: object) -> None:
        self.parts.lanes.overview.forget()
        if not self._overview_timer.isActive():
            self._overview_timer.start()

    def _recent_sessions(self) -> tuple[Path, ...]:
        return self.parts.settings.recent

    def _open_recent(self, path: Path) -> None:
        self.parts.files.open([path])

    def show_take(self, session: Session, path: Path | None = None) -> None:
        """Put a session onto the desk, as one that is saved."""
        self.parts.store.open(session, path)
        self.parts.playing.rewind()
        self._arrive(session)

    def is_drawn(self) -> bool:
        """Whether everything in view has been read and drawn."""
        waits = self._panel_timer.isActive() or self._overview_timer.isActive()
        return not waits and self.parts.lanes.stack.is_complete and not self.parts.sounds.is_busy

    def follow_system_theme(self, *_: object) -> None:
        """The desktop went light or dark."""
        application = QApplication.instance()
        if self.parts.settings.theme == "system" and isinstance(application, QApplication):
            dress(application, "system")

    # files dropped anywhere

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        if _paths_of(event):
            self.parts.empty.show_target(True)
            _take_a_copy(event)

    def dragLeaveEvent(self, event: QDragLeaveEvent) -> None:
        self.parts.empty.show_target(False)

    def dropEvent(self, event: QDropEvent) -> None:
        self.parts.empty.show_target(False)
        paths = _paths_of(event)
        _take_a_copy(event)
        # The dialogs that may follow must not hold up the program that was dragged from.
        QTimer.singleShot(0, self, partial(self.parts.files.take_dropped, paths))

    def open_paths(self, paths: Sequence[Path]) -> None:
        self.parts.files.open(paths)

    # the frame

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.commands.view.fit_panel(event.size().width())

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        if not self._is_painted:
            self._is_painted = True
            self.first_painted.emit()
            QTimer.singleShot(PLOTS_MS, self.parts.side, self.parts.side.build)
            QTimer.singleShot(PLOTS_MS, self.parts.playing, self.parts.playing.prepare)

    def event(self, event: QEvent) -> bool:
        # What the control with the focus does not take for itself comes up here before shortcuts see it.
        if (
            isinstance(event, QKeyEvent)
            and event.type() == QEvent.Type.ShortcutOverride
            and keeps_key(QApplication.focusWidget(), event)
        ):
            event.accept()
            return True
        return super().event(event)

    def closeEvent(self, event: QCloseEvent) -> None:
        if not self.parts.keeping.may_leave():
            event.ignore()
            return
        self._keep()
        self.shut_down()
        event.accept()

    def _keep(self) -> None:
        settings = self.parts.settings
        settings.set_state("window", self.saveGeometry())
        for name, splitter in self._splitters().items():
            settings.set_state(name, splitter.saveState())
        settings.header_width = self.parts.lanes.header_width
        settings.sync()

    def _splitters(self) -> dict[str, QSplitter]:
        return {"split": self.split, "day_split": self.day_split, "heights": self.parts.lanes.heights}

    def _restore(self) -> None:
        settings = self.parts.settings
        geometry = settings.state("window")
        if geometry is None or not self.restoreGeometry(geometry):
            room = self.screen().availableSize() - QSize(0, TITLE_PX)
            self.resize(QSize(1280, 800).boundedTo(room))
        for name, splitter in self._splitters().items():
            state = settings.state(name)
            if state is not None:
                splitter.restoreState(state)
        self.parts.lanes.set_header_width(settings.header_width)

    def shut_down(self) -> None:
        """End every thread and process of this window."""
        self._panel_timer.stop()
        self._overview_timer.stop()
        self.commands.close()
        self.parts.close()


def _take_a_copy(event: QDropEvent) -> None:
    """Whatever was proposed: of a move the program that was dragged from may delete its files."""
    can_copy = event.possibleActions() & Qt.DropAction.CopyAction
    event.setDropAction(Qt.DropAction.CopyAction if can_copy else Qt.DropAction.IgnoreAction)
    event.accept()


def _paths_of(event: QDropEvent) -> list[Path]:
    return [Path(url.toLocalFile()) for url in event.mimeData().urls() if url.isLocalFile()]
