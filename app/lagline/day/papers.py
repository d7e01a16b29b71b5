"""What goes with a day's delivery: one delay sheet, and one report with a page a take."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from lagline import __version__
from lagline.day.against import Held, differences, held_against, late_ms, moves_over
from lagline.day.asking import decided_version
from lagline.day.values import PICTURE_COLUMNS, Day, DayTake
from lagline.day.words import difference_words, health_words, length_words, move_words
from lagline.deliver.names import safe_stem
from lagline.deliver.page import filled_page
from lagline.deliver.plots import Axis, Plot
from lagline.deliver.sheet import DelaySheet, delay_sheet
from lagline.deliver.sheet_text import sheet_table, sheets_csv
from lagline.deliver.tables import Table
from lagline.errors import CannotWrite, LaglineError
from lagline.files import is_there, write_whole
from lagline.session.storage import load, stamp
from lagline.units import samples_to_ms

SHEET, REPORT = "delay sheet", "report"
DASHES = ("", "7 2", "2 2", "8 2 2 2", "4 4", "1 3", "10 3", "6 2 1 2 1 2")
CHART_PX = (760.0, 320.0)


class Papers(Struct, frozen=True):
    """What was written, and why a take is not in it."""

    paths: tuple[Path, ...]
    problems: tuple[str, ...] = ()


def write_papers(day: Day, folder: Path, *, overwrite: bool = False) -> Papers:
    """Write the delay sheet (CSV and a page to print) of what was delivered below `folder`, and the report of
    the whole day, into it, by the day's name. What is there is replaced with `overwrite` alone; else " (2)"
    and on follows the names. Raises CannotWrite.
    """
    sheets, problems = _sheets(day, folder)
    papers = {
        f"{SHEET}.csv": sheets_csv(sheets).encode("utf-8-sig"),  # tells spreadsheets it is UTF-8
        f"{SHEET}.html": _sheet_page(day, sheets).encode(),
        f"{REPORT}.html": day_page(day).encode(),
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
        files = dict(zip(_places(day, folder, list(papers), overwrite), papers.values(), strict=True))
        for path, data in files.items():
            write_whole(path, data)
    except OSError as error:
        raise CannotWrite(folder, error) from error
    return Papers(tuple(files), tuple(problems))


def _places(day: Day, folder: Path, names: Sequence[str], overwrite: bool) -> list[Path]:
    first = [folder / f"{safe_stem(day.name)} {name}" for name in names]
    places, number = first, 1
    while not overwrite and any(is_there(place) for place in places):
        number += 1
        places = [place.with_stem(f"{place.stem} ({number})") for place in first]
    return places


def day_page(day: Day) -> str:
    """The report: what the day was, who moved and when, what is wrong, then a page a take. HTML that needs
    nothing beside it.
    """
    held = held_against(day)
    measured = [take for take in day.takes if take.is_measured]
    moves = moves_over(day.takes, held) if held is not None else ()
    return filled_page(
        "day.html.j2",
        title=f"A day's takes: {day.name}",
        made=datetime.now().astimezone().strftime("%Y-%m-%d %H:%M"),
        made_by=f"Lagline {__version__}",
        takes=len(day.takes),
        measured=len(measured),
        against=_against_words(day, held),
        chart=arrivals_chart(measured, held) if held is not None and measured else "",
        moves=[move_words(move) for move in moves],
        failed=Table(["take", "why"], [[take.name, take.error] for take in day.takes if take.error]),
        faults=Table(
            ["take", "what is wrong"], [[take.name, fault] for take in day.takes for fault in take.faults]
        ),
        overview=_overview(day, held),
        pages=[_take_page(take, held) for take in day.takes if take.facts is not None],
    )


def arrivals_chart(takes: Sequence[DayTake], held: Held) -> str:
    """Every lane's arrival over the takes, in ms against the setup's anchor, as SVG: a line a lane, told
    apart by dashes and its name; gaps where a lane was not found.
    """
    setup = held.setup
    late = [late_ms(take, held) for take in takes]
    names = [known.name for known in setup.lanes if any(known.name in one for one in late)]
    values = [value for one in late for value in one.values()]
    low, high = min(values, default=0.0), max(values, default=1.0)
    room = max(0.08 * (high - low), 0.2)
    wide = max(len(takes), 2)
    plot = Plot(
        Axis(0.5, wide + 0.5 + 0.12 * wide, "take"),
        Axis(low - room, high + room, f"arrival against {setup.anchor or 'the anchor'}, ms"),
        "Arrival of every lane over the day",
        *CHART_PX,
    )
    for number, name in enumerate(names):
        places = [one.get(name, float("nan")) for one in late]
        plot.line(range(1, len(takes) + 1), places, dash=DASHES[number % len(DASHES)])
        at = next((place for place in reversed(places) if place == place), None)
        if at is not None:
            plot.tag(wide + 0.5, at, name)
    by_name = {take.name: number for number, take in enumerate(takes, 1)}
    for move in moves_over(takes, held):
        at = late[by_name[move.after] - 1].get(move.lane)
        if at is not None:
            plot.dot(by_name[move.after], at, radius=3.0)
    return plot.svg()


def _sheets(day: Day, folder: Path) -> tuple[list[DelaySheet], list[str]]:
    """Of what was delivered and is as it was then, and what is said of the others."""
    sheets: list[DelaySheet] = []
    problems: list[str] = []
    for take in day.takes:
        if take.delivered is None or not take.delivered.folder.is_relative_to(folder):
            continue
        try:
            session = load(take.session)
        except LaglineError as error:
            problems.append(str(error))
            continue
        if stamp(take.session) != take.delivered.stamp:
            problems.append(
                f"{take.name} changed after it was delivered, so it is not on the delay sheet. "
                "Deliver it again to have it there."
            )
            continue
        version = session.version(decided_version(session, take))
        sheets.append(replace(delay_sheet(session, version), take=take.name))
    return sheets, problems


def _sheet_page(day: Day, sheets: Sequence[DelaySheet]) -> str:
    rows = [[sheet.take, sheet.version, *row] for sheet in sheets for row in sheet_table(sheet).rows]
    headings = ["take", "version", *(sheet_table(sheets[0]).headings if sheets else [])]
    remarks = dict.fromkeys(remark for sheet in sheets for remark in sheet.remarks)
    return filled_page(
        "day_sheet.html.j2",
        title=f"Delay sheet: {day.name}",
        sheet=Table(headings, rows),
        remarks=list(remarks),
    )


def _against_words(day: Day, held: Held | None) -> str:
    if held is None:
        return "Nothing: fewer than three takes were measured, and no setup was chosen."
    if day.setup is None:
        return f"where the lanes usually are on this day, against {held.setup.anchor}"
    return f"the setup {held.setup.name}"


def _overview(day: Day, held: Held | None) -> Table:
    rows = []
    for take in day.takes:
        found = differences(take, held) if held is not None else ()
        said = "; ".join(difference_words(one) for one in found)
        rows.append([take.name, length_words(take), take.state, health_words(take), said])
    return Table(["take", "length", "state", "health", "what differs"], rows)


def _take_page(take: DayTake, held: Held | None) -> dict[str, object]:
    facts = take.facts
    assert facts is not None
    rows = []
    for lane in facts.lanes:
        arrival = lane.arrival_samples
        found = ["", ""] if arrival is None else [_ms(arrival, facts.rate_hz), f"{arrival:+.2f}"]
        polarity = {1: "as anchor", -1: "inverted", None: ""}[lane.polarity]
        name = f"{lane.name} (anchor)" if lane.name == facts.anchor else lane.name
        shift = _ms(lane.shift_samples, facts.rate_hz) + (", flipped" if lane.is_flipped else "")
        rows.append([name, *found, polarity, lane.trust_word if facts.anchor else "", shift])
    delivered = (
        "" if take.delivered is None else f"{take.delivered.version}, into {take.delivered.folder.name}"
    )
    return {
        "name": take.name,
        "facts": f"{length_words(take)}, {facts.rate_hz / 1000:g} kHz, {len(rows)} lanes, {take.state}",
        "picture": _picture(take.picture),
        "lanes": Table(["lane", "arrival", "samples", "polarity", "trust", "shift now"], rows),
        "differs": [difference_words(one) for one in (differences(take, held) if held else ())],
        "said": [*take.faults, *take.problems, *take.notes, *([take.error] if take.error else [])],
        "version": take.decided,
        "delivered": delivered,
    }


def _picture(picture: bytes) -> str:
    """The small picture of the sum as SVG; empty without one."""
    if not picture:
        return ""
    bars = "".join(
        f'<rect x="{4 * x}" y="{20 - height / 255 * 20:.1f}" width="3" height="{height / 255 * 40:.1f}"/>'
        for x, height in enumerate(picture)
    )
    wide = 4 * PICTURE_COLUMNS
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} 40" width="{wide}" height="40" '
        f'role="img" fill="#555"><title>The sum over the take</title>{bars}</svg>'
    )


def _ms(samples: float, rate_hz: int) -> str:
    return f"{samples_to_ms(samples, rate_hz):+.3f} ms"
