"""Hand over a decided take: aligned files in a folder of their own, blends and sheets beside it."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Sequence
from pathlib import Path

from msgspec import Struct

from lagline.blend.clips import open_clips
from lagline.deliver.hand_over import ExtraFile, Order, check_free, hand_over
from lagline.deliver.options import DeliveryOptions
from lagline.errors import CannotWrite, TooFewLanes
from lagline.files import is_folder, is_there
from lagline.jobs.line_up import never, no_progress
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
    extras: Sequence[ExtraFile] = (),
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> HandedOver:
    """Write the aligned files of a version into `folder/aligned`; its blend, the original's blend, its delay
    sheet and `extras` into `folder`. Each of the two appears whole or not at all.

    `all_versions` : the blends of all versions.

    Raises
    ------
    TooFewLanes
        The take has no lanes.
    NotInSession, WouldOverwrite, CannotWrite, BadNameTemplate, MediaError, Cancelled
    """
    if not session.lanes:
        raise TooFewLanes([])
    aligned, beside = _orders(session, version_id, options, level_matched, all_versions)
    check_free(session, folder / ALIGNED_FOLDER, aligned)
    check_free(session, folder, beside, extras)
    clips = open_clips(session)

    def first_half(fraction: float) -> None:
        progress(0.5 * fraction)

    def second_half(fraction: float) -> None:
        progress(0.5 + 0.5 * fraction)

    lanes = hand_over(
        session, clips, folder / ALIGNED_FOLDER, aligned, progress=first_half, cancelled=cancelled
    )
    rest = hand_over(session, clips, folder, beside, extras=extras, progress=second_half, cancelled=cancelled)
    return HandedOver(
        folder, (*lanes.paths, *rest.paths), tuple(dict.fromkeys((*lanes.warnings, *rest.warnings)))
    )


def check_folder(session: Session, folder: Path, version_id: str, options: DeliveryOptions) -> None:
    """Say before a take is measured that `hand_over_take` will not be able to write there.

    Raises WouldOverwrite, CannotWrite, BadNameTemplate, NotInSession.
    """
    aligned, beside = _orders(session, version_id, options)
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
) -> tuple[Order, Order]:
    """What goes into the folder of aligned files, and what goes beside it."""
    versions = [version.id for version in session.versions] if all_versions else [version_id]
    aligned = Order(lanes_of=(version_id,), timelines=True, options=options)
    beside = Order(
        blends_of=tuple(dict.fromkeys((ORIGINAL_ID, *versions))),
        level_matched=level_matched,
        sheets_of=(version_id,),
        options=options,
    )
    return aligned, beside
