"""The right button: what can be done with what lies under it, as commands with their keys."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QIcon, QPixmap
from PySide6.QtWidgets import QMenu, QWidget

from lagline.desk.actions import Actions
from lagline.desk.commanding.marker_commands import MarkerCommands
from lagline.desk.lanes.selection import Selection
from lagline.desk.parts import DeskParts
from lagline.desk.theme import theme_of
from lagline.session.colours import with_colour

GROUP = ""
FINDING = ("accept", "runner_up", "put_back", "guide_finding")
LANE = (
    *FINDING[:-1], GROUP, "same_sound", "type_shift", "copy_shifts", "paste_shifts", GROUP,
    "polarity", "mute", "solo", "anchor", "link", GROUP, "rename", "fold", "move_up", "move_down", "remove",
)  # fmt: skip
TIME = ("play", "loop", "zoom_loop", GROUP, "fit", "zoom_samples", "next_attack", "last_attack", GROUP)
RULER = (
    *TIME,
    "marker",
    "next_marker",
    "last_marker",
    GROUP,
    "loop_start",
    "loop_stop",
    "loop_view",
    "loop_whole",
)
MARK = 12


class ContextMenus:
    """One for a lane's header, its wave, the ruler, the sum and a finding. A lane under the pointer is chosen
    first, unless it is one of several chosen ones."""

    def __init__(self, parts: DeskParts, actions: Actions, markers: MarkerCommands) -> None:
        self._parts, self._actions, self._markers = parts, actions, markers
        parts.lanes.stack.menu_requested.connect(self._lane)
        self._on(parts.lanes.ruler, RULER)
        self._on(parts.lanes.sum, TIME[:-1])

    def on_findings(self, table: QWidget) -> None:
        """Give the table of findings its menu; the line under the pointer was chosen by the press."""
        self._on(table, FINDING)

    def _on(self, widget: QWidget, commands: tuple[str, ...]) -> None:
        widget.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
        widget.customContextMenuRequested.connect(partial(self._show, widget, commands))

    def _show(self, widget: QWidget, commands: tuple[str, ...], at: QPoint) -> None:
        if self._parts.store.session is None:
            return
        menu, ruler = self._menu(commands), self._parts.lanes.ruler
        marker = ruler.marker_at(at.x()) if widget is ruler else None
        if marker is not None:
            menu.addSeparator()
            menu.addAction(f"Rename marker {marker.name}…", partial(self._markers.rename, marker))
            menu.addAction(f"Remove marker {marker.name}", partial(self._markers.remove, marker))
        menu.popup(widget.mapToGlobal(at))

    def _lane(self, lane_id: str, at: QPoint, is_wave: bool) -> None:
        stack = self._parts.lanes.stack
        if lane_id not in stack.selection.chosen:
            stack.select(Selection().only(lane_id))
        menu = self._menu((*(TIME if is_wave else ()), *LANE))
        self._add_colours(menu, lane_id)
        menu.popup(at)

    def _menu(self, commands: tuple[str, ...]) -> QMenu:
        menu = QMenu(self._parts.window)
        menu.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        for command_id in commands:
            if command_id == GROUP:
                menu.addSeparator()
            else:
                menu.addAction(self._actions[command_id])
        return menu

    def _add_colours(self, menu: QMenu, lane_id: str) -> None:
        theme = theme_of(menu.palette())
        colours = menu.addMenu("Colour")
        for number, colour in enumerate(theme.lanes):
            picture = QPixmap(MARK, MARK)
            picture.fill(colour)
            colours.addAction(QIcon(picture), f"Colour {number + 1}", partial(self._colour, lane_id, number))

    def _colour(self, lane_id: str, number: int) -> None:
        self._parts.edits.apply("Colour of a lane", lambda old: with_colour(old, lane_id, number))
