"""Everything the desk can be told to do: one table behind menus, keys, the keyboard map and the search."""

from __future__ import annotations

from typing import Literal

from msgspec import Struct

Where = Literal["window", "lanes"]


class Command(Struct, frozen=True):
    """`keys` in Qt's portable spelling. `where` "lanes": the keys act while the lanes have the focus."""

    id: str
    menu: str
    text: str
    keys: tuple[str, ...] = ()
    where: Where = "window"
    is_check: bool = False
    needs_take: bool = True
    starts_group: bool = False  # a line above it in the menu
    in_menu: bool = True


def _c(id: str, menu: str, text: str, *keys: str, **more: object) -> Command:
    return Command(id=id, menu=menu, text=text, keys=keys, **more)  # type: ignore[arg-type]


MENUS = ("Take", "Day", "Edit", "Measure", "Lane", "Listen", "Version", "View", "Help")
LETTERS = {"Listen": "s", "View": "w"}  # that open a menu with Alt, where its first one is another's

COMMANDS: tuple[Command, ...] = (
    _c("open", "Take", "Open recordings or a session…", "Ctrl+O", needs_take=False),
    _c("open_folder", "Take", "Open a folder…", "Ctrl+Shift+O", needs_take=False),
    _c("add", "Take", "Add recordings to this take…", "Ctrl+Shift+A"),
    _c("demo", "Take", "Open the demo session", needs_take=False),
    _c("save", "Take", "Save", "Ctrl+S", starts_group=True),
    _c("save_as", "Take", "Save as…", "Ctrl+Shift+S"),
    _c("restore_points", "Take", "Restore points…"),
    _c("export", "Take", "Deliver…", "Ctrl+E", starts_group=True),
    _c("sheet", "Take", "Delay sheet…", "Ctrl+Shift+E"),
    _c("copy_sheet", "Take", "Copy the delay sheet", "Ctrl+Shift+C"),
    _c("save_setup", "Take", "Save a setup…", "Ctrl+Shift+R", starts_group=True),
    _c("apply_setup", "Take", "Apply a setup…", "Ctrl+R", needs_take=False),
    _c("health", "Take", "Health of the recordings…", "Ctrl+H", starts_group=True),
    _c("plan", "Take", "Plan a session…", "Ctrl+P", needs_take=False),
    _c("close", "Take", "Close the take", "Ctrl+W", starts_group=True),
    _c("quit", "Take", "Quit", "Ctrl+Q", needs_take=False),
    _c("takes_open", "Day", "A day’s takes…", "Ctrl+T", needs_take=False),
    _c("takes_list", "Day", "Takes list", "F8", is_check=True, needs_take=False),
    _c("takes_watch", "Day", "Watch the folders", is_check=True, needs_take=False),
    _c("take_next", "Day", "Next take", "Ctrl+PgDown", needs_take=False, starts_group=True),
    _c("take_before", "Day", "Take before", "Ctrl+PgUp", needs_take=False),
    _c("takes_measure", "Day", "Measure the takes", needs_take=False, starts_group=True),
    _c("takes_setup", "Day", "Hold the takes against…", needs_take=False),
    _c("takes_accept", "Day", "Accept where nothing differs", needs_take=False),
    _c("takes_accept_moved", "Day", "Accept the takes as measured", needs_take=False),
    _c("takes_decide", "Day", "Decide for all takes…", needs_take=False),
    _c("takes_deliver", "Day", "Deliver the takes…", needs_take=False, starts_group=True),
    _c("takes_retry", "Day", "Try the failed takes again", needs_take=False),
    _c("undo", "Edit", "Undo", "Ctrl+Z"),
    _c("redo", "Edit", "Redo", "Ctrl+Shift+Z", "Ctrl+Y"),
    _c("marker", "Edit", "Marker at the playhead, or over the chosen stretch", "Q", starts_group=True),
    _c("search", "Edit", "Find a command…", "Ctrl+K", needs_take=False, starts_group=True),
    _c("settings", "Edit", "Settings…", "Ctrl+,", needs_take=False),
    _c("measure", "Measure", "Measure", "Ctrl+M"),
    _c("cancel", "Measure", "Stop what is running", "Esc", needs_take=False),
    _c("accept_strong", "Measure", "Accept all strong findings", "Ctrl+Return", starts_group=True),
    _c("accept_sound", "Measure", "Accept strong and usable findings", "Ctrl+Shift+Return"),
    _c("accept", "Measure", "Accept the lane’s finding", "Y"),
    _c("runner_up", "Measure", "Try the lane’s next place", "R"),
    _c("put_back", "Measure", "Put the lane back", "Backspace", where="lanes"),
    _c("lane_up", "Lane", "Lane above", "Up", where="lanes", in_menu=False),
    _c("lane_down", "Lane", "Lane below", "Down", where="lanes", in_menu=False),
    _c("extend_up", "Lane", "Choose the lane above too", "Shift+Up", where="lanes", in_menu=False),
    _c("extend_down", "Lane", "Choose the lane below too", "Shift+Down", where="lanes", in_menu=False),
    _c("choose_all", "Lane", "Choose all lanes", "Ctrl+A", where="lanes"),
    _c("earlier", "Lane", "Earlier by 1 sample", "Left", where="lanes", starts_group=True),
    _c("later", "Lane", "Later by 1 sample", "Right", where="lanes"),
    _c("earlier_fine", "Lane", "Earlier by 0.1 sample", "Alt+Left", where="lanes", in_menu=False),
    _c("later_fine", "Lane", "Later by 0.1 sample", "Alt+Right", where="lanes", in_menu=False),
    _c("earlier_ten", "Lane", "Earlier by 10 samples", "Shift+Left", where="lanes", in_menu=False),
    _c("later_ten", "Lane", "Later by 10 samples", "Shift+Right", where="lanes", in_menu=False),
    _c("earlier_ms", "Lane", "Earlier by 1 ms", "Ctrl+Left", where="lanes", in_menu=False),
    _c("later_ms", "Lane", "Later by 1 ms", "Ctrl+Right", where="lanes", in_menu=False),
    _c("type_shift", "Lane", "Type a shift", "Return", "Enter", where="lanes"),
    _c("copy_shifts", "Lane", "Copy the shifts", "Ctrl+C", where="lanes"),
    _c("paste_shifts", "Lane", "Paste shifts", "Ctrl+V", where="lanes"),
    _c("polarity", "Lane", "Flip the polarity", "P"),
    _c("mute", "Lane", "Mute", "M", starts_group=True),
    _c("solo", "Lane", "Solo", "S"),
    _c("type_gain", "Lane", "Type a gain", "G"),
    _c("anchor", "Lane", "Line the others up on this lane", "T", starts_group=True),
    _c("same_sound", "Lane", "Line two lanes up on the same sound", "B"),
    _c("link", "Lane", "Link or unlink the chosen lanes", "Ctrl+L"),
    _c("rename", "Lane", "Rename…", "F2"),
    _c("move_up", "Lane", "Move up", "Ctrl+Shift+Up", where="lanes"),
    _c("move_down", "Lane", "Move down", "Ctrl+Shift+Down", where="lanes"),
    _c("remove", "Lane", "Remove the lane from the session", "Delete", where="lanes"),
    _c("play", "Listen", "Play or stop", "Space"),
    _c("run_up", "Listen", "Play from 2 s earlier", "Shift+Space"),
    _c("play_attack", "Listen", "Play from the previous attack", "Ctrl+Space"),
    _c("play_loop", "Listen", "Play the loop from its beginning", "Shift+L"),
    _c("to_start", "Listen", "To the start", "Home"),
    _c("hear_original", "Listen", "Hear the original", "1", starts_group=True),
    _c("hear_2", "Listen", "Hear the shifted version", "2"),
    _c("toggle", "Listen", "Before and after, back and forth", "X"),
    _c("toggle_in_lanes", "Listen", "Before and after, from the lanes", "Tab", where="lanes", in_menu=False),
    _c("equal", "Listen", "Equal loudness", "E", is_check=True),
    _c("difference", "Listen", "Hear only the difference", "D", is_check=True),
    _c("mono", "Listen", "Mono", "Shift+M", is_check=True),
    _c("moment", "Listen", "Switch at the same moment of the music", "J", is_check=True),
    _c("loop", "Listen", "Loop", "L", is_check=True, starts_group=True),
    _c("loop_start", "Listen", "Loop starts at the playhead", "I"),
    _c("loop_stop", "Listen", "Loop ends at the playhead", "O"),
    _c("loop_view", "Listen", "Loop what is in view", "Ctrl+I"),
    _c("loop_attack", "Listen", "Loop around the attack in view", "K"),
    _c("loop_sustain", "Listen", "Loop what sounds on after the attack in view", "Shift+K"),
    _c("loop_whole", "Listen", "Loop the whole take", "Alt+K"),
    _c("louder", "Listen", "Monitor louder", "]", needs_take=False, starts_group=True),
    _c("quieter", "Listen", "Monitor quieter", "[", needs_take=False),
    _c("dim", "Listen", "Dim", "U", is_check=True, needs_take=False),
    _c("trial", "Listen", "Blind trial…", "Ctrl+B", starts_group=True),
    _c("output", "Listen", "Output and hearing guard…", needs_take=False),
    _c("caution", "Listen", "Caution with headphones…", needs_take=False),
    *(_c(f"hear_{n}", "Version", f"Hear version {n}", str(n), in_menu=False) for n in range(3, 10)),
    _c("stay", "Version", "Stay on this version while listening to others", "Shift+S", is_check=True),
    _c("version_new", "Version", "New version, nothing shifted", "Ctrl+N", starts_group=True),
    _c("version_copy", "Version", "Duplicate this version", "Ctrl+D"),
    _c("version_rename", "Version", "Rename this version…"),
    _c("version_delete", "Version", "Delete this version"),
    _c("zoom_in", "View", "Closer", "+", "="),
    _c("zoom_out", "View", "Wider", "-"),
    _c("fit", "View", "The whole take", "0"),
    _c("zoom_samples", "View", "Down to single samples", "Z"),
    _c("zoom_loop", "View", "The chosen stretch, or the loop", "Shift+Z"),
    _c("taller", "View", "Taller waveforms", "Ctrl+Up"),
    _c("flatter", "View", "Flatter waveforms", "Ctrl+Down"),
    _c("next_attack", "View", "Next strong attack", "A", starts_group=True),
    _c("last_attack", "View", "Strong attack before", "Shift+A"),
    _c("next_marker", "View", "Next marker", "."),
    _c("last_marker", "View", "Marker before", ","),
    _c("anchor_behind", "View", "Anchor behind every lane", "H", is_check=True, starts_group=True),
    _c("follow", "View", "Follow the playhead", "F", is_check=True, needs_take=False),
    _c("drags_shift", "View", "Drag to shift lanes, not to choose time", "V", is_check=True),
    _c("magnet", "View", "Snap while dragging", "Ctrl+G", is_check=True, needs_take=False),
    _c("fold", "View", "Fold or unfold the chosen lanes", "C"),
    _c("unit", "View", "Next unit", "Ctrl+U", needs_take=False),
    _c("panel", "View", "Side panel", "F9", is_check=True, needs_take=False, starts_group=True),
    _c("tab_1", "View", "Findings", "Ctrl+1"),
    _c("tab_2", "View", "Close-up", "Ctrl+2"),
    _c("tab_3", "View", "Tone", "Ctrl+3"),
    _c("tab_4", "View", "Versions", "Ctrl+4"),
    _c("tab_5", "View", "Combinations", "Ctrl+5"),
    _c("next_area", "View", "Next area", "F6", needs_take=False, in_menu=False),
    _c("last_area", "View", "Area before", "Shift+F6", needs_take=False, in_menu=False),
    _c("full_screen", "View", "Full screen", "F11", is_check=True, needs_take=False),
    _c("guide", "Help", "Guide", "Shift+F1", needs_take=False),
    _c("guide_finding", "Help", "About the lane’s finding", "Ctrl+F1"),
    _c("keys", "Help", "Keyboard map", "F1", "?", needs_take=False, starts_group=True),
    _c("welcome", "Help", "Welcome…", needs_take=False),
    _c("licences", "Help", "Licences", needs_take=False),
    _c("about", "Help", "About Lagline", needs_take=False),
)


def command(command_id: str) -> Command:
    """Raises KeyError."""
    for known in COMMANDS:
        if known.id == command_id:
            return known
    raise KeyError(command_id)
