"""Hand over a decided take: aligned files in a folder of their own, blends and sheets beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from msgspec import Struct

from lagline.blend.clips import open_clips
from lagline.deliver.hand_over import ExtraFile, Order, hand_over
from lagline.deliver.options import DeliveryOptions
from lagline.errors import TooFewLanes
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
    extras: Iterable[ExtraFile] = (),
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> HandedOver:
    """Write the aligned files of a version into `folder/aligned`; its blend, the original's blend, its delay
    sheet and `extras` into `folder`. Each of the two appears whole or not at all.

    Raises
    ------
    TooFewLanes
        The take has no lanes.
    NotInSession, WouldOverwrite, CannotWrite, BadNameTemplate, MediaError, Cancelled
    """
    if not session.lanes:
        raise TooFewLanes([])
    clips = open_clips(session)

    def first_half(fraction: float) -> None:
        progress(0.5 * fraction)

    def second_half(fraction: float) -> None:
        progress(0.5 + 0.5 * fraction)

    lanes = hand_over(
        session,
        clips,
        folder / ALIGNED_FOLDER,
        Order(lanes_of=(version_id,), timelines=True, options=options),
        progress=first_half,
        cancelled=cancelled,
    )
    rest = hand_over(
        session,
        clips,
        folder,
        Order(
            blends_of=tuple(dict.fromkeys((ORIGINAL_ID, version_id))),
            level_matched=level_matched,
            sheets_of=(version_id,),
            options=options,
        ),
        extras=extras,
        progress=second_half,
        cancelled=cancelled,
    )
    return HandedOver(
        folder, (*lanes.paths, *rest.paths), tuple(dict.fromkeys((*lanes.warnings, *rest.warnings)))
    )
