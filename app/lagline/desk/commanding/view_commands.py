"""Commands about what is seen: zoom, panels, units, theme."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QWidget

from lagline.desk.actions import Actions, Handler
from lagline.desk.amounts import UNITS, Unit
from lagline.desk.commands import command
from lagline.desk.dialogs.command_search import CommandSearch
from lagline.desk.dialogs.keyboard_map import KeyboardMap
from lagline.desk.dialogs.settings_dialog import SettingsDialog
from lagline.desk.lanes.lane_wave import ZOOM_STEP
from lagline.desk.parts import DeskParts
from lagline.desk.style import dress
from lagline.desk.theme import ThemeChoice

ROOM_FOR_PANEL = 860  # pixels
SAMPLES_PER_PIXEL = 1 / 8  # "down to single samples"


class ViewCommands:
    """Commands that change what is in view, and nothing in the session."""

    def __init__(self, parts: DeskParts) -> None:
        self._parts = parts
        self.actions: Actions | None = None
        self.point_of_interest: Callable[[], float] = self._playhead
        self._steps_aside = False  # the panel, for want of room
        self._was_asked = False  # the person has shown or hidden the panel

    def handlers(self) -> dict[str, Handler]:
        times, stack = self._parts.times, self._parts.lanes.stack
        return {
            "zoom_in": partial(self._zoom, ZOOM_STEP**2),
            "zoom_out": partial(self._zoom, ZOOM_STEP**-2),
            "fit": times.fit,
            "zoom_samples": self._zoom_samples,
            "zoom_loop": self._zoom_loop,
            "taller": partial(stack.zoom_height, 1),
            "flatter": partial(stack.zoom_height, -1),
            "anchor_behind": self._toggle_anchor_behind,
            "follow": self._toggle_follow,
            "drags_shift": self.toggle_drags_shift,
            "magnet": self._toggle_magnet,
            "unit": self._next_unit,
            "panel": self._toggle_panel,
            **{f"tab_{number}": partial(self.show_tab, number - 1) for number in range(1, 6)},
            "next_area": partial(self._step_area, 1),
            "last_area": partial(self._step_area, -1),
            "full_screen": self._toggle_full_screen,
            "search": self._search,
            "settings": self._settings,
            "keys": self._keys,
        }

    def restore(self, actions: Actions) -> None:
        """Everything as the last run left it."""
        self.actions = actions
        settings = self._parts.settings
        self._show_anchor_behind(settings.anchor_behind)
        self._show_follow(settings.follow)
        self._show_magnet(settings.magnet)
        self._take_whole(settings.whole_within)
        self.show_unit(settings.unit)
        actions.check("panel", True)

    # zoom

    def _playhead(self) -> float:
        return self._parts.playing.state.position_samples

    def _zoom(self, factor: float) -> None:
        """Around the playhead when it is in view, else around the middle."""
        times = self._parts.times
        x = times.view.x_of(self._parts.playing.state.position_samples)
        times.zoom(factor, x if 0 <= x <= times.width else None)

    def _zoom_samples(self) -> None:
        times = self._parts.times
        here = self.point_of_interest()
        first, last = times.seen
        centre = here if first <= here <= last else 0.5 * (first + last)
        half = 0.5 * times.width * SAMPLES_PER_PIXEL
        times.show_range(centre - half, centre + half)

    def _zoom_loop(self) -> None:
        session, times = self._parts.store.session, self._parts.times
        stretch = times.chosen or (session.loop if session is not None else None)
        if stretch is not None:
            times.show_range(*stretch)

    # choices that are kept

    def _toggle_anchor_behind(self) -> None:
        self._show_anchor_behind(not self._parts.settings.anchor_behind)

    def _show_anchor_behind(self, on: bool) -> None:
        self._parts.settings.anchor_behind = on
        self._parts.lanes.stack.show_anchor_behind(on)
        self._check("anchor_behind", on)

    def _toggle_follow(self) -> None:
        self._show_follow(not self._parts.settings.follow)

    def _show_follow(self, on: bool) -> None:
        self._parts.settings.follow = on
        self._parts.lanes.let_follow(on)
        self._check("follow", on)

    def toggle_drags_shift(self) -> None:
        """Let drags over a wave shift its lane, or let them choose a stretch of time again."""
        on = not self._parts.lanes.stack.drags_shift
        self._parts.lanes.let_drags_shift(on)
        self._check("drags_shift", on)

    def _take_whole(self, on: bool) -> None:
        self._parts.settings.whole_within = on
        self._parts.edits.rounding = "within" if on else "none"

    def _toggle_magnet(self) -> None:
        self._show_magnet(not self._parts.settings.magnet)

    def _show_magnet(self, on: bool) -> None:
        self._parts.settings.magnet = on
        self._parts.lanes.stack.hand.has_magnet = on
        self._check("magnet", on)

    def _next_unit(self) -> None:
        self.show_unit(UNITS[(UNITS.index(self._parts.settings.unit) + 1) % len(UNITS)])

    def show_unit(self, unit: Unit) -> None:
        self._parts.settings.unit = unit
        self._parts.lanes.stack.show_unit(unit)

    def _show_theme(self, choice: ThemeChoice) -> None:
        self._parts.settings.theme = choice
        application = QApplication.instance()
        if isinstance(application, QApplication):
            dress(application, choice)

    # places

    def fit_panel(self, window_width: int) -> None:
        """In a narrow window the waveforms need the room; the panel's key brings it back."""
        side = self._parts.side
        if window_width < ROOM_FOR_PANEL and not side.isHidden() and not self._was_asked:
            side.hide()
            self._steps_aside = True
        elif window_width >= ROOM_FOR_PANEL and self._steps_aside:
            side.show()
            self._steps_aside = False
        self._check("panel", not side.isHidden())

    def _toggle_panel(self) -> None:
        self._was_asked, self._steps_aside = True, False
        side = self._parts.side
        side.setVisible(side.isHidden())
        self._check("panel", not side.isHidden())

    def show_tab(self, index: int) -> None:
        self._was_asked, self._steps_aside = True, False
        self._parts.side.show()
        self._check("panel", True)
        tabs = self._parts.side.tabs
        tabs.show_tab(index)
        if index == tabs.indexOf(tabs.board):
            tabs.board.table.setFocus()  # worked by keys from the first one on

    def _step_area(self, by: int) -> None:
        """F6: strip, lanes, side panel, takes list, and round again."""
        parts = self._parts
        areas = [parts.strip, parts.lanes, parts.side, parts.takes_panel]
        if parts.store.session is None:
            areas = [parts.empty, parts.takes_panel]
        there = [area for area in areas if area.isVisible()]
        focus = QApplication.focusWidget()
        here = next((i for i, area in enumerate(there) if focus and area.isAncestorOf(focus)), -by)
        area = there[(here + by) % len(there)]
        if area is parts.lanes:
            parts.lanes.stack.setFocus(Qt.FocusReason.ShortcutFocusReason)
            return
        for target in area.findChildren(QWidget):
            takes_tab = bool(target.focusPolicy() & Qt.FocusPolicy.TabFocus)
            if takes_tab and target.isVisible() and target.isEnabled():
                target.setFocus(Qt.FocusReason.TabFocusReason)
                return

    def _toggle_full_screen(self) -> None:
        window = self._parts.window
        (window.showNormal if window.isFullScreen() else window.showFullScreen)()
        self._check("full_screen", window.isFullScreen())

    # dialogs

    def _search(self) -> None:
        actions = self.actions
        if actions is None:
            return
        dialog = CommandSearch(self._is_enabled, self._parts.window)
        dialog.chosen.connect(self.run)
        self._parts.questions.show(dialog)

    def run(self, command_id: str) -> None:
        """Do what a command does, as if its key had been pressed."""
        if self.actions is not None:
            self.actions[command(command_id).id].trigger()

    def _is_enabled(self, command_id: str) -> bool:
        return self.actions is not None and self.actions[command_id].isEnabled()

    def _keys(self) -> None:
        self._parts.questions.show(KeyboardMap(self._parts.window))

    def _settings(self) -> None:
        session = self._parts.store.session
        dialog = SettingsDialog(
            self._parts.settings, session.temperature_c if session else None, self._parts.window
        )
        dialog.unit_requested.connect(self.show_unit)
        dialog.theme_requested.connect(self._show_theme)
        dialog.temperature_requested.connect(self._parts.edits.temperature)
        dialog.magnet_requested.connect(self._show_magnet)
        dialog.whole_within_requested.connect(self._take_whole)
        dialog.follow_requested.connect(self._show_follow)
        dialog.scale_requested.connect(partial(setattr, self._parts.settings, "scale_percent"))
        self._parts.questions.show(dialog)

    def _check(self, command_id: str, on: bool) -> None:
        if self.actions is not None:
            self.actions.check(command_id, on)
