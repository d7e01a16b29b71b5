"""The table says nothing that the sentences below it take back."""

from __future__ import annotations

import re

import pytest
from msgspec.structs import replace
from tests.support import invented_session

from lagline.cli.findings_table import print_findings


def row_of(capsys: pytest.CaptureFixture[str], **values: object) -> list[str]:
    session = invented_session.session()
    assert session.alignment is not None
    near = replace(session.alignment.findings[0], **values)  # type: ignore[arg-type]
    print_findings(session, replace(session.alignment, findings=(near,)), ())
    (row,) = (line for line in capsys.readouterr().out.splitlines() if line.startswith("Near left"))
    return re.split(r"\s{2,}", row.strip())  # an empty cell leaves nothing


@pytest.mark.parametrize(
    ("sign", "trust", "word"),
    [
        (-1, 0.9, "inverted"),
        (-1, 0.5, "probably inverted"),
        (1, 0.5, "probably as anchor"),
        (-1, 0.2, "unclear"),
        (1, 0.2, "unclear"),
        (None, 0.9, "unclear"),
    ],
)
def test_polarity(capsys: pytest.CaptureFixture[str], sign: int | None, trust: float, word: str) -> None:
    assert row_of(capsys, polarity=sign, polarity_trust=trust)[4] == word


def test_a_start_seconds_apart_has_no_distance(capsys: pytest.CaptureFixture[str]) -> None:
    """343.2 m/s at 20 degrees C (ISO 9613-1): 480 samples at 48 kHz are 343.2 cm; seconds are none."""
    assert row_of(capsys, arrival_samples=480.0)[3] == "+343.2"
    _name, samples, ms, polarity, *_ = row_of(capsys, arrival_samples=-114_547.2)
    assert (samples, ms) == ("-114547.20", "-2386.400") and not polarity[0].isdigit()


def test_a_shift_taken_as_whole_says_so_in_its_row(capsys: pytest.CaptureFixture[str]) -> None:
    session = invented_session.session()
    assert session.alignment is not None
    near = session.alignment.findings[0]
    for uncertainty, shown in ((0.3, ["+101.40"]), (0.5, ["+101.00", "whole"])):
        found = replace(near, arrival_samples=-101.4, uncertainty_samples=uncertainty)
        alignment = replace(session.alignment, findings=(found,))
        print_findings(session, alignment, (), rounding="within")
        printed = capsys.readouterr().out
        assert "shift, samples" in printed
        (row,) = (line for line in printed.splitlines() if line.startswith("Near left"))
        assert row.split()[-len(shown) :] == shown
