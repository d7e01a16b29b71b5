"""How figures are written: pure text."""

from __future__ import annotations

import pytest
from tests.support.invented_session import session

from lagline.desk.panels import figures
from lagline.desk.panels.finding_texts import candidate_text, way_text
from lagline.session.findings import Finding, RunnerUp

FOUND = Finding("near", 0.0, 0.1, 1, 0.9, "strong", "", polarity_trust=0.9)


@pytest.mark.parametrize(
    ("value", "decimals", "text"), [(1.25, 1, "+1.2"), (-1.0, 2, "−1.00"), (-0.001, 2, "0.00"), (0, 0, "0")]
)
def test_signed(value, decimals, text) -> None:
    assert figures.signed(value, decimals) == text


@pytest.mark.parametrize(
    ("samples", "uncertainty", "text"),
    [
        (101.368, 0.05, "+101.37 ± 0.05 samples"),
        (-118.02, 1.4, "−118.0 ± 1.4 samples"),
        (12.3, None, "+12.30 samples"),
        (412.4, 20.0, "+412 ± 20 samples"),
    ],
)
def test_an_arrival_is_written_as_finely_as_it_is_known(samples, uncertainty, text) -> None:
    assert figures.samples_text(samples, uncertainty) == text


def test_a_place_says_samples_time_way_and_sense() -> None:
    # 48 samples at 48 kHz are 1 ms, in which sound goes 34.32 cm at 20 degrees C (ISO 9613-1: 343.2 m/s).
    assert figures.place_text(48, 48_000, 20.0) == "+48.00 samples · +1.000 ms · 34.3 cm later"
    assert figures.place_text(48, 48_000, 20.0, "in").endswith("13.5 in later")  # 34.32 / 2.54
    assert figures.place_text(-480, 48_000, 20.0, "ft").endswith("11.26 ft earlier")  # 3.432 / 0.3048
    assert figures.place_text(-480, 48_000, 20.0).endswith("3.43 m earlier")


def test_no_way_is_not_written_as_one() -> None:
    assert figures.place_text(0.0, 48_000, 20.0) == "0.00 samples · 0.000 ms · at the same time"
    assert figures.place_text(0.02, 48_000, 20.0).endswith("0.000 ms · later")
    assert way_text(session(), 0.0) == "0.000 ms · at the same time"


def test_a_place_to_try_says_what_speaks_for_it() -> None:
    """Not the height of the curve, which the plot calls match."""
    text = candidate_text(session(), FOUND, 0, RunnerUp(-48.0, 1, 0.56))
    assert text == "Runner-up 1: −48.00 samples, −1.000 ms, as anchor, evidence 0.56"


@pytest.mark.parametrize(
    ("hertz", "text"), [(31.5, "31.5 Hz"), (125, "125 Hz"), (1250, "1.25 kHz"), (16_000, "16 kHz")]
)
def test_frequency(hertz, text) -> None:
    assert figures.frequency_text(hertz) == text


@pytest.mark.parametrize(
    ("seconds", "text"), [(62.35, "1:02.35"), (3600, "1:00:00.00"), (-0.5, "−0:00.50"), (59.999, "1:00.00")]
)
def test_clock(seconds, text) -> None:
    assert figures.clock_text(seconds) == text
