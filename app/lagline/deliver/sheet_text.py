"""The delay sheet as CSV, as plain text and as a page to print."""

from __future__ import annotations

from collections.abc import Sequence

from lagline.deliver.csv_text import csv_text
from lagline.deliver.page import filled_page
from lagline.deliver.sheet import AUDIBLE_HZ, DelaySheet, Rounding, SheetRow, WorstPair
from lagline.deliver.tables import Table
from lagline.session.balance_words import pan_words

BY_SOURCE = "Arrivals by instrument, samples later than the anchor:"
_ROUNDING_NAMES = ("whole samples", "0.01 ms", "0.1 ms")


def sheet_csv(sheet: DelaySheet) -> str:
    """One line a lane, for a spreadsheet: numbers with full stops, no units in the cells."""
    return sheets_csv([sheet])


def sheets_csv(sheets: Sequence[DelaySheet]) -> str:
    """`sheet_csv` of several takes in one table."""
    first = next((sheet.rows[0] for sheet in sheets if sheet.rows), None)
    headings = ["take", "version", "lane", "anchor", "polarity", "gain_db", "pan", "muted"]
    headings += ["shift_samples", "delay_samples", "delay_ms", "delay_m", "delay_ft"]
    headings += [f"samples_at_{rate_hz}" for rate_hz, _ in (first.samples_at if first else ())]
    for name in ("sample", "0.01_ms", "0.1_ms"):
        headings += [f"rounded_to_{name}", f"error_us_{name}", f"first_notch_hz_{name}"]
    return csv_text(headings, [_csv_row(sheet, row) for sheet in sheets for row in sheet.rows])


def _csv_row(sheet: DelaySheet, row: SheetRow) -> list[str | float | int | None]:
    cells: list[str | float | int | None] = [sheet.take, sheet.version, row.lane]
    cells += ["yes" if row.is_anchor else "no", row.polarity]
    balance = row.balance
    cells += [round(balance.gain_db, 2), round(balance.pan, 3), "yes" if balance.mute else "no"]
    cells += [round(row.shift_samples, 3), round(row.delay_samples, 3), round(row.delay_ms, 3)]
    cells += [round(row.metres, 4), round(row.feet, 4)]
    cells += [round(samples, 3) for _, samples in row.samples_at]
    for rounding in row.roundings:
        notch = rounding.first_notch_hz
        cells += [
            rounding.value,
            round(1000.0 * rounding.error_ms, 2),
            None if notch is None else round(notch),
        ]
    return cells


def sheet_table(sheet: DelaySheet) -> Table:
    """Headings and cells as words, for text and print."""
    headings = ["lane", "polarity", "gain", "pan", "delay", "samples", "metres", "feet"]
    return Table(headings, [_words(row) for row in sheet.rows])


def rates_table(sheet: DelaySheet) -> Table:
    """The delays in samples at other rates."""
    rates = [rate_hz for rate_hz, _ in sheet.rows[0].samples_at] if sheet.rows else []
    headings = ["lane", *(f"at {rate_hz / 1000:g} kHz" for rate_hz in rates)]
    rows = [[row.lane, *(f"{samples:.2f}" for _, samples in row.samples_at)] for row in sheet.rows]
    return Table(headings, rows)


def rounding_table(sheet: DelaySheet) -> Table:
    """What units with coarse steps would make of it: the value, its error and the first notch it makes.

    The last row names the two lanes that end up furthest apart.
    """
    headings = ["lane", *(f"in {name} (error; first notch)" for name in _ROUNDING_NAMES)]
    rows = [[row.lane, *(_rounding_words(rounding) for rounding in row.roundings)] for row in sheet.rows]
    if sheet.worst_pairs:
        rows.append(["furthest apart", *(_pair_words(pair) for pair in sheet.worst_pairs)])
    return Table(headings, rows)


def sheet_text(sheet: DelaySheet) -> str:
    """The sheet for the clipboard and for reading: plain text in columns."""
    title = f"Delay sheet: {sheet.take}, {sheet.version}"
    lines = [title, "=" * len(title)]
    if sheet.anchor:
        lines.append(f"Lined up on {sheet.anchor}. Session rate {sheet.rate_hz} Hz.")
    if sheet.note:
        lines.append(sheet.note)
    lines += ["", *_columns(sheet_table(sheet)), "", "In samples at other rates:", ""]
    lines += [*_columns(rates_table(sheet)), "", "For units with steps:", ""]
    lines += [*_columns(rounding_table(sheet)), ""]
    if sheet.by_source.rows:
        lines += [BY_SOURCE, "", *_columns(sheet.by_source), ""]
    lines += sheet.remarks
    return "\n".join(line.rstrip() for line in lines) + "\n"


def sheet_figure(row: SheetRow) -> str:
    """A lane's delay in ms as all forms of the sheet write it, but for zeros at its end."""
    return f"{round(row.delay_ms, 3)}"


def sheet_html(sheet: DelaySheet) -> str:
    """The sheet as a page to print, in one file."""
    return filled_page(
        "sheet.html.j2",
        title=f"Delay sheet: {sheet.take}, {sheet.version}",
        sheet=sheet,
        delays=sheet_table(sheet),
        rates=rates_table(sheet),
        roundings=rounding_table(sheet),
        by_source=BY_SOURCE,
    )


def _words(row: SheetRow) -> list[str]:
    words = [f"{row.lane} (anchor)" if row.is_anchor else row.lane]
    words += [
        "flip" if row.polarity < 0 else "as recorded",
        "muted" if row.balance.mute else f"{row.balance.gain_db:+.1f} dB",
        pan_words(row.balance.pan),
        f"{row.delay_ms:.3f} ms",
    ]
    return [*words, f"{row.delay_samples:.2f}", f"{row.metres:.3f}", f"{row.feet:.2f}"]


def _rounding_words(rounding: Rounding) -> str:
    value = f"{rounding.value:.0f}" if rounding.step == "1 sample" else f"{rounding.value:.2f} ms"
    return f"{value} ({_error_words(rounding.error_ms, rounding.first_notch_hz, '+')})"


def _pair_words(pair: WorstPair) -> str:
    words = _error_words(pair.apart_ms, pair.first_notch_hz)
    return words if words == "exact" else f"{pair.lanes[0]}, {pair.lanes[1]} ({words})"


def _error_words(error_ms: float, notch_hz: float | None, sign: str = "") -> str:
    microseconds = 1000.0 * error_ms
    if notch_hz is None or abs(microseconds) < 0.005:
        return "exact"
    where = "over 20 kHz" if notch_hz > AUDIBLE_HZ else f"{notch_hz / 1000.0:.1f} kHz"
    return f"{microseconds:{sign}.1f} µs; {where}"


def _columns(table: Table) -> list[str]:
    lines = [table.headings, ["-" * len(heading) for heading in table.headings], *table.rows]
    widths = [max(len(line[column]) for line in lines) for column in range(len(table.headings))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)) for line in lines]
