"""Walks through the whole desk and pictures what it shows. Run by make_contact_sheet.py."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from msgspec.structs import replace
from PySide6.QtCore import QPoint, QSettings, Qt, QTimer
from PySide6.QtGui import QGuiApplication
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QDialog, QListView, QWidget

from lagline.desk.app import make_application
from lagline.desk.commanding.view_commands import ROOM_FOR_PANEL
from lagline.desk.session_hold import HeldFile
from lagline.desk.style import dress
from lagline.desk.window import DeskWindow
from lagline.playback.player import Player
from lagline.session.edits import with_new_version, with_shift, with_version
from lagline.session.lock import take
from lagline.session.storage import load, save, stamp
from lagline.session.values import Session, Version

PATIENCE_S = 30.0
RECOVER = (
    "Unsaved work was found",
    "Lagline ended before the last changes to chapel.lagline were saved.",
    "They were kept on 2025-03-09 at 14:02. Go on with them, or set them aside as a session of their own?",
    "Recover them",
    "Set them aside",
)


class Camera:
    """One desk, one theme: `snap` keeps a picture, `dialog` one of the dialog that a call opens."""

    def __init__(self, application: QApplication, window: DeskWindow, folder: Path, only: str) -> None:
        self.application, self.window, self._folder, self._only = application, window, folder, only
        self._count = 0
        folder.mkdir(parents=True, exist_ok=True)

    def snap(self, name: str, widget: QWidget | None = None) -> None:
        self.settle()
        self._count += 1
        shown = widget or self.window
        if self._only in name:
            shown.grab().save(str(self._folder / f"{self._count:02d}-{name}.png"), "PNG")
        room = QGuiApplication.primaryScreen().availableGeometry()
        if shown.width() > room.width() or shown.height() > room.height():
            print(f"does not fit: {name}, {shown.width()} x {shown.height()} on {self._folder}")

    def settle(self, seconds: float = 0.15) -> None:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.application.processEvents()
            time.sleep(0.005)

    def wait(self, done: Callable[[], bool], what: str) -> None:
        end = time.monotonic() + PATIENCE_S
        while not done():
            self.application.processEvents()
            time.sleep(0.005)
            if time.monotonic() > end:
                print(f"waited for {what} in vain ({self._folder})")
                return

    def dialog(
        self, name: str, show: Callable[[], object], use: Callable[[QDialog], None] | None = None
    ) -> None:
        """Picture the modal dialog that `show` opens, after `use`, and close it."""

        def look() -> None:
            dialog = QApplication.activeModalWidget()
            if not isinstance(dialog, QDialog):
                print(f"no dialog for {name}")
                return
            try:
                if use is not None:
                    use(dialog)
                self.snap(name, dialog)
            finally:
                dialog.done(0)

        QTimer.singleShot(250, look)
        show()

    def open(self, session: Session) -> None:
        self.window.show_take(session)
        self.wait(self.window.is_drawn, "the take")
        self.settle(0.4)
        self.window.parts.messages.close_message()


def walk(camera: Camera, takes: Path) -> None:
    """Every screen, in the order in which a person meets them."""
    chapel, kit = (load(takes / f"{name} measured.lagline") for name in ("chapel", "kit"))
    accepted = load(takes / "chapel accepted.lagline")
    window = camera.window
    camera.snap("empty")
    window.parts.empty.show_target(True)
    camera.snap("drop here")
    window.parts.empty.show_target(False)
    window.show_take(replace(chapel, alignment=None, anchor_id=None))
    camera.wait(window.is_drawn, "the take")
    camera.settle(0.5)
    camera.snap("opened")
    window.commands.work.measure()
    camera.settle(0.6)
    camera.snap("measuring")
    window.parts.measuring.cancel()
    window.parts.messages.show_problem(
        "near_left.wav is missing: put it back, or point the lane to its place."
    )
    camera.snap("problem")
    window.parts.messages.close_message()
    window.show_take(chapel)
    camera.wait(window.is_drawn, "the take")
    window.commands.work.tell_measured()
    camera.snap("measured")
    camera.open(accepted)
    evidence(camera)
    panels(camera)
    lanes(camera, accepted)
    camera.open(load(takes / "kit accepted.lagline"))
    camera.snap("kit")
    many = replace(kit, alignment=None, name="Thirty-two lanes", lanes=tuple(copies(kit, 32)))
    camera.open(many)
    camera.snap("32 lanes")
    camera.open(with_kept_version(accepted))
    dialogs(camera)
    planner(camera)


def copies(session: Session, count: int) -> list[object]:
    there = session.lanes
    return [
        replace(there[n % len(there)], id=f"many{n}", name=f"{there[n % len(there)].name}_{n + 1}")
        for n in range(count)
    ]


def with_kept_version(session: Session) -> Session:
    kept = with_new_version(session, "Half of the distance", session.current_version_id)
    version = kept.current_version
    moves = {
        lane_id: replace(move, shift_samples=move.shift_samples / 2)
        for lane_id, move in version.moves.items()
    }
    kept = with_version(
        kept, Version(version.id, version.name, moves=moves, note="Some of the room may stay.")
    )
    return replace(kept, current_version_id=session.current_version_id)


def evidence(camera: Camera) -> None:
    window = camera.window
    tabs = window.parts.side.tabs
    window.commands.choose_lane(window.parts.store.session.lane_named("pickup").id)
    window.commands.view.show_tab(0)  # small screens keep the panel away until it is asked for
    for index in range(tabs.evidence.tabs.count()):
        tabs.evidence.tabs.setCurrentIndex(index)
        camera.wait(lambda: not window.commands.tone._task.is_busy, "the tone")
        camera.snap(f"evidence {tabs.evidence.tabs.tabText(index).lower()}")
    tabs.evidence.tabs.setCurrentIndex(0)


def panels(camera: Camera) -> None:
    window = camera.window
    tabs, commands = window.parts.side.tabs, window.commands
    commands.view.show_tab(1)
    camera.snap("close-up empty")
    commands.work.step_attack(1)
    camera.settle(1.5)
    camera.snap("close-up")
    commands.view.show_tab(2)
    camera.settle(0.1)
    camera.snap("tone measuring")
    camera.wait(lambda: not commands.tone._task.is_busy, "the tone")
    for index in range(tabs.tone.tabs.count()):
        tabs.tone.tabs.setCurrentIndex(index)
        camera.settle(0.2)
        camera.snap(f"tone {tabs.tone.tabs.tabText(index).lower()}")
    commands.view.show_tab(3)
    camera.snap("versions")
    commands.view.show_tab(tabs.indexOf(tabs.board))
    camera.wait(lambda: not commands.board._task.is_busy, "the board")
    camera.settle(0.3)
    camera.snap("combinations")
    commands.view.show_tab(0)
    if window.width() < ROOM_FOR_PANEL:
        commands.view.run("panel")  # away again: the lanes need the room


def lanes(camera: Camera, session: Session) -> None:
    window = camera.window
    stack, commands = window.parts.lanes.stack, window.commands
    commands.view.run("zoom_samples")
    camera.settle(2.0)  # until the samples in view have been read
    camera.snap("single samples")
    commands.view.run("anchor_behind")
    camera.settle(0.3)
    camera.snap("anchor behind")
    commands.view.run("anchor_behind")
    commands.view.run("fit")
    wave = stack.row(session.lanes[0].id).wave
    QTest.mousePress(wave, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, QPoint(100, 20))
    stack._start_drag(session.lanes[0].id, 100)
    stack._drag(session.lanes[0].id, 160, False, False)
    camera.wait(window.is_drawn, "the sum")
    camera.snap("dragging")
    stack.hand.end(session.lanes[0].id)
    QTest.mouseRelease(wave, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, QPoint(100, 20))
    window.parts.store.undo()
    stack.select(stack.selection.only(session.lanes[1].id))
    stack.select(stack.selection.toggled(session.lanes[2].id))
    stack.toggle_fold()
    commands.listen.loop(True)
    camera.wait(window.is_drawn, "the sum")
    camera.snap("chosen folded looped")
    stack.toggle_fold()
    commands.listen.loop(False)
    menu = window.actions_by_id.menus["Listen"]
    menu.popup(window.mapToGlobal(QPoint(60, 40)))
    camera.snap("menu", menu)
    menu.hide()


def dialogs(camera: Camera) -> None:
    window = camera.window
    commands, questions = window.commands, window.parts.questions
    run = commands.view.run
    camera.dialog("welcome", commands.welcome)
    for name, command in (
        ("headphone caution", "caution"),
        ("settings", "settings"),
        ("keyboard map", "keys"),
        ("health", "health"),
        ("output", "output"),
        ("export", "export"),
        ("delay sheet", "sheet"),
        ("save a setup", "save_setup"),
        ("about", "about"),
    ):
        camera.dialog(name, partial(run, command))
    camera.dialog("open recordings", partial(open_files, camera), choose_all)
    camera.dialog("search", partial(run, "search"), lambda dialog: QTest.keyClicks(dialog.words, "loop"))
    camera.dialog("blind trial", partial(run, "trial"))
    camera.dialog("blind trial begun", partial(run, "trial"), begin_trial)
    camera.dialog("blind trial result", partial(run, "trial"), end_trial)
    camera.dialog("apply a setup", partial(apply_setup, camera))
    camera.dialog("unsaved", partial(questions.unsaved, "Chapel"))
    camera.dialog("recover", partial(questions.yes, *RECOVER))
    camera.dialog("open elsewhere", partial(questions.elsewhere, "chapel.lagline", "ada on studio-b"))
    camera.dialog("changed on disk", partial(questions.changed, "chapel.lagline"))
    camera.dialog("replace", partial(questions.may_replace, Path("chapel.lagline")))
    restoring(camera)
    camera.dialog(
        "missing",
        partial(questions.missing, ["near_left.wav is missing: it was in Takes/Chapel."], Path.home()),
    )
    camera.dialog("rename", partial(questions.text, "Rename the lane", "Name", "near_left"))


def restoring(camera: Camera) -> None:
    """A session saved some times, its restore points, and the message after somebody took it over."""
    window = camera.window
    session = window.parts.store.session
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "chapel.lagline"
        for number, hours in enumerate((120, 50, 26, 3, 2, 1, 0)):
            lane = session.lanes[number % len(session.lanes)]
            save(
                replace(with_shift(session, lane.id, 10.0 * number), notes="Verse first." * (number % 2)),
                file,
            )
            when = time.time() - hours * 3600
            os.utime(file, (when, when))
        lock = take(file)
        window.parts.keeping.show(load(file), HeldFile(lock, stamp(file)), saved=True)
        camera.wait(window.is_drawn, "the session")
        camera.dialog("restore points", partial(window.commands.view.run, "restore_points"), camera_settles)
        window.parts.keeping._give_up("ada on studio-b")
        camera.snap("taken over")
        window.parts.messages.close_message()


def camera_settles(_dialog: QDialog) -> None:
    QTest.qWait(500)  # the newest point is read on a thread


def open_files(camera: Camera) -> None:
    """The open dialog on copies of the demo's recordings."""
    session = camera.window.parts.store.session
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "Chapel"
        place.mkdir()
        for lane in session.lanes:
            shutil.copy(lane.source.path, place)
        camera.window.parts.questions.files_to_open(place)


def choose_all(dialog: QDialog) -> None:
    view = dialog.findChild(QListView, "listView")
    view.setFocus()
    view.selectAll()
    for _ in range(60):  # until they have been read
        QTest.qWait(50)


def begin_trial(dialog: QDialog) -> None:
    from lagline.desk.panels.trial_setup import TrialPlan

    dialog._begin(TrialPlan("abx", ("original", "v1"), 10))


def end_trial(dialog: QDialog) -> None:
    begin_trial(dialog)
    while dialog.is_running:
        dialog._answered("A" if dialog._trial.number % 3 else "B")


def apply_setup(camera: Camera) -> None:
    from lagline.session.setup import SUFFIX, save_setup, setup_of

    window = camera.window
    session = window.parts.store.session
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"chapel{SUFFIX}"
        save_setup(setup_of(session, session.current_version, "Chapel"), path)
        window.commands.setups._ask.setup_to_open = lambda _folder: path  # instead of the system's dialog
        window.commands.view.run("apply_setup")


def planner(camera: Camera) -> None:
    from lagline.desk.guide.guide_window import GuideWindow
    from lagline.desk.guide.topics import guide_folder

    window = camera.window
    window.commands.dialogs.plan()
    plan = window.commands.dialogs._planner
    for index in range(plan.tabs.count()):
        plan.tabs.setCurrentIndex(index)
        camera.settle(0.3)
        camera.snap(f"planner {plan.tabs.tabText(index).lower()}", plan)
    plan.hide()
    folder = guide_folder()
    if folder is not None:
        guide = GuideWindow(folder)
        guide.show()
        camera.snap("guide", guide)
        guide.close()


def main() -> None:
    out, takes = Path(sys.argv[1]), Path(sys.argv[2])
    only = sys.argv[3] if len(sys.argv) > 3 else ""
    application = make_application(["lagline"])
    for theme in ("light", "dark"):
        dress(application, theme)
        with tempfile.TemporaryDirectory() as folder:
            settings = QSettings(str(Path(folder) / "settings.ini"), QSettings.Format.IniFormat)
            window = DeskWindow(Player(measure_levels=False), settings)
            window.parts.settings.caution_read = window.parts.settings.welcomed = True
            window.setGeometry(QGuiApplication.primaryScreen().availableGeometry())
            window.show()
            window.parts.side.build()
            application.processEvents()
            camera = Camera(application, window, out / theme, only)
            try:
                walk(camera, takes)
            finally:
                window.shut_down()
                window.hide()
                window.deleteLater()
                application.sendPostedEvents()
                application.processEvents()


if __name__ == "__main__":
    main()
