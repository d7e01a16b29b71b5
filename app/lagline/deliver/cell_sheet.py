"""The sheet that goes with printed combinations: what is in each file, lane by lane."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from lagline.combinations.cells import Cell, timing_name
from lagline.combinations.facts import BoardFacts
from lagline.combinations.words import told
from lagline.deliver.csv_text import csv_text
from lagline.session.balance_words import balance_words
from lagline.session.values import Session
from lagline.units import samples_to_ms

_HEADINGS = (
    "take", "file", "combination", "timing", "lane", "shift_samples", "shift_ms", "polarity", "rate_ppm",
    "gain_db", "pan", "loudness_lufs", "match_db",
)  # fmt: skip


def cell_sheet_csv(session: Session, board: BoardFacts, files: Sequence[str]) -> str:
    """One line a lane of each cell; `files` are the names of the printed cells, in the board's order.

    `match_db` is what the file was turned down by to be as loud as the quietest of them.
    """
    rows: list[list[str | float | int | None]] = []
    for facts, file in zip(board.cells, files, strict=True):
        version = session.version(facts.cell.version_id)
        for lane_id in facts.cell.lane_ids:
            move, balance = version.move(lane_id), version.balance(lane_id)
            row: list[str | float | int | None] = [session.name, file, facts.cell.name]
            row += [timing_name(session, facts.cell), session.lane(lane_id).name]
            row += [
                round(move.shift_samples, 3),
                round(samples_to_ms(move.shift_samples, session.rate_hz), 4),
            ]
            row += [move.polarity, move.rate_ppm, round(balance.gain_db, 2), round(balance.pan, 3)]
            rows.append([*row, round(facts.loudness_lufs, 2), round(facts.match_db, 2)])
    return csv_text(_HEADINGS, rows)


def cell_sheet_text(session: Session, board: BoardFacts, files: Sequence[str]) -> str:
    """The same to read: each file with its lanes and, in words, what they do together."""
    title = f"Combinations: {session.name}"
    lines = [title, "=" * len(title)]
    for facts, file in zip(board.cells, files, strict=True):
        cell = facts.cell
        lines += ["", f"{cell.name}, {timing_name(session, cell)}", f"  file: {file}"]
        lines += [f"  {_lane_words(session, cell, lane_id)}" for lane_id in cell.lane_ids]
        down = f"turned down by {-facts.match_db + 0.0:.2f} dB to match"
        lines += [f"  {facts.loudness_lufs:.1f} LUFS, {down}, before room for peaks"]
        lines += [f"  {told(facts, board.as_recorded(cell), board.bands_hz)}"]
    return "\n".join(lines) + "\n"


def _lane_words(session: Session, cell: Cell, lane_id: str) -> str:
    version = session.version(cell.version_id)
    move = version.move(lane_id)
    shift_ms = samples_to_ms(move.shift_samples, session.rate_hz)
    parts = [
        f"shifted {shift_ms:+.3f} ms" if shift_ms else "",
        "flipped" if move.polarity < 0 else "",
        f"{move.rate_ppm:+.2f} ppm" if move.rate_ppm else "",
        balance_words(replace(version.balance(lane_id), mute=False)),
    ]
    return f"{session.lane(lane_id).name}: {', '.join(part for part in parts if part) or 'as recorded'}"
