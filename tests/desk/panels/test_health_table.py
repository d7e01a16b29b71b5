"""Health of the recordings in rows, from a real reading pass over small files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from PySide6.QtWidgets import QTableWidget

from lagline.desk.panels.health_rows import ALL_WELL, STILL_READING, HealthRow, health_rows, problem_rows
from lagline.desk.panels.health_table import HealthDialog, HealthTable
from lagline.media.overview import build_overviews
from lagline.session.values import Lane, Session, Source

RATE_HZ = 48_000


@pytest.fixture
def take(tmp_path: Path):
    rng = np.random.default_rng(1)
    good = 0.2 * rng.standard_normal(RATE_HZ)
    clipped = np.clip(6 * good, -1, 1)
    lanes, files = [], {}
    for name, samples in (
        ("good", good),
        ("clipped", clipped),
        ("silent", np.zeros(RATE_HZ)),
        ("late", good),
    ):
        path = tmp_path / f"{name}.wav"
        soundfile.write(path, samples.astype(np.float32), RATE_HZ, subtype="PCM_24")
        source = Source(path, 0, RATE_HZ, RATE_HZ, path.stat().st_size)
        lanes.append(Lane(name, name.capitalize(), source))
        if name != "late":
            files[path] = build_overviews(path, use_cache=False)
    return Session(rate_hz=RATE_HZ, lanes=tuple(lanes)), files


def test_rows_say_what_is_wrong_and_what_to_do(take) -> None:
    rows = {row.lane_id: row for row in health_rows(*take)}
    assert rows["good"].grade == "well"
    assert rows["good"].sentences == (ALL_WELL,)
    assert "48 kHz · 24 bit · peak" in rows["good"].facts
    assert rows["clipped"].grade == "problem"
    assert "clipped" in rows["clipped"].problems[0]
    assert "digital silence" in rows["silent"].problems[0]
    assert "silent" in rows["silent"].facts
    assert rows["late"].sentences == (STILL_READING,)


def test_twins_are_named_in_a_row_of_the_take(take) -> None:
    session, files = take
    twin = Lane("twin", "Twin", session.lanes[0].source)
    rows = health_rows(Session(rate_hz=RATE_HZ, lanes=(*session.lanes, twin)), files)
    assert rows[-1].lane_id is None
    assert "Good and Twin hold exactly the same samples" in rows[-1].problems[0]


def test_what_opening_said_is_a_row_of_its_own() -> None:
    assert problem_rows(()) == ()
    assert problem_rows(("b.wav is missing.",))[0].problems == ("b.wav is missing.",)


@pytest.fixture
def table(qtbot, take) -> HealthTable:
    table = HealthTable()
    qtbot.addWidget(table)
    table.resize(700, 300)
    table.show_rows(health_rows(*take))
    table.show()
    qtbot.waitExposed(table)
    return table


def inner(table: HealthTable) -> QTableWidget:
    return table.findChild(QTableWidget)


def test_the_table_marks_and_speaks_the_grade(table) -> None:
    assert inner(table).item(1, 0).text().startswith("⚠ Clipped")
    assert inner(table).item(0, 0).text().startswith("✓ Good")
    assert table.summary() == "2 entries need a look."


def test_choosing_a_row_shows_its_lane(qtbot, table) -> None:
    with qtbot.waitSignal(table.lane_selected) as chosen:
        inner(table).selectRow(1)
    assert chosen.args == ["clipped"]


def test_narrow_tables_put_the_facts_under_the_name(qtbot, table) -> None:
    assert not inner(table).isColumnHidden(1)
    table.resize(340, 300)
    qtbot.waitUntil(lambda: inner(table).isColumnHidden(1))
    assert "24 bit" in inner(table).item(0, 0).text()
    table.resize(700, 300)
    qtbot.waitUntil(lambda: not inner(table).isColumnHidden(1))


def test_no_recordings_say_what_to_do(table) -> None:
    table.show_rows(())
    assert "Open a take" in table._empty.text()
    assert table.summary() == "No recordings."


def test_the_dialog_sums_up(qtbot) -> None:
    dialog = HealthDialog((HealthRow("A", "a.wav", "", (), ()),))
    qtbot.addWidget(dialog)
    assert "Nothing is wrong" in dialog._summary.text()
    dialog.show_rows((HealthRow("A", "a.wav", "", ("bad",), ()),))
    assert dialog._summary.text() == "1 entry needs a look."


def test_the_headline_does_not_contradict_a_note(qtbot) -> None:
    hum = "pickup carries mains hum."
    rows = (
        HealthRow("near", "near.wav", "", (), ()),
        HealthRow("pickup", "pickup.wav", "", (), (hum,)),
    )
    dialog = HealthDialog(rows)
    qtbot.addWidget(dialog)
    assert dialog._summary.text() == "Nothing needs mending; 1 recording has a note to keep in mind."
