"""What an export wish of the desk writes: one function for a background thread. No Qt."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from lagline.blend.clips import open_clips
from lagline.deliver.delivered import Delivery
from lagline.deliver.hand_over import ExtraFile, Order, hand_over
from lagline.deliver.names import file_stem
from lagline.deliver.report import report_html
from lagline.deliver.report_values import Measured
from lagline.desk.panels.export_plan import ExportWish
from lagline.media.overview import FileOverview
from lagline.session.values import Session


def export(
    session: Session,
    wish: ExportWish,
    files: Mapping[Path, FileOverview],
    loudness_lufs: Mapping[str, float],
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> Delivery:
    """Write what is wished into its folder, all of it or nothing.

    Parameters
    ----------
    files : what is known of the recordings, for the report's health.
    loudness_lufs : by version id, as far as measured, for the report.

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
        page = report_html(session, version, Measured(health=health, loudness_lufs=dict(loudness_lufs)))
        name = file_stem(
            "{take} - {lane} - {version}", {"take": session.name, "lane": "report", "version": version.name}
        )
        extras.append(ExtraFile("report", f"{name}.html", page.encode("utf-8")))
    order = Order(
        lanes_of=(wish.version_id,) if wish.stems else (),
        blends_of=wish.blends,
        level_matched=wish.match_blends,
        sheets_of=(wish.version_id,) if wish.sheet else (),
        options=wish.options,
    )
    return hand_over(
        session,
        open_clips(session),
        wish.folder,
        order,
        extras=extras,
        progress=progress,
        cancelled=cancelled,
    )
