"""The report of a take as one page, with what has to be measured for it."""

from __future__ import annotations

from collections.abc import Callable

from lagline.blend.clips import open_clips
from lagline.deliver.hand_over import ExtraFile
from lagline.deliver.names import file_stem
from lagline.deliver.report import report_html
from lagline.deliver.report_parts import measured_for_report
from lagline.jobs.line_up import never, no_progress
from lagline.jobs.sources import check_sources
from lagline.media.watched import Watched
from lagline.session.values import Session, Version


def report_page(
    session: Session,
    version: Version,
    *,
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> str:
    """The report of a version as one self-contained HTML page: findings, health, tone, loudness, delays.

    Raises MediaError, Cancelled.
    """
    with Watched(lane.source.path for lane in session.lanes):
        check_sources(session)
        measured = measured_for_report(
            session, version, open_clips(session), progress=progress, cancelled=cancelled
        )
    return report_html(session, version, measured)


def report_name(session: Session, version: Version) -> str:
    """The report's file name."""
    values = {"take": session.name, "lane": "report", "version": version.name}
    return file_stem("{take} - {lane} - {version}", values) + ".html"


def report_file(session: Session, version: Version, page: str) -> ExtraFile:
    """The page as a file of a delivery."""
    return ExtraFile("report", report_name(session, version), page.encode("utf-8"))
