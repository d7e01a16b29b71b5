"""Every combination of a take's lanes, measured; and chosen ones printed, level-matched, with a sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from lagline.blend.clips import open_clips
from lagline.blend.passage import compared_passage
from lagline.combinations.cells import Cell, board_session
from lagline.combinations.facts import BoardFacts, measured_board
from lagline.combinations.mend import Mend, mends
from lagline.deliver.cell_sheet import cell_sheet_csv, cell_sheet_text
from lagline.deliver.hand_over import ExtraFile, Order, check_free, planned_names
from lagline.deliver.names import file_stem
from lagline.deliver.options import DeliveryOptions
from lagline.jobs.hand_over import HandedOver, hand_over_orders
from lagline.jobs.line_up import never, no_progress
from lagline.jobs.sources import check_sources
from lagline.session.values import Session

_MEASURING_SHARE = 0.4  # of the time, about; the rest is printing


def measure_cells(
    session: Session,
    cells: Sequence[Cell],
    *,
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> BoardFacts:
    """The figures of these cells over the passage that versions are compared over.

    Raises NotInSession, ValueError (no cell), MediaError, Cancelled.
    """
    check_sources(session)
    start, stop = compared_passage(board_session(session, cells))
    return measured_board(
        session, cells, open_clips(session), start, stop, progress=progress, cancelled=cancelled
    )


def mend_cell(
    session: Session,
    cell: Cell,
    *,
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> tuple[Mend, ...]:
    """The least changes that mend the worst notch of a cell, over the passage versions are compared over.

    Raises NotInSession, MediaError, Cancelled.
    """
    check_sources(session)
    start, stop = compared_passage(board_session(session, [cell]))
    clips = open_clips(session)
    return mends(session, cell, clips, start, stop, progress=progress, cancelled=cancelled)


def hand_over_cells(
    session: Session,
    cells: Sequence[Cell],
    folder: Path,
    options: DeliveryOptions,
    *,
    progress: Callable[[float], None] = no_progress,
    cancelled: Callable[[], bool] = never,
) -> HandedOver:
    """Print these cells into `folder`, each under the name of its combination, all as loud as the quietest of
    them, with a sheet that says what is in each. All of it appears, or nothing.

    Raises NotInSession, ValueError (no cell), WouldOverwrite, CannotWrite, MediaError, Cancelled.
    """
    board = board_session(session, cells)
    order = Order(blends_of=tuple(cell.id for cell in cells), level_matched=True, options=options)
    stem = file_stem("{take} - {lane}", {"take": session.name, "lane": "combinations", "version": ""})
    check_free(board, folder, order, [ExtraFile("sheet", f"{stem}{end}", b"") for end in (".csv", ".txt")])
    facts = measure_cells(
        session, cells, progress=lambda done: progress(_MEASURING_SHARE * done), cancelled=cancelled
    )
    files = planned_names(board, order)
    sheets = [
        ExtraFile("sheet", f"{stem}.csv", cell_sheet_csv(session, facts, files).encode("utf-8")),
        ExtraFile("sheet", f"{stem}.txt", cell_sheet_text(session, facts, files).encode("utf-8")),
    ]
    return hand_over_orders(
        board,
        folder,
        None,
        order,
        extras=sheets,
        progress=lambda done: progress(_MEASURING_SHARE + (1.0 - _MEASURING_SHARE) * done),
        cancelled=cancelled,
    )
