"""What an export wish of the desk writes: one function for a background thread."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from lagline.blend.clips import open_clips
from lagline.deliver.hand_over import ExtraFile
from lagline.deliver.report import report_html
from lagline.deliver.report_parts import measured_tone
from lagline.deliver.report_values import Measured
from lagline.desk.panels.export_plan import ExportWish, aligned_order, beside_order, report_names
from lagline.desk.report_pdf import pdf_beside
from lagline.jobs.hand_over import HandedOver, hand_over_orders
from lagline.media.overview import FileOverview
from lagline.playback.state import PlayState
from lagline.session.values import Session

_REPORT_SHARE = 0.3  # of the time, about, when there is one: it measures the tone


def export(
    session: Session,
    wish: ExportWish,
    files: Mapping[Path, FileOverview],
    told: PlayState,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> HandedOver:
    """Write what is wished into its folder, laid out as the command line lays it out: aligned files and their
    timeline in a folder of their own, everything else beside it. All of it appears, or nothing.

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
        raise ValueError("a delivery needs a folder")
    playing, session = session.original, session.compared(wish.version_id)
    version = session.version(wish.version_id)
    extras, begun = [], 0.0
    if wish.report:
        begun = _REPORT_SHARE
        health = {
            lane.id: (found.info, found.health[lane.source.channel])
            for lane in session.lanes
            if (found := files.get(lane.source.path)) is not None and lane.source.channel < len(found.health)
        }
        tone = measured_tone(
            session,
            version,
            open_clips(session),
            progress=lambda done: progress(begun * done),
            cancelled=cancelled,
        )
        lufs, match_db = (
            (told.loudness_lufs, told.match_db)
            if told.levels_known and session.original == playing
            else ({}, {})
        )
        known = Measured(health=health, loudness_lufs=lufs, match_db=match_db, tone=tone)
        page = report_html(session, version, known)
        forms = (page.encode("utf-8"), pdf_beside(page))
        names = report_names(session, wish)
        extras += [ExtraFile("report", *one) for one in zip(names, forms, strict=True)]
    return hand_over_orders(
        session,
        wish.folder,
        aligned_order(wish),
        beside_order(wish),
        extras=extras,
        progress=lambda done: progress(begun + (1.0 - begun) * done),
        cancelled=cancelled,
    )
