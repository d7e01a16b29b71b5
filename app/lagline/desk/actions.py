"""Commands as Qt actions: menus, keys, and which keys a control keeps for itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import QObject, Qt
from PySide6.QtGui import QAction, QKeyEvent, QKeySequence
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSpinBox,
    QComboBox,
    QLineEdit,
    QMainWindow,
    QMenu,
    QSlider,
    QTabBar,
    QWidget,
)

from lagline.desk.commands import COMMANDS, LETTERS, MENUS, Command

Handler = Callable[[], object]


class Actions:
    """One QAction a command. `window` holds those of everywhere, `lanes` those of the lanes."""

    def __init__(self, window: QMainWindow, lanes: QWidget, handlers: Mapping[str, Handler]) -> None:
        missing = {one.id for one in COMMANDS} ^ set(handlers)
        if missing:
            raise KeyError(f"commands without a handler, or handlers without a command: {sorted(missing)}")
        self._by_id: dict[str, QAction] = {}
        self._has_take: bool | None = None
        self.menus: dict[str, QMenu] = {}
        for name in MENUS:
            letter = LETTERS.get(name, name[0])
            self.menus[name] = window.menuBar().addMenu(name.replace(letter, f"&{letter}", 1))
        for command in COMMANDS:
            action = QAction(command.text, window)
            action.setObjectName(command.id)
            action.setCheckable(command.is_check)
            action.setShortcuts([QKeySequence(key) for key in command.keys])
            action.setAutoRepeat(
                command.id not in ("play", "toggle", "toggle_in_lanes", "mute", "solo", "polarity", "loop")
            )
            action.setMenuRole(QAction.MenuRole.NoRole)
            action.triggered.connect(_Call(action, handlers[command.id]))
            self._place(action, command, window, lanes)
            self._by_id[command.id] = action

    def _place(self, action: QAction, command: Command, window: QMainWindow, lanes: QWidget) -> None:
        holder: QWidget = window
        if command.where == "lanes":
            action.setShortcutContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            if command.id == "toggle_in_lanes":  # Tab must still walk through a header's controls
                action.setShortcutContext(Qt.ShortcutContext.WidgetShortcut)
            holder = lanes
        holder.addAction(action)
        if command.in_menu:
            menu = self.menus[command.menu]
            if command.starts_group:
                menu.addSeparator()
            menu.addAction(action)

    def __getitem__(self, command_id: str) -> QAction:
        return self._by_id[command_id]

    def check(self, command_id: str, on: bool) -> None:
        """Show a command that is on or off as it is, without running it."""
        self._by_id[command_id].setChecked(on)

    def show_take(self, there: bool) -> None:
        """Switch off what needs a take while there is none."""
        if there == self._has_take:
            return
        self._has_take = there
        for command in COMMANDS:
            if command.needs_take:
                self._by_id[command.id].setEnabled(there)

    def show_history(self, undo_name: str | None, redo_name: str | None) -> None:
        """Name in the menu what undo and redo would do; None for nothing."""
        for command_id, name in (("undo", undo_name), ("redo", redo_name)):
            action = self._by_id[command_id]
            verb = command_id.capitalize()
            action.setText(f"{verb} “{name}”" if name else verb)
            action.setEnabled(name is not None)


class _Call(QObject):
    """Drops the checked state that `triggered` sends along."""

    def __init__(self, action: QAction, handler: Handler) -> None:
        super().__init__(action)
        self._handler = handler

    def __call__(self, _checked: bool = False) -> None:
        self._handler()


_ENTER = frozenset({Qt.Key.Key_Return, Qt.Key.Key_Enter})
_ACROSS = {Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Home, Qt.Key.Key_End}
_ALONG = {Qt.Key.Key_Up, Qt.Key.Key_Down, Qt.Key.Key_Home, Qt.Key.Key_End}
_OWN_KEYS: tuple[tuple[type[QWidget], frozenset[int]], ...] = (
    (QAbstractButton, _ENTER),
    (QComboBox, frozenset({*_ENTER, *_ALONG})),
    (QLineEdit, frozenset({*_ENTER, Qt.Key.Key_Escape})),
    (QAbstractSpinBox, frozenset({*_ENTER, Qt.Key.Key_Escape, Qt.Key.Key_Up, Qt.Key.Key_Down})),
    (QSlider, frozenset({*_ACROSS, *_ALONG})),
    (QTabBar, frozenset(_ACROSS)),
    (QAbstractItemView, frozenset(_ALONG)),
)


def keeps_key(widget: QWidget | None, event: QKeyEvent) -> bool:
    """Whether the control that has the focus lives on this key, so that no shortcut may take it.

    Without it arrows would not move a slider. Space is nobody's: it plays, except where a text is written,
    and what others do with Space `ButtonKeys` does with Enter.
    """
    if event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier:
        return False
    return any(isinstance(widget, kind) and event.key() in keys for kind, keys in _OWN_KEYS)
