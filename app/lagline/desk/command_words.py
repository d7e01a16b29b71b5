"""What people call the commands besides what the menus say, and finding a command by any of it. No Qt."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches

from lagline.desk.commands import COMMANDS, Command

ALSO: dict[str, str] = {
    "open": "load import read file files audio project wav drop browse",
    "open_folder": "load import directory browse",
    "add": "import insert new track file microphone mic more",
    "demo": "example sample tutorial try practice",
    "save": "store keep write project",
    "save_as": "store copy rename project",
    "export": "export bounce render print write mixdown stems files wav hand over send share pdf report note",
    "sheet": "table list print text delays digital delay unit type report",
    "copy_sheet": "clipboard text delays",
    "save_setup": "preset template store keep recall settings reuse",
    "apply_setup": "preset template recall load batch several takes day reuse copy settings paste shifts",
    "takes_open": "list folder session project songs all many batch days several directory load",
    "takes_list": "show hide window panel songs overview table",
    "takes_watch": "folder monitor live new automatic incoming recording hot",
    "take_next": "following forward song",
    "take_before": "previous song last",
    "takes_measure": "align all many batch analyse analyze every songs",
    "takes_setup": "compare setup template reference moved differences usual",
    "takes_accept": "apply all many confirm same unchanged batch",
    "takes_accept_moved": "apply all many confirm moved changed batch",
    "takes_decide": "version all many same balance mix copy paste batch",
    "takes_deliver": "export bounce render all many print report sheet batch songs",
    "takes_retry": "repeat errors failed redo",
    "health": "check clipping clipped noise hum errors problems file info format rate peak silence",
    "plan": "distance tape measure microphones mics placement room three to one notch comb calculator",
    "close": "shut leave empty",
    "quit": "exit leave end",
    "undo": "back revert step history oops",
    "redo": "again forward repeat history",
    "search": "commands look up menu",
    "settings": "preferences options configuration theme dark light colours colors appearance interface",
    "measure": "align alignment line up analyse analyze detect calculate find delay latency time offset "
    "sync synchronise synchronize auto automatic start arrival",
    "cancel": "cancel abort break escape halt",
    "accept_strong": "align auto automatic apply confirm best sure line up all correct fix",
    "accept_sound": "align auto automatic apply confirm all line up correct fix",
    "accept": "align apply confirm ok yes take over line up keep correct fix",
    "runner_up": "alternative other candidate guess peak audition preview",
    "put_back": "reset restore revert zero remove clear back default undo recorded",
    "lane_up": "previous track channel above select",
    "lane_down": "next track channel below select",
    "extend_up": "select several more",
    "extend_down": "select several more",
    "choose_all": "select everything all tracks channels",
    "earlier": "nudge move shift slide push left forward advance time",
    "later": "nudge move shift slide pull right delay time",
    "earlier_fine": "nudge move shift slide left fraction subsample",
    "later_fine": "nudge move shift slide right fraction subsample delay",
    "earlier_ten": "nudge move shift slide left",
    "later_ten": "nudge move shift slide right delay",
    "earlier_ms": "nudge move shift slide left millisecond milliseconds",
    "later_ms": "nudge move shift slide right millisecond milliseconds delay",
    "type_shift": "enter number value offset delay time distance edit set samples",
    "copy_shifts": "copy clipboard delay offset duplicate",
    "paste_shifts": "paste clipboard delay offset apply insert",
    "polarity": "phase invert inverse reverse flip swap upside down switch 180 negative",
    "mute": "silence off kill",
    "solo": "alone only isolate single",
    "type_gain": "volume level fader trim db loudness balance enter set",
    "anchor": "reference master base main line up align target relative",
    "same_sound": "align manually hand mark transient onset click first point sync match",
    "link": "group lock pair stereo couple tie together gang unlink ungroup",
    "rename": "name title label call track",
    "move_up": "order reorder sort arrange track",
    "move_down": "order reorder sort arrange track",
    "remove": "remove delete erase clear track channel drop",
    "play": "start stop pause transport listen run go",
    "to_start": "rewind beginning home first return zero",
    "hear_original": "dry bypass before raw unprocessed recorded as compare switch a",
    "hear_2": "wet processed after aligned compare switch b",
    "toggle": "toggle compare ab a/b switch bypass flip audition",
    "toggle_in_lanes": "toggle compare ab a/b switch bypass flip audition",
    "restore_points": "history earlier backup recover version revert undo old previous",
    "run_up": "pre-roll preroll earlier before back rewind",
    "play_attack": "transient hit onset from start pre-roll",
    "play_loop": "cycle repeat selection range start",
    "moment": "sync in step compare switch same place",
    "loop_sustain": "cycle repeat decay tail ring hold",
    "loop_whole": "cycle repeat all everything full",
    "dim": "quiet lower volume soft attenuate talk",
    "equal": "match level normalise normalize gain volume lufs loud fair",
    "difference": "null subtract delta side residual test minus",
    "mono": "sum fold down collapse compatibility",
    "loop": "repeat cycle region selection round again",
    "loop_start": "in point begin region selection marker",
    "loop_stop": "out point end region selection marker",
    "loop_view": "repeat cycle region selection visible screen",
    "loop_attack": "repeat cycle transient hit onset drum",
    "louder": "volume level gain up increase monitor headphones speakers turn",
    "quieter": "volume level gain down decrease softer lower dim monitor headphones speakers turn",
    "trial": "abx test compare ab listening double preference guess",
    "output": "audio device soundcard sound card interface speakers headphones driver buffer latency",
    "caution": "safety ears hearing volume warning protect loud",
    "stay": "hold lock freeze keep pin heard",
    "version_new": "snapshot alternative create add empty",
    "version_copy": "snapshot alternative clone copy save",
    "version_rename": "name title label snapshot",
    "version_delete": "remove erase snapshot",
    "zoom_in": "zoom magnify bigger larger enlarge in near",
    "zoom_out": "zoom smaller shrink out less far",
    "fit": "zoom fit all everything full overview reset window",
    "zoom_samples": "zoom magnify maximum detail waveform points",
    "zoom_loop": "zoom selection region fit",
    "taller": "height bigger vertical zoom amplitude waveform",
    "flatter": "height smaller vertical zoom amplitude waveform",
    "next_attack": "transient onset hit beat drum jump forward tab first sound",
    "last_attack": "transient onset hit beat drum jump back previous",
    "marker": "marker cue region section verse chorus bookmark flag memory location add",
    "next_marker": "marker cue locate jump forward",
    "last_marker": "marker cue locate jump back previous",
    "anchor_behind": "overlay reference ghost show compare superimpose",
    "follow": "scroll autoscroll chase playhead cursor",
    "drags_shift": "move slide nudge hand pointer tool mode select selection range cursor",
    "magnet": "magnet snapping grid stick quantise quantize",
    "fold": "collapse expand minimise minimize hide small shrink track",
    "unit": "units samples milliseconds ms metres meters feet centimetres inches distance",
    "panel": "sidebar hide show window dock inspector",
    "tab_1": "results table arrival trust evidence list",
    "tab_2": "transient detail zoom overlay",
    "tab_3": "spectrum frequency eq analyser analyzer comb response",
    "tab_5": "combine compare microphones board matrix choices which together sum",
    "tab_4": "snapshots notes comment alternatives compare history text",
    "next_area": "focus switch pane",
    "last_area": "focus switch pane previous",
    "full_screen": "fullscreen maximise maximize window big",
    "guide": "help manual documentation tutorial instructions learn how",
    "guide_finding": "help explain why what meaning",
    "keys": "shortcuts hotkeys keyboard keys help bindings",
    "welcome": "start introduction first tour wizard",
    "licences": "license legal credits open source",
    "about": "version number build info credits",
}  # fmt: skip


def matching(words: str, commands: tuple[Command, ...] = COMMANDS) -> tuple[Command, ...]:
    """Commands of which every word that was typed begins one, be it the menu's or what people say; those
    whose own text says it in front."""
    parts = words.casefold().split()
    found = [one for one in commands if all(_has(part, _all_words(one)) for part in parts)]
    return tuple(sorted(found, key=lambda one: _rank(one, parts)))


def suggestions(words: str, most: int = 3) -> tuple[str, ...]:
    """Words that would find something and look like what was typed; else some that many look for."""
    known = sorted({word for one in COMMANDS for word in _all_words(one) if len(word) > 2})
    alike = [
        close for part in words.casefold().split() for close in get_close_matches(part, known, most, 0.7)
    ]
    return tuple(dict.fromkeys(alike))[:most] or ("loop", "zoom", "compare")


def _rank(one: Command, parts: list[str]) -> tuple[bool, bool]:
    text = one.text.casefold()
    own = _words_of(text)
    return not (parts and text.startswith(parts[0])), not all(_has(part, own) for part in parts)


def _all_words(one: Command) -> set[str]:
    return _words_of(f"{one.menu} {one.text} {ALSO.get(one.id, '')}")


def _words_of(text: str) -> set[str]:
    return set(re.findall(r"[\w./]+", text.casefold()))


def _has(part: str, words: Iterable[str]) -> bool:
    return any(word.startswith(part) for word in words)
