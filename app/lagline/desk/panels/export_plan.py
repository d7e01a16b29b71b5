"""What an export would write: a wish, and the files, sizes and objections that follow from it. No Qt."""

from __future__ import annotations

import shutil
from pathlib import Path

from msgspec import Struct

from lagline.deliver.hand_over import Order, planned_names
from lagline.deliver.lane_files import file_subtype
from lagline.deliver.layout import file_lanes
from lagline.deliver.options import DeliveryOptions, Edit, blend_subtype
from lagline.deliver.placement import as_written, placement
from lagline.deliver.stems import lane_file_names
from lagline.errors import DeliveryError
from lagline.files import is_folder, is_there
from lagline.jobs.hand_over import ALIGNED_FOLDER
from lagline.jobs.write_report import report_name
from lagline.media.write import BITS
from lagline.session.values import Session

FLAC_SHARE = 0.6  # of the plain size, roughly; common practice, no source


class ExportWish(Struct, frozen=True):
    """What the engineer wants written.

    `stems`: aligned files. `blends`: ids of the versions whose blends are printed.
    `match_blends`: each is turned down as it is heard, to the quietest of all versions of the session; a
    single one never. `sheet`, `report`: the delay sheet and the report.
    """

    folder: Path | None
    version_id: str
    options: DeliveryOptions
    stems: bool = True
    blends: tuple[str, ...] = ()
    match_blends: bool = True
    sheet: bool = True
    report: bool = True
    edit: Edit = "none"

    @property
    def is_nothing(self) -> bool:
        return not (self.stems or self.blends or self.sheet or self.report or self.edit != "none")


class ExportPlan(Struct, frozen=True):
    """`files`: names of the aligned files. `others`: the rest in words. `existing`: names that are there
    already. `objection`: why it cannot be done as it is; empty when it can."""

    files: tuple[str, ...]
    others: tuple[str, ...]
    size_bytes: int
    free_bytes: int | None
    existing: tuple[str, ...]
    objection: str


def export_plan(session: Session, wish: ExportWish) -> ExportPlan:
    """Look at a wish without writing anything (it asks the disk for its free space and for the names)."""
    options = wish.options
    try:
        files, beside, problem = *_names(session, wish), ""
    except DeliveryError as error:
        files, beside, problem = (), (), str(error)
    others = ["Timeline for other editors (OpenTimelineIO)"] if wish.stems else []
    others += [] if wish.edit == "none" else ["Edit of the recordings (OpenTimelineIO and a table)"]
    others += [f"Blend of {session.version(version_id).name}" for version_id in wish.blends]
    others += [text for there, text in ((wish.sheet, "Delay sheet"), (wish.report, "Report")) if there]
    size = 0 if problem else _size_bytes(session, wish)
    free: int | None = None
    existing: tuple[str, ...] = ()
    if wish.folder is not None:
        free = _free_bytes(wish.folder)
        existing = tuple(name for name in (*files, *beside) if is_there(wish.folder / name))
    objection = problem or _objection(wish, size, free, existing, options.overwrite)
    return ExportPlan(files, tuple(others), size, free, existing, objection)


def aligned_order(wish: ExportWish) -> Order | None:
    """What goes into the folder of aligned files."""
    if not wish.stems:
        return None
    return Order(lanes_of=(wish.version_id,), timelines=True, options=wish.options)


def beside_order(wish: ExportWish) -> Order | None:
    """What goes beside that folder; the report goes with it."""
    if not (wish.blends or wish.sheet or wish.report or wish.edit != "none"):
        return None
    return Order(
        blends_of=wish.blends,
        level_matched=wish.match_blends,
        sheets_of=(wish.version_id,) if wish.sheet else (),
        edits_of=() if wish.edit == "none" else (wish.version_id,),
        bundled=wish.edit == "bundle",
        options=wish.options,
    )


def report_names(session: Session, wish: ExportWish) -> tuple[str, ...]:
    """Of the page and of the PDF, when a report is wanted."""
    page = report_name(session, session.version(wish.version_id))
    return (page, f"{page.removesuffix('.html')}.pdf") if wish.report else ()


def _names(session: Session, wish: ExportWish) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Of the aligned files, and of everything else, below the folder. Raises DeliveryError."""
    version = session.version(wish.version_id)
    files = lane_file_names(session, version, wish.options) if wish.stems else ()
    aligned, beside = aligned_order(wish), beside_order(wish)
    inside = planned_names(session, aligned) if aligned else ()
    others = [f"{ALIGNED_FOLDER}/{name}" for name in inside[len(files) :]]
    others += planned_names(session, beside) if beside else ()
    return tuple(f"{ALIGNED_FOLDER}/{name}" for name in files), (*others, *report_names(session, wish))


def size_text(size_bytes: int) -> str:
    """`12 MB`, `1.3 GB`; decimal units, as disks are sold."""
    if size_bytes >= 1e9:
        return f"{size_bytes / 1e9:.1f} GB"
    return f"{max(round(size_bytes / 1e6), 1)} MB" if size_bytes else "0 MB"


def _objection(
    wish: ExportWish, size: int, free: int | None, existing: tuple[str, ...], overwrite: bool
) -> str:
    if wish.is_nothing:
        return "Nothing is chosen: tick what you want to have."
    if wish.folder is None:
        return "Choose a folder to write into."
    if is_there(wish.folder) and not is_folder(wish.folder):
        return f"{wish.folder.name} is a file. Choose a folder."
    if free is not None and size > free:
        return f"About {size_text(size)} are needed and {size_text(free)} are free. Choose another folder."
    if existing and not overwrite:
        named = existing[0] if len(existing) == 1 else f"{existing[0]} and {len(existing) - 1} more"
        return f"{named} would be replaced. Choose another folder or name, or allow replacing."
    return ""


def _size_bytes(session: Session, wish: ExportWish) -> int:
    """Roughly how much would be written: the audio, and recordings that are put into an edit."""
    options = wish.options
    version = session.version(wish.version_id)
    frames = placement(session, [version], options.rate_hz).frames
    bits = 0
    if wish.stems:
        rate_hz = options.rate_hz or session.rate_hz
        applied = as_written(version, options)
        for file in file_lanes(session, options):
            bits += len(file.lanes) * BITS[file_subtype(session, applied, file, options, rate_hz)]
    channels = 1 if options.mono_blend else 2
    bits += (
        len(wish.blends) * channels * BITS[blend_subtype((lane.source for lane in session.lanes), options)]
    )
    share = FLAC_SHARE if options.file_format == "FLAC" else 1.0
    sources = {lane.source.path: lane.source.size_bytes for lane in session.lanes}
    return round(frames * bits / 8 * share) + (sum(sources.values()) if wish.edit == "bundle" else 0)


def _free_bytes(folder: Path) -> int | None:
    """Space on the disk of the folder, or of the nearest folder above it that is there."""
    for place in (folder, *folder.parents):
        if is_folder(place):
            try:
                return shutil.disk_usage(place).free
            except OSError:  # a network place that does not say; writing will tell
                return None
    return None
