import csv
import io

import pytest
from msgspec.structs import replace
from tests.support import sessions

from lagline.deliver.sheet import Rounding, delay_sheet
from lagline.deliver.sheet_text import rounding_table, sheet_csv, sheet_html, sheet_text
from lagline.session.values import ORIGINAL, Move, Version

SHIFTED = Version("v1", "Shifted", {"near": Move(101.37, -1), "pickup": Move(120.0)}, note="Softer attack.")


def test_delays_in_every_unit() -> None:
    """101.37 samples at 48 kHz are 2.1119 ms; 34.32 cm a ms at 20 degrees C (ISO 9613-1)."""
    session = sessions.session("near", "pickup", "room")
    near, pickup, room = delay_sheet(session, SHIFTED).rows
    assert near.delay_ms == pytest.approx(2.111875)
    assert near.metres == pytest.approx(2.111875e-3 * 343.2, rel=1e-6)
    assert near.feet == pytest.approx(near.metres / 0.3048)
    assert dict(near.samples_at) == pytest.approx(
        {44_100: 93.1337, 48_000: 101.37, 88_200: 186.2674, 96_000: 202.74, 192_000: 405.48}, abs=1e-4
    )
    assert (near.polarity, pickup.polarity) == (-1, 1)
    assert (room.delay_samples, room.is_anchor) == (0.0, True)


def test_rounding_and_the_first_notch_it_makes() -> None:
    """Two equal paths that are off by tau cancel first at 1 / (2 tau): 0.1 ms at 5 kHz, 1 ms at 500 Hz."""
    assert Rounding("0.1 ms", 1.0, 0.1).first_notch_hz == pytest.approx(5_000)
    assert Rounding("1 sample", 1.0, -1.0).first_notch_hz == pytest.approx(500)
    assert Rounding("1 sample", 1.0, 0.0).first_notch_hz is None
    near = delay_sheet(sessions.session("near", "room"), SHIFTED).rows[0]
    whole, hundredth, tenth = near.roundings
    assert (whole.value, hundredth.value, tenth.value) == (101.0, 2.11, 2.1)
    assert whole.error_ms == pytest.approx(-0.37 / 48)
    assert hundredth.error_ms == pytest.approx(2.11 - 2.111875)
    assert tenth.first_notch_hz == pytest.approx(1000 / (2 * 0.011875))


def test_lanes_rounded_to_opposite_sides_lie_further_apart_than_either_error_says() -> None:
    """In steps of 0.1 ms, 2.14 ms becomes 2.1 and 1.06 ms 1.1: 0.08 ms apart, so 6.25 kHz cancels first."""
    moves = {"near": Move(2.14 * 48), "pickup": Move(1.06 * 48)}
    sheet = delay_sheet(sessions.session("near", "pickup", "room"), Version("v1", "Shifted", moves))
    whole, hundredth, tenth = sheet.worst_pairs
    assert tenth.lanes == (sheet.rows[0].lane, sheet.rows[1].lane)
    assert tenth.apart_ms == pytest.approx(0.08)
    assert tenth.first_notch_hz == pytest.approx(6_250)
    assert hundredth.apart_ms == pytest.approx(0.0, abs=1e-9) and whole.apart_ms > 0
    last = rounding_table(sheet).rows[-1]
    assert last[0] == "furthest apart" and last[2] == "exact" and "80.0 µs; 6.2 kHz" in last[3]
    assert delay_sheet(sessions.session("near"), SHIFTED).worst_pairs == ()


def test_shifts_to_earlier_become_delays_of_the_others() -> None:
    session = sessions.session("near", "pickup", "room")
    version = Version("v1", "Early", {"near": Move(-48.0), "pickup": Move(24.0)})
    sheet = delay_sheet(session, version)
    assert [row.delay_samples for row in sheet.rows] == [0.0, 72.0, 48.0]
    assert "With these delays all lanes sound 1.000 ms later than in the version." in sheet.remarks
    shifted = [(row.delay_samples - row.shift_samples) for row in sheet.rows]
    assert len(set(shifted)) == 1


def test_csv_is_read_back_and_runs_no_formula() -> None:
    session = sessions.session("near", "room")
    lanes = (replace(session.lanes[0], name='=HYPERLINK("x")'), replace(session.lanes[1], name="+Room, left"))
    session = replace(session, lanes=lanes, name="@take")
    rows = list(csv.DictReader(io.StringIO(sheet_csv(delay_sheet(session, SHIFTED)))))
    assert [row["lane"] for row in rows] == ['\'=HYPERLINK("x")', "'+Room, left"]
    assert rows[0]["take"] == "'@take"
    assert float(rows[0]["delay_ms"]) == 2.112
    assert rows[0]["polarity"] == "-1"
    assert float(rows[0]["samples_at_96000"]) == 202.74
    assert float(rows[0]["error_us_0.1_ms"]) == pytest.approx(-11.87, abs=0.01)
    assert rows[1]["first_notch_hz_sample"] == ""


def test_text_says_all_a_reader_needs() -> None:
    sheet = delay_sheet(sessions.session("near", "room"), SHIFTED)
    text = sheet_text(sheet)
    for wanted in (
        "Delay sheet: A take, Shifted",
        "Lined up on Room",
        "Softer attack.",
        "2.112 ms",
        "0.725",
        "2.38",
        "at 88.2 kHz",
        "flip",
        "Room (anchor)",
        "20 degrees C",
        "Flip the polarity of the lanes marked so.",
        "101 (-7.7 µs; over 20 kHz)",
    ):
        assert wanted in text, wanted
    assert all(len(line) < 130 for line in text.splitlines())
    assert rounding_table(sheet).rows[1][1:] == ["0 (exact)", "0.00 ms (exact)", "0.00 ms (exact)"]


@pytest.mark.parametrize(
    ("moves", "flips", "moves_nothing"),
    [
        ({}, False, True),
        ({"near": Move(0.0, -1)}, True, False),
        ({"near": Move(12.0)}, False, False),
        ({"near": Move(12.0, -1)}, True, False),
    ],
)
def test_what_there_is_to_do_is_said_and_nothing_else(
    moves: dict[str, Move], flips: bool, moves_nothing: bool
) -> None:
    remarks = delay_sheet(sessions.session("near", "room"), Version("v1", "Shifted", moves)).remarks
    assert ("Flip the polarity of the lanes marked so." in remarks) == flips
    nothing = "This version moves nothing: the take has not been lined up in it."
    assert (nothing in remarks) == moves_nothing


def test_the_original_and_an_empty_session() -> None:
    assert {row.delay_ms for row in delay_sheet(sessions.session(), ORIGINAL).rows} == {0.0}
    empty = replace(sessions.session(), lanes=(), anchor_id=None)
    assert "Delay sheet" in sheet_text(delay_sheet(empty, SHIFTED))
    assert sheet_csv(delay_sheet(empty, SHIFTED)).startswith("take,")


def test_drift_is_said() -> None:
    version = Version("v1", "Shifted", {"near": Move(1.0, 1, 12.5)})
    assert any("drift" in remark for remark in delay_sheet(sessions.session(), version).remarks)


def test_page_to_print_holds_all_tables_and_escapes_names() -> None:
    session = sessions.session("near", "room")
    session = replace(session, name="<b>Take</b>")
    page = sheet_html(delay_sheet(session, SHIFTED))
    for wanted in (
        "&lt;b&gt;Take",
        "2.112 ms",
        "at 192 kHz",
        "405.48",
        "0.725",
        "µs; over 20 kHz",
        "flip",
    ):
        assert wanted in page, wanted
    assert "<b>Take" not in page
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")
