"""`lagline combine`: every combination of a take's lanes: figures of all, files of some."""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from lagline.cli import options, progress
from lagline.cli.telling import manner, note

if TYPE_CHECKING:
    from lagline.cli.documents import CombineDocument, Mended
    from lagline.combinations.cells import Cell
    from lagline.combinations.facts import BoardFacts, CellFacts
    from lagline.combinations.mend import Mend
    from lagline.session.values import Session

SCHEMA: Literal["lagline/combine/1"] = "lagline/combine/1"

Take = Annotated[
    list[Path],
    typer.Argument(
        help="Recordings of one take, a folder of them, or a session file.",
        metavar="FILE",
        show_default=False,
    ),
]
VersionNames = Annotated[
    list[str] | None,
    typer.Option(
        "--version",
        help="Lined up as in this version, beside as recorded; give it again for more. By default the "
        "current one.",
        metavar="NAME",
    ),
]
LaneNames = Annotated[
    list[str] | None,
    typer.Option(
        "--lane", help="Combine this lane, with those linked to it; give it again for more.", metavar="NAME"
    ),
]
Most = Annotated[
    int,
    typer.Option("--most", help="As many combinations at most; 255 for all of eight lanes.", min=1, max=255),
]
Order = Literal["size", "notch", "ripple", "low", "middle", "high", "mono", "width", "crest", "loudness"]
Sort = Annotated[Order, typer.Option("--sort", help="What the table is sorted by.")]
Out = Annotated[
    Path | None,
    typer.Option("--out", "-o", help="Print combinations into this folder.", metavar="FOLDER"),
]
Chosen = Annotated[
    list[str] | None,
    typer.Option(
        "--combination",
        help="Print this one, as the table names it; give it again for more. All by default.",
        metavar="NAME",
    ),
]

ToMend = Annotated[
    list[str] | None,
    typer.Option(
        "--mend",
        help="Propose the smallest shift, gain or flip that mends the worst notch of this combination.",
        metavar="NAME",
    ),
]


def combine_command(
    take: Take,
    version: VersionNames = None,
    lane: LaneNames = None,
    most: Most = 31,
    sort: Sort = "size",
    as_json: options.AsJson = False,
    out: Out = None,
    combination: Chosen = None,
    mend: ToMend = None,
) -> None:
    """Compare every combination of lanes, as recorded and lined up; print chosen ones equally loud."""
    from lagline.combinations.cells import laid_out, parts_of
    from lagline.combinations.orders import FIGURES, last_if_none
    from lagline.jobs.combine import hand_over_cells, measure_cells
    from lagline.session.values import ORIGINAL_ID

    session = _decided(take)
    named: list[str | None] = [*version] if version else [None]
    timings = [options.version_named(session, name).id for name in named]
    session = session.compared(*timings)
    lane_ids = None if lane is None else [session.lane_named(name).id for name in lane]
    try:
        cells = laid_out(parts_of(session, lane_ids), (ORIGINAL_ID, *timings), most)
    except ValueError as error:
        raise typer.BadParameter(f"{error}; name them with --lane") from error
    if combination is not None and out is None:
        raise typer.BadParameter("--combination says what to print: give --out FOLDER too")
    chosen = cells if combination is None else _named(session, cells, combination)
    to_mend = _named(session, cells, mend or [])
    with progress.shown("Measuring") as tell:
        board = measure_cells(session, cells, progress=tell)
    mended = _mended(session, to_mend)
    ranked = sorted(board.cells, key=lambda one: last_if_none(FIGURES[sort](one)))
    if as_json:
        _print_json(session, board, ranked, mended)
    else:
        _print_table(session, board, ranked)
        _print_mends(session, board, mended)
    if out is not None:
        from lagline.deliver.options import DEFAULTS

        with progress.shown("Writing") as tell:
            done = hand_over_cells(session, chosen, out, DEFAULTS, progress=tell)
        for said in done.warnings:
            note(said)
        for path in done.paths:
            print(path, file=sys.stderr if as_json or manner().csv else sys.stdout)


def _decided(take: list[Path]) -> Session:
    """A session file as it was decided, or recordings lined up as they are measured."""
    from lagline.session.storage import SUFFIX, load

    if any(path.suffix == SUFFIX for path in take):
        if len(take) > 1:
            raise typer.BadParameter("give one session file, or recordings, not both")
        return load(take[0])
    from lagline.analysis.options import AnalysisOptions
    from lagline.jobs.decide import measured_and_accepted
    from lagline.jobs.open_take import open_take

    opened = open_take(take)
    opened.to_line_up()
    with progress.shown("Lining up") as tell:
        decided = measured_and_accepted(opened.session, AnalysisOptions(), progress=tell)
    for said in (*opened.problems, *decided.warnings):
        note(said)
    return decided.session


def _named(session: Session, cells: Sequence[Cell], names: Sequence[str]) -> list[Cell]:
    """The cells of these names, with or without their timing, capitals ignored. Raises NotInSession."""
    from lagline.combinations.cells import timing_name
    from lagline.errors import NotInSession

    chosen: list[Cell] = []
    for name in names:
        found = [
            cell
            for cell in cells
            if name.casefold()
            in (cell.name.casefold(), f"{cell.name}, {timing_name(session, cell)}".casefold())
        ]
        if not found:
            raise NotInSession("combination", name, dict.fromkeys(cell.name for cell in cells))
        chosen += [cell for cell in found if cell not in chosen]
    return chosen


def _mended(session: Session, cells: Sequence[Cell]) -> dict[Cell, tuple[Mend, ...]]:
    """What mends each cell."""
    from lagline.jobs.combine import mend_cell

    found = {}
    for cell in cells:
        with progress.shown("Looking for the least change") as tell:
            found[cell] = mend_cell(session, cell, progress=tell)
    return found


def _print_mends(session: Session, board: BoardFacts, mended: Mapping[Cell, Sequence[Mend]]) -> None:
    from lagline.cli.tables import print_line
    from lagline.combinations.cells import timing_name
    from lagline.combinations.mend import mend_words

    for cell, found in mended.items():
        facts = board.of(cell)
        has_notch = facts is not None and bool(facts.notches)
        none = "no small shift, gain or flip mends it" if has_notch else "it has no notch to mend"
        said = "" if found else f" {none}."
        print_line(f"  least change to {cell.name}, {timing_name(session, cell)}:{said}")
        for one in found:
            print_line(f"    {mend_words(session, one)}.")


def _print_table(session: Session, board: BoardFacts, ranked: Sequence[CellFacts]) -> None:
    from lagline.cli.tables import print_line, print_table
    from lagline.combinations.cells import timing_name
    from lagline.combinations.words import suggestions, told

    headings = ("combination", "timing", "ripple dB", "low", "middle", "high", "mono LU", "width")
    rows = [
        (
            one.cell.name,
            timing_name(session, one.cell),
            _figure(one.ripple_db),
            *(_figure(gain_db, signed=True) for gain_db in one.summing_gain_db),
            _figure(one.mono_lu, signed=True),
            _figure(one.width, decimals=2),
            _figure(one.crest_db),
            _figure(one.loudness_lufs),
        )
        for one in ranked
    ]
    print_table(
        f"{session.name}: combinations",
        (*headings, "crest dB", "LUFS"),
        rows,
        words=("combination", "timing"),
    )
    print_line("  low, middle, high: what summing gains up to 250 Hz, up to 4 kHz and above, in dB.")
    for facts in ranked:
        if len(facts.cell.lane_ids) > 1:
            words = told(facts, board.as_recorded(facts.cell), board.bands_hz)
            print_line(f"  {facts.cell.name}, {timing_name(session, facts.cell)}: {words}.")
    for one in suggestions(board):
        print_line(f"  {one.name}: {one.cell.name}, {timing_name(session, one.cell)}: {one.reason}.")


def _figure(value: float, decimals: int = 1, *, signed: bool = False) -> str:
    if not math.isfinite(value):
        return "-"
    rounded = round(value, decimals) + 0.0
    return f"{rounded:{'+' if signed else ''}.{decimals}f}"


def _print_json(
    session: Session, board: BoardFacts, ranked: Sequence[CellFacts], mended: Mapping[Cell, Sequence[Mend]]
) -> None:
    import msgspec

    document = combine_document(session, board, ranked, mended)
    sys.stdout.write(msgspec.json.format(msgspec.json.encode(document), indent=1).decode() + "\n")


def _mended_document(session: Session, cell: Cell, found: Sequence[Mend]) -> Mended:
    from lagline.combinations.cells import timing_name
    from lagline.combinations.mend import mend_words

    return {
        "combination": cell.name,
        "timing": timing_name(session, cell),
        "changes": [
            {
                "words": mend_words(session, one),
                "change": one.kind,
                "part": one.part.name,
                "amount": one.amount,
                "notch_hz": one.before.notches[0].frequency_hz,
                "depth_before_db": one.before.notches[0].depth_db,
                "depth_after_db": one.after.notches[0].depth_db if one.after.notches else 0.0,
                "tone_moves_db": one.moves_db,
            }
            for one in found
        ],
    }


def combine_document(
    session: Session, board: BoardFacts, ranked: Sequence[CellFacts], mended: Mapping[Cell, Sequence[Mend]]
) -> CombineDocument:
    """What `--json` prints. Numbers that there is no sense in are null."""
    from lagline.combinations.cells import timing_name
    from lagline.combinations.words import suggestions, told

    def known(value: float) -> float | None:
        return value if math.isfinite(value) else None

    return {
        "schema": SCHEMA,
        "take": session.name,
        "bands_hz": list(board.bands_hz),
        "combinations": [
            {
                "name": one.cell.name,
                "timing": timing_name(session, one.cell),
                "lanes": [session.lane(lane_id).name for lane_id in one.cell.lane_ids],
                "words": told(one, board.as_recorded(one.cell), board.bands_hz),
                "loudness_lufs": known(one.loudness_lufs),
                "match_db": one.match_db,
                "crest_db": known(one.crest_db),
                "ripple_db": known(one.ripple_db),
                "notches": [
                    {"frequency_hz": notch.frequency_hz, "depth_db": notch.depth_db} for notch in one.notches
                ],
                "summing_gain_db": [known(gain_db) for gain_db in one.summing_gain_db],
                "mono_lu": known(one.mono_lu),
                "mono_worst_hz": known(one.mono_worst_hz),
                "mono_worst_db": known(one.mono_worst_db),
                "width": known(one.width),
                "tone_db": [known(level_db) for level_db in one.tone_db],
                "change_db": [known(level_db) for level_db in one.change_db],
            }
            for one in ranked
        ],
        "suggestions": [
            {
                "name": one.name,
                "combination": one.cell.name,
                "timing": timing_name(session, one.cell),
                "reason": one.reason,
            }
            for one in suggestions(board)
        ],
        "mends": [_mended_document(session, cell, found) for cell, found in mended.items()],
    }
