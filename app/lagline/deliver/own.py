"""Which audio files Lagline delivered itself: by the mark in them, or by the list beside them.

The mark is the last line of a bext's coding history, or of a FLAC file's comment; an editor that goes on with
a file and keeps to the standard adds a line of its own, and then the file is a recording again.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path

import msgspec
import soundfile

from lagline import __version__
from lagline.deliver.delivered import Kind
from lagline.errors import MediaError
from lagline.files import for_libsndfile, is_file
from lagline.media.bext import parse_bext
from lagline.media.riff import read_chunk, read_layout

ORIGINATOR = "Lagline"
SCHEMA = "lagline/delivery/1"
MANIFEST_STEM = "delivery"
BLEND = "blend"  # begins the words of a blend's mark

_MARK = re.compile(rf"{ORIGINATOR} \d[^;]*; (?P<words>.*)")
_MANIFEST = re.compile(rf"{MANIFEST_STEM}( \(\d+\))?\.json")
_LARGEST_MANIFEST_BYTES = 64 << 20


class _Listed(msgspec.Struct):
    kind: Kind
    name: str
    size_bytes: int


class _Manifest(msgspec.Struct, rename={"schema_name": "schema"}):
    schema_name: str
    files: list[_Listed]


def mark(words: str) -> str:
    """What says in a file that it was delivered, and how it was made."""
    return f"{ORIGINATOR} {__version__}; {words}"


def with_mark(tags: Mapping[str, str], words: str) -> dict[str, str]:
    """The tags of a file with the mark as the last line of its comment."""
    return {**tags, "comment": "\n".join(filter(None, [tags.get("comment"), mark(words)]))}


def own_deliveries(paths: Iterable[Path]) -> dict[Path, Kind]:
    """Those of the files that were delivered, as a lane or a blend. What can't be read is not among them."""
    listed = cache(_listed)  # once a folder
    found: dict[Path, Kind] = {}
    for path in paths:
        kind = _marked(path) or _by_the_list(path, listed(path.parent))
        if kind is not None:
            found[path] = kind
    return found


def _marked(path: Path) -> Kind | None:
    with contextlib.suppress(OSError, MediaError, soundfile.LibsndfileError):
        words = _MARK.fullmatch(_last_words(path))
        if words is not None:
            return "blend" if words["words"].startswith(BLEND) else "lane"
    return None


def _last_words(path: Path) -> str:
    """The mark's place in a file; empty where it has none."""
    layout = read_layout(path)
    if layout is not None:
        place = layout.first(b"bext")
        bext = parse_bext(read_chunk(path, place)) if place else None
        lines = bext.coding_history.strip().splitlines() if bext else []
        return lines[-1].rpartition(",T=")[2] if lines else ""
    if path.suffix.lower() != ".flac":
        return ""
    with soundfile.SoundFile(for_libsndfile(path)) as sound:
        return str(sound.comment).rpartition("\n")[2]


def _by_the_list(path: Path, listed: dict[str, _Listed]) -> Kind | None:
    """Something else may lie there under the name by now: then it has another size."""
    file = listed.get(path.name)
    with contextlib.suppress(OSError):
        if file is not None and file.size_bytes == path.stat().st_size:
            return file.kind
    return None


def _listed(folder: Path) -> dict[str, _Listed]:
    """The audio files by name that the manifests in a folder tell of."""
    found: dict[str, _Listed] = {}
    for path in manifests_in(folder):
        found |= {file.name: file for file in _read(path) if file.kind in ("lane", "blend")}
    return found


def manifests_in(folder: Path) -> list[Path]:
    """The lists of deliveries in a folder, by name; none where it can't be read."""
    with contextlib.suppress(OSError):
        return sorted(path for path in folder.iterdir() if _MANIFEST.fullmatch(path.name) and is_file(path))
    return []


def _read(path: Path) -> list[_Listed]:
    with contextlib.suppress(OSError, msgspec.MsgspecError, UnicodeDecodeError):
        if path.stat().st_size <= _LARGEST_MANIFEST_BYTES:
            manifest = msgspec.json.decode(path.read_bytes(), type=_Manifest)
            return manifest.files if manifest.schema_name == SCHEMA else []
    return []
