"""The two doors into the desk: a window for a person, a picture for a machine without a display."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QCoreApplication, QEventLoop, QSettings, Qt, QTimer
from PySide6.QtGui import QPalette
from PySide6.QtWidgets import QApplication

from lagline.desk.app_icon import app_icon
from lagline.desk.faults import Faults
from lagline.desk.file_opening import follow_system
from lagline.desk.settings import SCALES, DeskSettings
from lagline.desk.style import dress
from lagline.desk.window import DeskWindow
from lagline.errors import CannotWrite
from lagline.playback.player import Player
from lagline.session.storage import load
from lagline.session.values import Session

PICTURE_PATIENCE_S = 120.0
SWITCH_INTERVAL_S = 0.0005


def open_desk(paths: Sequence[Path], *, measure: bool = False) -> int:
    """Run the desk on these files (a session, or recordings and folders); returns when it is closed.

    With `measure` the take is measured as soon as it is there, so that a newcomer sees findings first.
    """
    settings = QSettings("Lagline", "Lagline")
    percent = DeskSettings(settings).scale_percent
    if percent != SCALES[0]:
        os.environ.setdefault("QT_SCALE_FACTOR", f"{percent / 100:g}")  # read once, by the application
    application = make_application(sys.argv)
    dress(application, DeskSettings(settings).theme)
    window = DeskWindow(Player(), settings)
    application.styleHints().colorSchemeChanged.connect(window.follow_system_theme)
    follow_system(application, window.open_paths)
    faults = Faults(window)
    faults.told.connect(window.parts.messages.show_problem)
    faults.install()
    # Queued: questions and takes come when the whole window is there.
    window.first_painted.connect(
        lambda: _begin(window, paths, measure=measure), Qt.ConnectionType.QueuedConnection
    )
    window.show()
    _end_on_signals(window)
    try:
        return application.exec()
    finally:
        faults.remove()


def _end_on_signals(window: DeskWindow) -> None:
    """A system that asks to end gets no question: unsaved work is kept, and offered at the next start."""

    def end(number: int, _frame: object) -> None:
        window.parts.keeping.autosaver.tick()
        window.parts.keeping.autosaver.wait()
        for child in multiprocessing.active_children():
            child.kill()
        os._exit(128 + number)

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):  # Windows has no SIGHUP
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), end)


def _begin(window: DeskWindow, paths: Sequence[Path], *, measure: bool = False) -> None:
    window.parts.playing.look_for_devices(quietly=True)
    if window.parts.files.offer_left_behind():
        if paths:
            window.parts.messages.show_note(
                "Your unsaved work is on the desk again. Save it, then open what you meant to open.",
                "open",
                "Open…",
            )
    elif paths:
        if measure:
            _measure_first_take(window)
        window.open_paths(list(paths))
    elif window.parts.store.session is None:
        window.commands.welcome_newcomer()


def _measure_first_take(window: DeskWindow) -> None:
    """Once the take that was asked for is there; a demo take is measured anyway."""
    window.parts.files.opened.connect(
        lambda _session: QTimer.singleShot(0, window, window.parts.measuring.measure),
        Qt.ConnectionType.SingleShotConnection,
    )


def picture_of_desk(
    session: Session | Path, png: Path, width: int = 1280, height: int = 800, *, dark: bool = False
) -> None:
    """Draw the desk with a session into a PNG file. Needs no display and no sound device.

    Parameters
    ----------
    session : the session, or its file.
    width, height : of the picture, in pixels.

    Raises
    ------
    SessionError, MediaError
        The session cannot be read.
    CannotWrite
    """
    if QCoreApplication.instance() is None:
        os.environ["QT_QPA_PLATFORM"] = "offscreen"
    application = make_application(["lagline"])
    before = application.palette(), application.styleSheet()
    dress(application, "dark" if dark else "light")
    path = session if isinstance(session, Path) else None
    value = load(session) if isinstance(session, Path) else session
    with tempfile.TemporaryDirectory() as folder:
        # Settings of its own: Qt replaces the file it is given by a new one. Run by the superuser it would
        # turn even the null device into a file.
        settings = QSettings(str(Path(folder) / "settings.ini"), QSettings.Format.IniFormat)
        window = DeskWindow(Player(measure_levels=False), settings)
        try:
            window.setAttribute(Qt.WidgetAttribute.WA_DontShowOnScreen)
            window.resize(width, height)
            window.show()
            window.show_take(value, path)
            _wait_until_drawn(application, window)
            if not window.grab().save(str(png), "PNG"):
                raise CannotWrite(png, "the picture could not be stored")
        finally:
            _put_away(application, window, before)


def _put_away(application: QApplication, window: DeskWindow, before: tuple[QPalette, str]) -> None:
    window.shut_down()
    window.parts.settings.sync()  # while its file may still be there
    window.hide()
    window.deleteLater()
    application.setPalette(before[0])
    application.setStyleSheet(before[1])
    application.sendPostedEvents()
    application.processEvents()


def make_application(arguments: list[str]) -> QApplication:
    """The application, made once, with its name and icon."""
    # Qt lets go of the interpreter at every call; with reading threads about, each call would wait 5 ms
    # for a thread that is not in a hurry.
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    found = QApplication.instance()
    application = found if isinstance(found, QApplication) else QApplication(arguments)
    application.setApplicationName("Lagline")
    application.setApplicationDisplayName("Lagline")
    application.setDesktopFileName("lagline")  # ties the window to assets/packaging/lagline.desktop
    application.setWindowIcon(app_icon())
    return application


def _wait_until_drawn(application: QApplication, window: DeskWindow) -> None:
    """Until overviews and sums are there: the picture must not show a half-read take."""
    end = time.monotonic() + PICTURE_PATIENCE_S
    while time.monotonic() < end:
        application.processEvents(QEventLoop.ProcessEventsFlag.AllEvents, 50)
        if window.is_drawn():
            break
        time.sleep(0.01)
    for _ in range(10):  # what the last signals asked for: layouts, repaints
        application.processEvents()
        time.sleep(0.02)
