"""Hand over a decided take: aligned files in a folder of their own, blends and sheets beside it."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from msgspec import Struct

from lagline.blend.clips import open_clips
from lagline.deliver.delivered import DeliveredFile
from lagline.deliver.hand_over import ExtraFile, Order, check_free, stage_order
from lagline.deliver.options import DeliveryOptions, Edit
from lagline.deliver.scratch import clear_left_behind
from lagline.deliver.staging import staged_together
from lagline.deliver.stems import session_sources
from lagline.errors import CannotWrite, TooFewLanes
from lagline.files import is_folder, is_there
from lagline.jobs.line_up import never, no_progress
from lagline.jobs.sources import check_sources
from lagline.session import edits
from lagline.session.values import ORIGINAL_ID, Session

ALIGNED_FOLDER = "aligned"  # by itself, so that the folder can be dropped into an editor, or a desk, whole


class HandedOver(Struct, frozen=True):
    """What was written, below one folder."""

    folder: Path
    paths: tuple[Path, ...]
    warnings: tuple[str, ...] = ()


def hand_over_take(
    session: Session,
    folder: Path,
    version_id: str,
    options: DeliveryOptions,
    *,
    level_matched: bool = False,
    all_versions: bool = False,
    edit: Edit = "none",
    extras: Sequence[ExtraFile] = (),
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> HandedOver:
    """Write the aligned files of a version into `folder/aligned`; its blend, the original's blend, its delay
    sheet and `extras` into `folder`. All of it appears, or nothing.

    `all_versions` : the blends of all versions. `edit` : the version as an edit over the recordings.

    Raises
    ------
    TooFewLanes
        The take has no lanes.
    NotInSession, WouldOverwrite, CannotWrite, BadNameTemplate, MediaError, Cancelled
    """
    if not session.lanes:
        raise TooFewLanes([])
    session = session.compared(version_id)
    aligned, beside = _orders(session, version_id, options, level_matched, all_versions, edit)
    return hand_over_orders(
        session, folder, aligned, beside, extras=extras, progress=progress, cancelled=cancelled
    )


def hand_over_orders(
    session: Session,
    folder: Path,
    aligned: Order | None,
    beside: Order | None,
    *,
    extras: Sequence[ExtraFile] = (),
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> HandedOver:
    """Write the files of `aligned` into `folder/aligned`; those of `beside`, with `extras`, into `folder`.

    Solo is a way to listen: it is not delivered. Nothing is written when a file of either is there already,
    and nothing stays of either when one of them cannot be finished. Raises as `hand_over_take`.
    """
    session = edits.without_solo(session)
    parts: list[tuple[Path, Order, Sequence[ExtraFile]]] = []
    if aligned is not None:
        parts.append((folder / ALIGNED_FOLDER, aligned, ()))
    if beside is not None:
        parts.append((folder, beside, extras))
    for place, order, more in parts:
        check_free(session, place, order, more)
    for place in (folder, folder / ALIGNED_FOLDER):  # both go to the client, whichever is written now
        clear_left_behind(place)
    clips, paths, warnings = open_clips(session), list[Path](), dict[str, None]()
    overwrite = all(order.options.overwrite for _, order, _ in parts)
    with staged_together(
        [place for place, _, _ in parts], session_sources(session), overwrite=overwrite
    ) as stagings:
        check_sources(session)
        certified: list[DeliveredFile] = []  # so far: one page tells of both folders
        for number, (staging, (_, order, more)) in enumerate(zip(stagings, parts, strict=True)):
            done = stage_order(
                session,
                clips,
                staging,
                order,
                extras=more,
                before=certified if number == len(parts) - 1 else None,
                progress=partial(_tell, progress, number, len(parts)),
                cancelled=cancelled,
            )
            certified += done.files
            paths += done.paths
            warnings |= dict.fromkeys(done.warnings)
    progress(1.0)
    return HandedOver(folder, tuple(paths), tuple(warnings))


def _tell(progress: Callable[[float], None], number: int, of: int, fraction: float) -> None:
    progress((number + fraction) / of)


def check_folder(
    session: Session, folder: Path, version_id: str, options: DeliveryOptions, edit: Edit = "none"
) -> None:
    """Say before a take is measured that `hand_over_take` will not be able to write there.

    Raises WouldOverwrite, CannotWrite, BadNameTemplate, NotInSession.
    """
    aligned, beside = _orders(session, version_id, options, edit=edit)
    check_free(session, folder / ALIGNED_FOLDER, aligned)
    check_free(session, folder, beside)
    there = next(place for place in (folder, *folder.absolute().parents) if is_there(place))
    if not is_folder(there):
        raise CannotWrite(folder, OSError(errno.ENOTDIR, f"{there.name} is a file"))
    if not os.access(there, os.W_OK):
        raise CannotWrite(folder, OSError(errno.EACCES, os.strerror(errno.EACCES)))


def _orders(
    session: Session,
    version_id: str,
    options: DeliveryOptions,
    level_matched: bool = False,
    all_versions: bool = False,
    edit: Edit = "none",
) -> tuple[Order, Order]:
    """What goes into the folder of aligned files, and what goes beside it."""
    versions = [version.id for version in session.versions] if all_versions else [version_id]
    aligned = Order(lanes_of=(version_id,), timelines=True, options=options)
    beside = Order(
        blends_of=tuple(dict.fromkeys((ORIGINAL_ID, *versions))),
        level_matched=level_matched,
        sheets_of=(version_id,),
        edits_of=() if edit == "none" else (version_id,),
        bundled=edit == "bundle",
        options=options,
    )
    return aligned, beside
