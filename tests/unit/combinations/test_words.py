"""What is said of a cell, and which ones are suggested, from figures that are known."""

from __future__ import annotations

import math
from typing import Any

import pytest
from msgspec.structs import replace

from lagline.combinations.cells import Cell, Part
from lagline.combinations.facts import BoardFacts, CellFacts, Notch
from lagline.combinations.words import hertz, suggestions, told, widest_change

NEAR, FAR, LINE = Part("Near", ("near",)), Part("Far", ("far",)), Part("Line", ("line",))
BANDS_HZ = (63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 1_000.0, 1_250.0)
FLAT = (0.0,) * len(BANDS_HZ)


def facts(*parts: Part, version_id: str = "v1", **values: Any) -> CellFacts:
    usual = CellFacts(
        Cell(parts, version_id), -20.0, 0.0, 12.0, FLAT, (), (0.0, 0.0, 0.0), 0.0, (), 0.0, 100.0, 0.0, 0.0
    )
    return replace(usual, **values)


def test_what_lining_up_does_is_said_first() -> None:
    before = facts(NEAR, FAR, version_id="original", notches=(Notch(390.0, 12.2), Notch(1_170.0, 6.0)))
    change = (0.0, 0.4, 2.0, 2.2, 2.4, 2.0, 1.9, 0.3, -1.5, 0.0)
    after = facts(NEAR, FAR, change_db=change)
    sentence = told(after, before, BANDS_HZ)
    assert sentence == "fills 12 dB at 390 Hz; +2.1 dB from 100 to 250 Hz; no notches"


def test_a_notch_that_stays_is_not_filled() -> None:
    before = facts(NEAR, FAR, version_id="original", notches=(Notch(390.0, 12.2),))
    after = facts(NEAR, FAR, change_db=FLAT, notches=(Notch(400.0, 9.0), Notch(1_510.0, 4.0)))
    assert told(after, before, BANDS_HZ) == "9 dB notch at 400 Hz; 1 more"


def test_a_lane_alone_and_a_silent_cell() -> None:
    assert told(facts(NEAR), None, BANDS_HZ) == "alone"
    assert told(facts(NEAR, loudness_lufs=-math.inf), None, BANDS_HZ) == "nothing is to be heard"


def test_what_mono_takes_is_said_where_it_is_more_than_width_costs() -> None:
    assert "mono" not in told(facts(NEAR, FAR, mono_worst_db=-3.0), None, BANDS_HZ)
    assert told(facts(NEAR, FAR, mono_worst_hz=80.0, mono_worst_db=-11.6), None, BANDS_HZ) == (
        "no notches; -12 dB at 80 Hz in mono"
    )


CHANGES = [
    (FLAT, ""),
    ((0, 0, 0, 0, 0, 0, 0, -3.0, 0, 0), "-3.0 dB about 315 Hz"),
    ((0, 0, 0, 0, 0, 0, 0, 2.0, 2.0, 2.0), "+2.0 dB from 315 Hz to 1.25 kHz"),
    ((2.0, 2.0, -3.0, -3.0, 0, 0, 0, 0, 0, 0), "-3.0 dB from 100 to 125 Hz"),
    ((math.nan, 1.5, 0, 0, 0, 0, 0, 0, 0, 0), "+1.5 dB about 80 Hz"),
]


@pytest.mark.parametrize(("change", "said"), CHANGES)
def test_the_widest_change(change: tuple[float, ...], said: str) -> None:
    assert widest_change(change, BANDS_HZ) == said


@pytest.mark.parametrize(
    ("value", "said"), [(31.5, "31.5 Hz"), (390.4, "390 Hz"), (1_500.0, "1.5 kHz"), (12_480.0, "12.5 kHz")]
)
def test_frequencies_have_three_figures(value: float, said: str) -> None:
    assert hertz(value) == said


def test_each_suggestion_has_its_reason_and_none_stands_for_nothing() -> None:
    lows = (0.0, 0.0, -1.0, -1.0, -1.0, -1.0, -1.0, 0.0, 0.0, 0.0)
    thin = (0.0, 0.0, -6.0, -6.0, -6.0, -6.0, -6.0, 0.0, 0.0, 0.0)
    cells = (
        facts(NEAR, tone_db=thin),
        facts(NEAR, FAR, ripple_db=6.0, tone_db=lows, mono_worst_db=-9.0),
        facts(NEAR, LINE, ripple_db=1.5, tone_db=thin, mono_worst_db=-2.0),
    )
    found = {one.name: one for one in suggestions(BoardFacts(BANDS_HZ, cells, 10))}
    assert found["most even"].cell == cells[2].cell
    assert found["most even"].reason == "the sum ripples by 1.5 dB, others by up to 6.0"
    assert found["fullest lows"].cell == cells[1].cell
    assert "3.6 dB more from 40 to 250 Hz" in found["fullest lows"].reason
    assert found["cleanest in mono"].cell == cells[2].cell
    assert found["cleanest in mono"].reason == (
        "mono takes 2.0 dB from its worst third octave, from others' up to 9.0"
    )
    alike = (facts(NEAR, FAR), facts(NEAR, LINE))
    assert suggestions(BoardFacts(BANDS_HZ, alike, 10)) == ()
