"""What an export wish of the desk writes: one function for a background thread. No Qt."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

from lagline.blend.clips import open_clips
from lagline.deliver.hand_over import ExtraFile, Order, hand_over
from lagline.deliver.names import file_stem
from lagline.deliver.report import report_html
from lagline.deliver.report_values import Measured
from lagline.desk.panels.export_plan import ExportWish
from lagline.jobs.hand_over import ALIGNED_FOLDER, HandedOver
from lagline.media.overview import FileOverview
from lagline.playback.state import PlayState
from lagline.session.values import Session


def export(
    session: Session,
    wish: ExportWish,
    files: Mapping[Path, FileOverview],
    told: PlayState,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> HandedOver:
    """Write what is wished into its folder, laid out as the command line lays it out: aligned files and their
    timeline in a folder of their own, everything else beside it. Each of the two appears whole or not at all.

    Parameters
    ----------
    files : what is known of the recordings, for the report's health.
    told : what playback has measured, for the report.

    Raises
    ------
    ValueError
        No folder was chosen.
    NotInSession, WouldOverwrite, CannotWrite, BadNameTemplate, MediaError, Cancelled
    """
    if wish.folder is None:
        raise ValueError("an export needs a folder")
    version = session.version(wish.version_id)
    extras = []
    if wish.report:
        health = {
            lane.id: (found.info, found.health[lane.source.channel])
            for lane in session.lanes
            if (found := files.get(lane.source.path)) is not None and lane.source.channel < len(found.health)
        }
        levels = Measured(health=health, loudness_lufs=told.loudness_lufs, match_db=told.match_db)
        page = report_html(session, version, levels)
        name = file_stem(
            "{take} - {lane} - {version}", {"take": session.name, "lane": "report", "version": version.name}
        )
        extras.append(ExtraFile("report", f"{name}.html", page.encode("utf-8")))
    beside = Order(
        blends_of=wish.blends,
        level_matched=wish.match_blends,
        sheets_of=(wish.version_id,) if wish.sheet else (),
        options=wish.options,
    )
    aligned = Order(lanes_of=(wish.version_id,), timelines=True, options=wish.options)
    orders: list[tuple[Path, Order, list[ExtraFile]]] = []
    if wish.stems:
        orders.append((wish.folder / ALIGNED_FOLDER, aligned, []))
    if beside.blends_of or beside.sheets_of or extras:
        orders.append((wish.folder, beside, extras))
    clips, done, warnings = open_clips(session), list[Path](), dict[str, None]()
    for number, (folder, order, more) in enumerate(orders):
        delivery = hand_over(
            session,
            clips,
            folder,
            order,
            extras=more,
            progress=partial(_part, progress, number, len(orders)),
            cancelled=cancelled,
        )
        done += delivery.paths
        warnings.update(dict.fromkeys(delivery.warnings))
    return HandedOver(wish.folder, tuple(done), tuple(warnings))


def _part(progress: Callable[[float], None], number: int, of: int, fraction: float) -> None:
    progress((number + fraction) / of)
