"""Commands that open a dialog of their own: export, health, output, blind trial, planner."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QUrl
from PySide6.QtGui import QDesktopServices

from lagline.deliver.names import file_stem
from lagline.desk.actions import Handler
from lagline.desk.commanding.first_sound import read_caution
from lagline.desk.job import Job
from lagline.desk.parts import DeskParts
from lagline.desk.proposed_place import proposed_folder
from lagline.playback.protocol import DeviceChoice
from lagline.session.values import ORIGINAL_ID, Session

if TYPE_CHECKING:  # the dialogs load when they are first opened
    from lagline.desk.panels.device_dialog import DeviceDialog, DeviceWish
    from lagline.desk.panels.export_dialog import ExportDialog
    from lagline.desk.panels.export_plan import ExportWish
    from lagline.desk.planner.window import PlannerWindow
    from lagline.jobs.hand_over import HandedOver


class DialogCommands(QObject):
    """Commands that open a dialog, and the jobs that follow from them."""

    def __init__(self, parts: DeskParts) -> None:
        super().__init__(parts.window)
        self._parts = parts
        self._export_job: Job | None = None
        self._delivered: dict[str, Path] = {}  # by take: the folder it was delivered to last
        self._export_dialog: ExportDialog | None = None
        self._planner: PlannerWindow | None = None

    def handlers(self) -> dict[str, Handler]:
        """What the commands that open a dialog do, by their id."""
        return {
            "export": self.export,
            "health": self.show_health,
            "output": self.choose_output,
            "trial": self.start_trial,
            "plan": self.plan,
        }

    @property
    def _session(self) -> Session | None:
        return self._parts.store.session

    # export

    def export(self) -> None:
        from lagline.desk.panels.export_dialog import ExportDialog

        session = self._session
        if session is None:
            return
        dialog = ExportDialog(session, self._folder_for(session), self._parts.window)
        self._export_dialog = dialog
        dialog.folder_requested.connect(self._ask_folder)
        dialog.export_requested.connect(partial(self.start_export, session))
        dialog.cancel_requested.connect(self.stop_export)
        dialog.look_requested.connect(_open_folder)
        self._parts.questions.show(dialog)
        self._export_dialog = None

    def _folder_for(self, session: Session) -> Path:
        """Where the take went last; else a folder of its own, by the last delivery or by its recordings."""
        if session.name in self._delivered:
            return self._delivered[session.name]
        beside = self._parts.settings.deliveries or proposed_folder(session, self._parts.store.path)
        return beside / f"{file_stem('{take}', {'take': session.name})} delivered"

    def _ask_folder(self, start: Path | None) -> None:
        folder = self._parts.questions.folder_to_open(start or self._parts.settings.folder, "Deliver into")
        if self._export_dialog is not None and folder is not None:
            self._export_dialog.show_folder(folder)

    @property
    def is_exporting(self) -> bool:
        return self._export_job is not None

    def start_export(self, session: Session, wish: ExportWish) -> None:
        """Write in the background; one export at a time."""
        from lagline.desk.exporting import export

        if self._export_job is not None:
            return
        if wish.folder is not None:
            self._delivered[session.name] = wish.folder
            self._parts.settings.deliveries = wish.folder.parent
        playing = self._parts.playing
        # As heard: blends printed at equal loudness are turned down by what they are in the window.
        files = self._parts.sounds.overviews.files
        work = partial(export, playing.as_heard(session), wish, files, playing.told)
        job = self._export_job = Job("Delivering", work)
        job.progressed.connect(self._export_progress)
        job.done.connect(self._export_done)
        job.failed.connect(self._export_failed)
        job.cancelled.connect(self._export_cancelled)
        job.finished.connect(self._export_over)
        job.start()

    def stop_export(self) -> None:
        if self._export_job is not None:
            self._export_job.cancel()

    def _export_progress(self, fraction: float) -> None:
        self._parts.foot.show_task("Delivering", fraction)
        if self._export_dialog is not None:
            self._export_dialog.show_progress(fraction)

    def _export_done(self, delivery: HandedOver) -> None:
        count = len(delivery.paths)
        text = f"{count} file{'s' if count != 1 else ''} written to {delivery.folder}."
        if self._export_dialog is not None:
            self._export_dialog.show_finished(" ".join((text, *delivery.warnings)))
        self._parts.messages.show_note(text)

    def _export_failed(self, sentence: str) -> None:
        if self._export_dialog is not None:
            self._export_dialog.show_failed(sentence)
        else:
            self._parts.messages.show_problem(sentence)

    def _export_cancelled(self) -> None:
        if self._export_dialog is not None:
            self._export_dialog.show_idle()

    def _export_over(self) -> None:
        self._export_job = None
        self._parts.foot.hide_task("Delivering")

    # health

    def show_health(self) -> None:
        from lagline.desk.panels.health_rows import health_rows
        from lagline.desk.panels.health_table import HealthDialog

        session = self._session
        if session is None:
            return
        dialog = HealthDialog(health_rows(session, self._parts.sounds.overviews.files), self._parts.window)
        dialog.table.lane_selected.connect(self._choose_lane)
        self._parts.questions.show(dialog)

    def tell_health(self) -> None:
        """All recordings are read: say so when one of them has a problem."""
        from lagline.desk.panels.health_rows import health_rows

        session = self._session
        if session is None:
            return
        rows = health_rows(session, self._parts.sounds.overviews.files)
        names = [row.name for row in rows if row.problems]
        if names:
            listed = ", ".join(names[:4]) + (" and others" if len(names) > 4 else "")
            self._parts.messages.show_notice(
                f"Look at the recordings before trusting them: {listed}.", "health", "Show"
            )

    def _choose_lane(self, lane_id: str) -> None:
        stack = self._parts.lanes.stack
        stack.select(stack.selection.only(lane_id))

    # output

    def choose_output(self) -> None:
        from lagline.desk.panels.device_dialog import DeviceDialog, DeviceWish

        playing, choice = self._parts.playing, self._parts.settings.device
        dialog = DeviceDialog(self._parts.window)
        dialog.show_wish(DeviceWish(choice.name, choice.rate_hz, choice.block_frames))
        dialog.show_state(playing.told)
        dialog.device_requested.connect(self._use)
        dialog.refresh_requested.connect(playing.look_for_devices)
        playing.devices_found.connect(dialog.show_devices)
        show_state = partial(self._show_output, dialog)
        playing.state_changed.connect(show_state)
        settings, guard = self._parts.settings, dialog.guard
        guard.show_guard(settings.most_rise_db, settings.ceiling_dbfs)
        guard.show_device(playing.state.device, settings.reference_dba)
        guard.guard_requested.connect(self._use_guard)
        guard.reference_requested.connect(self._keep_reference)
        playing.look_for_devices()
        self._parts.questions.show(dialog)
        playing.state_changed.disconnect(show_state)
        playing.devices_found.disconnect(dialog.show_devices)

    def _use_guard(self, rise_db: float, ceiling_dbfs: float) -> None:
        self._parts.settings.set_guard(rise_db, ceiling_dbfs)
        self._parts.playing.set_guard(rise_db, ceiling_dbfs)

    def _keep_reference(self, reference_dba: float | None) -> None:
        self._parts.settings.set_reference_dba(self._parts.playing.state.device, reference_dba)

    def _show_output(self, dialog: DeviceDialog, _state: object) -> None:
        dialog.show_state(self._parts.playing.told)
        dialog.guard.show_device(self._parts.playing.state.device, self._parts.settings.reference_dba)

    def _use(self, wish: DeviceWish) -> None:
        choice = DeviceChoice(wish.name, wish.rate_hz, wish.block_frames)
        self._parts.settings.device = choice
        self._parts.playing.set_device(choice)

    # blind trial

    def start_trial(self) -> None:
        self.try_blind(ORIGINAL_ID, "")

    def try_blind(self, first_id: str, second_id: str) -> None:
        """Compare two versions blind; an empty second one is the current version."""
        from lagline.desk.panels.blind_trial import BlindTrialDialog

        session, playing = self._session, self._parts.playing
        if session is None:
            return
        read_caution(self._parts)
        playing.set_difference(False)  # of the original it is silence, which would give it away
        playing.begin_trial()
        dialog = BlindTrialDialog(playing.as_heard(session), first_id, second_id or None, self._parts.window)

        def show_playback(_state: object) -> None:
            dialog.show_playback(playing.told)

        def compare(version_ids: tuple[str, str]) -> None:
            playing.compare(version_ids)
            dialog.show_playback(playing.told)

        compare(dialog.version_ids)
        playing.state_changed.connect(show_playback)
        dialog.pair_changed.connect(compare)
        dialog.hidden_changed.connect(playing.set_hidden)
        dialog.hear_requested.connect(playing.audition)
        dialog.play_requested.connect(playing.toggle)
        dialog.trial_finished.connect(self._parts.edits.trial)
        dialog.run_discarded.connect(self._parts.edits.discarded_run)
        self._parts.questions.show(dialog)
        playing.state_changed.disconnect(show_playback)
        playing.end_trial()

    # planner

    def plan(self) -> None:
        from lagline.desk.planner.window import PlannerWindow

        if self._planner is None:
            self._planner = PlannerWindow()
        self._planner.show_session(self._session)
        self._planner.show()
        self._planner.raise_()
        self._planner.activateWindow()

    def show_session(self, session: Session | None) -> None:
        if self._planner is not None and self._planner.isVisible():
            self._planner.show_session(session)

    def close(self) -> None:
        if self._planner is not None:
            self._planner.close()
            self._planner.deleteLater()
        if self._export_job is not None:
            self._export_job.cancel()
            self._export_job.wait()


def _open_folder(folder: Path) -> None:
    """In the desktop's own file manager."""
    QDesktopServices.openUrl(QUrl.fromLocalFile(str(folder)))
