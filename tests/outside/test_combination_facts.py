"""The figures of the combinations board against scipy, pyloudnorm and combs worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pyloudnorm
import pytest
from msgspec.structs import replace
from numpy.typing import NDArray
from scipy import signal
from tests.support.array_clips import ArrayClip, session_of

from lagline.blend.loudness_match import matched_gains
from lagline.blend.mix import blend
from lagline.blend.signals import pair_weights
from lagline.combinations.cells import Cell, board_session, laid_out, parts_of
from lagline.combinations.facts import BoardFacts, dips, measured_board
from lagline.combinations.sums import cell_signals, measured_sums
from lagline.session.values import Move, Session, Version

RATE_HZ = 48_000
SECONDS = 6
MS = RATE_HZ // 1000


def comb_take(delay_frames: int = MS, level: float = 1.0, **lane_values: dict[str, object]):
    """Lane b hears the same noise as a, later by `delay_frames`; c hears something else. v1 lines b up."""
    rng = np.random.default_rng(5)
    frames = SECONDS * RATE_HZ
    sound = 0.05 * rng.standard_normal(frames)
    late = np.concatenate([np.zeros(delay_frames), sound[: frames - delay_frames]])
    clips = {
        "a": ArrayClip(sound),
        "b": ArrayClip(level * late),
        "c": ArrayClip(0.05 * rng.standard_normal(frames)),
    }
    version = Version("v1", "Lined up", {"b": Move(-float(delay_frames))})
    return session_of(clips, version, **lane_values), clips


def measured(
    session: Session, clips: dict[str, ArrayClip], lanes: tuple[str, ...] = ("a", "b")
) -> BoardFacts:
    cells = laid_out(parts_of(session, lanes), ("original", "v1"))
    return measured_board(session, cells, clips, 0, SECONDS * RATE_HZ)


def cell_of(board: BoardFacts, name: str, version_id: str):
    found = [one for one in board.cells if one.cell.name == name and one.cell.version_id == version_id]
    assert len(found) == 1
    return found[0]


def test_two_lanes_a_millisecond_apart_have_notches_at_500_1500_and_2500_hertz() -> None:
    """Equal paths t apart cancel at (2k + 1) / (2 t): the comb of any textbook."""
    board = measured(*comb_take())
    comb = cell_of(board, "lane a + lane b", "original")
    places = sorted(notch.frequency_hz for notch in comb.notches)
    assert places[:3] == pytest.approx([500.0, 1500.0, 2500.0], rel=0.005)
    assert comb.notches[0].depth_db > 25.0
    lined_up = cell_of(board, "lane a + lane b", "v1")
    assert lined_up.notches == ()
    assert lined_up.ripple_db == pytest.approx(0.0, abs=0.05)
    assert lined_up.summing_gain_db == pytest.approx((3.0103,) * 3, abs=0.02)


@pytest.mark.parametrize("level_db", [-6.0, -12.0])
def test_a_quieter_second_path_makes_a_shallower_notch(level_db: float) -> None:
    """Notch of 1 and g: (1 - g)^2 over 1 + g^2 of the powers."""
    gain = 10 ** (level_db / 20)
    board = measured(*comb_take(level=gain))
    comb = cell_of(board, "lane a + lane b", "original")
    expected = -10 * math.log10((1 - gain) ** 2 / (1 + gain**2))
    first = min(comb.notches, key=lambda notch: notch.frequency_hz, default=None)
    if expected < 3.0:
        assert first is None
    else:
        assert first is not None and first.depth_db == pytest.approx(expected, abs=0.3)


def test_the_ripple_of_an_ideal_comb_is_that_of_the_formula() -> None:
    """Standard deviation of 10 log10(2 cos^2) over the same frequencies, each averaged over its width."""
    board = measured(*comb_take(delay_frames=12))  # a quarter of a millisecond: wide teeth
    comb = cell_of(board, "lane a + lane b", "original")
    grid = 20.0 * 2.0 ** (np.arange(240) / 24)
    grid = grid[(grid >= 50) & (grid <= 16_000)]
    half = 2 ** (1 / 48)
    fine = np.linspace(1 / half, half, 101)[:, None] * grid
    gain = 10 * np.log10(np.mean(2 * np.cos(np.pi * fine * 12 / RATE_HZ) ** 2, axis=0))
    assert comb.ripple_db == pytest.approx(np.maximum(gain, -30).std(), abs=0.25)


def test_lanes_that_share_nothing_gain_and_ripple_little() -> None:
    board = measured(*comb_take(), lanes=("a", "c"))
    both = cell_of(board, "lane a + lane c", "original")
    assert both.summing_gain_db == pytest.approx((0.0,) * 3, abs=0.4)
    assert both.notches == ()


def test_spectra_of_all_cells_are_those_scipy_finds_in_their_blends() -> None:
    session, clips = comb_take(a={"gain_db": -4.0, "pan": -0.6}, b={"pan": 0.3}, c={"gain_db": 3.0})
    cells = laid_out(parts_of(session), ("original", "v1"))
    signals = cell_signals(session, cells)
    sums = measured_sums(signals, clips, 0, SECONDS * RATE_HZ)
    board = board_session(session, cells)
    size = (len(sums.frequency_hz) - 1) * 2
    for number, cell in enumerate(cells):
        heard = blend(board, board.version(cell.id), clips, 0, SECONDS * RATE_HZ).astype(np.float64)
        _, density = signal.welch(heard.T, RATE_HZ, "hann", size, size // 2, detrend=False, scaling="density")
        ours = pair_weights(signals.weights[number]) @ sums.cross
        np.testing.assert_allclose(ours, density, rtol=1e-4, atol=1e-12 * density.max())


def test_loudness_and_crest_of_all_cells_are_those_of_their_blends() -> None:
    """pyloudnorm, whose filters differ from ours by 0.04 LU on white noise; and our own meter, closely."""
    session, clips = comb_take(a={"gain_db": -4.0, "pan": -0.6}, b={"pan": 0.3}, c={"gain_db": 3.0})
    cells = laid_out(parts_of(session), ("original", "v1"))
    facts = measured_board(session, cells, clips, 0, SECONDS * RATE_HZ)
    board, meter = board_session(session, cells), pyloudnorm.Meter(RATE_HZ)
    quietest = min(one.loudness_lufs for one in facts.cells)
    known = matched_gains(replace(board, loop=(0, SECONDS * RATE_HZ)), clips)
    for cell, one in zip(cells, facts.cells, strict=True):
        assert one.loudness_lufs == pytest.approx(known.lufs[cell.id], abs=1e-4)
        heard = blend(board, board.version(cell.id), clips, 0, SECONDS * RATE_HZ).astype(np.float64)
        assert one.loudness_lufs == pytest.approx(meter.integrated_loudness(heard), abs=0.06)
        assert meter.integrated_loudness(heard * 10 ** (one.match_db / 20)) == pytest.approx(
            quietest, abs=0.06
        )
        crest = 20 * np.log10(np.abs(heard).max()) - 10 * np.log10((heard**2).mean(axis=0).max())
        assert one.crest_db == pytest.approx(crest, abs=0.05)


def test_tone_is_against_the_fullest_cell_at_equal_loudness() -> None:
    board = measured(*comb_take())
    tones = np.array([one.tone_db for one in board.cells])
    np.testing.assert_allclose(tones.max(axis=0), 0.0, atol=1e-12)
    alone = cell_of(board, "lane a", "original")
    in_step = cell_of(board, "lane a + lane b", "v1")  # the same sound, 6 dB louder
    np.testing.assert_allclose(alone.tone_db, in_step.tone_db, atol=0.05)
    comb = cell_of(board, "lane a + lane b", "original")
    at_500 = board.bands_hz.index(500.0)
    assert comb.tone_db[at_500] < -8.0


MONO = [(-1.0, 1.0, "c", -3.01), (0.0, 0.0, "c", 0.0)]


@pytest.mark.parametrize(("left", "right", "other", "expected_lu"), MONO)
def test_what_mono_does(left: float, right: float, other: str, expected_lu: float) -> None:
    """Unrelated sides lose half their power when they become one; what is in the middle loses nothing."""
    session, clips = comb_take(a={"pan": left}, c={"pan": right})
    board = measured(session, clips, ("a", other))
    both = cell_of(board, f"lane a + lane {other}", "original")
    assert both.mono_lu == pytest.approx(expected_lu, abs=0.1)
    assert both.width == pytest.approx(0.5 if expected_lu < -1 else 0.0, abs=0.01)


def test_opposite_sides_vanish_in_mono() -> None:
    session, clips = comb_take(a={"pan": -1.0}, b={"pan": 1.0})
    flipped = Version("v1", "Lined up", {"b": Move(-float(MS), -1)}, session.current_version.balances)
    board = measured(session_of_versions(session, flipped), clips)
    both = cell_of(board, "lane a + lane b", "v1")
    assert both.mono_worst_db < -60.0
    assert both.width == pytest.approx(1.0, abs=1e-3)


def session_of_versions(session: Session, version: Version) -> Session:
    return replace(session, versions=(version,))


@pytest.mark.parametrize("seed", range(20))
def test_dips_are_those_of_find_peaks(seed: int) -> None:
    values: NDArray[np.float64] = np.random.default_rng(seed).normal(0, 4, 200).cumsum() / 3
    expected, _ = signal.find_peaks(-values, height=3.0, prominence=3.0)
    assert dips(values, 3.0) == expected.tolist()


def test_a_silent_cell_says_nothing_of_itself() -> None:
    clips = {"a": ArrayClip(np.zeros(RATE_HZ)), "b": ArrayClip(np.zeros(RATE_HZ))}
    session = session_of(clips)
    cells: tuple[Cell, ...] = laid_out(parts_of(session), ("original",))
    board = measured_board(session, cells, clips, 0, RATE_HZ)
    for one in board.cells:
        assert one.loudness_lufs == -math.inf and one.match_db == 0.0
        assert math.isnan(one.crest_db) and math.isnan(one.mono_worst_db) and one.notches == ()


def test_an_empty_passage_is_refused() -> None:
    session, clips = comb_take()
    with pytest.raises(ValueError, match="empty"):
        measured_board(session, laid_out(parts_of(session), ("v1",)), clips, 5, 5)
