"""The witness of the benchmarks tells late with the whole machine from late by itself."""

from __future__ import annotations

from tests.benchmarks.playback_witness import Account, Stop, own

STOPS = (Stop(10.0, 10.02), Stop(30.0, 30.003))
COUNTS = (
    (10.021, 2, 1),  # the first block after the stop
    (10.05, 1, 0),  # 30 ms later: not the stop's any more
    (20.0, 1, 1),  # nothing stood still
    (30.001, 0, 1),  # within
)


def test_only_what_a_stop_explains_is_taken_off():
    assert own(COUNTS, STOPS, after_s=0.02) == (2, 1)
    assert own(COUNTS, (), after_s=0.02) == (4, 3)
    assert own(COUNTS, (Stop(9.99, 10.021),), after_s=0.001) == (1, 2)  # long stops take long to catch up


def test_the_account_names_both():
    text = Account(STOPS, True, COUNTS).text(block_s=0.005)
    assert "late 2 times by over 2 ms (at most 20.0 ms)" in text
    assert text.endswith("late 2, underruns 1")
