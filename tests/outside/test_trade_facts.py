"""What everybody in the trade knows of two microphones and a direct line, found by the main job.

Each fact is common practice, no source, unless one stands beside it. Takes are made here: one dry performance
on strings, heard by a direct line at once, by a near microphone 12 inches away and by a far one at 30 inches,
with a reflection and noise of its own in each. Sound travels at 343.2 m/s (ISO 9613-1, 20 degrees C); an inch
is 25.4 mm. They go through `lagline align`, `deliver` and its delay sheet; files are read by soundfile.

Every fact is a function that looks at what came out, and is asked twice: of the take as it is, and of one
whose quantity is planted wrong, where it has to fail.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
import scipy.signal
import soundfile
from numpy.typing import NDArray
from tests.support import scenario_sounds as sounds
from tests.support.desk_door import NotedDesk

from lagline.cli.run import run

RATE = 48_000
METRES_A_SECOND = 343.2
INCH_M = 0.0254
# The least change of rhythm that is heard: about 6 ms where notes follow within 240 ms, more where they are
# slower (A. Friberg and J. Sundberg, J. Acoust. Soc. Am. 98, 1995). Players of an ensemble are 30 to
# 50 ms apart (R. A. Rasch, Acustica 43, 1979). Both from memory.
RHYTHM_HEARD_MS = 6.0
Sound = NDArray[np.float64]


class Places(NamedTuple):
    """How the take is made."""

    near_inches: float = 12.0
    far_inches: float = 30.0
    direct_ms: float = 0.0  # a latency of the direct line
    far_sign: int = 1


class Outcome(NamedTuple):
    recorded: dict[str, Sound]
    found: dict[str, dict[str, Any]]  # by lane: what `align --json` says
    aligned: dict[str, Sound]
    original: Sound
    shifted: Sound
    sheet: dict[str, dict[str, str]]


def travel_ms(inches: float) -> float:
    return 1000 * inches * INCH_M / METRES_A_SECOND


def recorded(places: Places) -> dict[str, Sound]:
    rng = np.random.default_rng(12_30)
    dry = 0.7 * sounds.plucked(8.0, RATE, rng)
    lanes = {}
    for name, ms, sign in (
        ("direct", places.direct_ms, 1),
        ("near", travel_ms(places.near_inches), 1),
        ("far", travel_ms(places.far_inches), places.far_sign),
    ):
        later = sounds.delayed(dry, ms * RATE / 1000)
        wall = 0.0 if name == "direct" else 0.15
        echo = wall * sounds.delayed(dry, (ms + 7.3) * RATE / 1000)
        lanes[name] = sounds.with_noise(sign * (later + echo), 50.0, rng)
    loudest = max(np.abs(lane).max() for lane in lanes.values())
    return {name: 0.25 * lane / loudest for name, lane in lanes.items()}


def lagline(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    capsys.readouterr()
    assert run([str(one) for one in arguments], NotedDesk()) == 0
    return capsys.readouterr().out


def outcome(folder: Path, capsys: pytest.CaptureFixture[str], places: Places, *more: str) -> Outcome:
    """The main job on a take that is made at these places."""
    take, out = folder / "take", folder / "out"
    take.mkdir(parents=True)
    lanes = recorded(places)
    for name, lane in lanes.items():
        soundfile.write(take / f"{name}.wav", lane, RATE, subtype="FLOAT")
    found = json.loads(lagline(capsys, "align", take, "--json", *more))
    lagline(capsys, "deliver", take, "--out", out, "--depth", "float", *more)
    (sheet,) = out.glob("*delay sheet*.csv")
    rows = csv.DictReader(sheet.read_text("utf-8-sig").splitlines())
    return Outcome(
        recorded=lanes,
        found={lane["name"]: lane for lane in found["lanes"]},
        aligned={name: read(out / "aligned", name) for name in lanes},
        original=read(out, "Original"),
        shifted=read(out, "Shifted"),
        sheet={row["lane"]: row for row in rows},
    )


def read(folder: Path, name: str) -> Sound:
    """The left channel of the WAV file with that name in its name."""
    (path,) = (path for path in folder.glob("*.wav") if f"- {name}" in path.stem)
    return np.asarray(soundfile.read(path, always_2d=True)[0][:, 0])


def shift_ms(outcome: Outcome, lane: str) -> float:
    return float(outcome.found[lane]["proposed_shift_samples"]) * 1000 / RATE


def energy(sound: Sound, low_hz: float, high_hz: float) -> float:
    spectrum = np.abs(np.fft.rfft(sound)) ** 2
    hz = np.fft.rfftfreq(len(sound), 1 / RATE)
    return float(spectrum[(hz >= low_hz) & (hz < high_hz)].sum())


def gained_db(outcome: Outcome, low_hz: float, high_hz: float) -> float:
    return 10 * np.log10(energy(outcome.shifted, low_hz, high_hz) / energy(outcome.original, low_hz, high_hz))


def phase_at(one: Sound, other: Sound, hz: float) -> float:
    """Radians by which `other` turns against `one` at a frequency."""
    length = min(len(one), len(other))
    at, cross = scipy.signal.csd(one[:length], other[:length], fs=RATE, nperseg=8192)
    return float(np.interp(hz, at, np.unwrap(np.angle(cross))) % (2 * np.pi))


# The facts.


def a_far_microphone_is_about_a_millisecond_late(outcome: Outcome) -> None:
    """From 12 to 30 inches: 18 inches of air, 1.33 ms, "about a thousandth of a second"."""
    late_ms = outcome.found["far"]["arrival_ms"] - outcome.found["near"]["arrival_ms"]
    assert 0.5 < late_ms < 1.5
    assert late_ms == pytest.approx(travel_ms(18), abs=0.02)


def the_direct_line_is_earlier_than_the_closest_microphone(outcome: Outcome) -> None:
    direct, near = (outcome.found[name]["arrival_ms"] for name in ("direct", "near"))
    assert direct < near
    assert near - direct == pytest.approx(travel_ms(12), abs=0.02)


def lining_up_delays_the_early_ones_onto_the_latest(outcome: Outcome) -> None:
    latest = max(outcome.found, key=lambda name: outcome.found[name]["arrival_ms"])
    assert latest == "far"
    assert shift_ms(outcome, latest) == 0.0
    assert all(shift_ms(outcome, name) > 0.0 for name in outcome.found if name != latest)
    sums = [lane["arrival_ms"] + shift_ms(outcome, name) for name, lane in outcome.found.items()]
    assert np.ptp(sums) < 0.01


def a_millisecond_does_not_change_the_groove(outcome: Outcome) -> None:
    """The near microphone's strokes keep their distances; all move by less than is heard of a rhythm."""
    before, after = (strokes(lane["near"]) for lane in (outcome.recorded, outcome.aligned))
    assert len(before) == len(after) > 8
    assert np.abs(np.diff(after) - np.diff(before)).max() < 0.1
    assert 0 < np.median(after - before) < RHYTHM_HEARD_MS


def strokes(sound: Sound) -> Sound:
    """Where notes begin, in ms: the steepest rises of the level above 2 kHz."""
    high = scipy.signal.sosfiltfilt(scipy.signal.butter(4, 2000, "high", fs=RATE, output="sos"), sound)
    level = scipy.signal.sosfiltfilt(scipy.signal.butter(2, 200, fs=RATE, output="sos"), np.abs(high))
    rise = np.diff(level)
    peaks, _ = scipy.signal.find_peaks(rise, height=0.25 * rise.max(), distance=RATE // 10)
    return np.asarray(peaks * 1000.0 / RATE)


def lined_up_the_blend_has_more_high_end(outcome: Outcome) -> None:
    assert gained_db(outcome, 2000, 20_000) > 1.0


def lined_up_the_blend_is_more_solid(outcome: Outcome) -> None:
    """The octaves of low notes, in which direct line and far microphone have their first notch."""
    assert gained_db(outcome, 80, 320) > 1.0


def at_the_notch_one_lane_pushes_while_the_other_pulls(outcome: Outcome) -> None:
    """At 1 / (2 t) the far lane stands half a turn from the near one; lined up, they go together."""
    late_s = (outcome.found["far"]["arrival_ms"] - outcome.found["near"]["arrival_ms"]) / 1000
    notch_hz = 1 / (2 * late_s)
    apart = phase_at(outcome.recorded["near"], outcome.recorded["far"], notch_hz)
    together = phase_at(outcome.aligned["near"], outcome.aligned["far"], notch_hz)
    assert apart == pytest.approx(np.pi, abs=0.35)
    assert min(together, 2 * np.pi - together) < 0.35


def moved_or_typed_it_is_the_same(outcome: Outcome) -> None:
    """Recordings delayed by what the sheet says sum to the blend that was delivered."""
    typed = np.zeros(len(outcome.shifted))
    for name, lane in outcome.recorded.items():
        row = outcome.sheet[name]
        samples = float(row["delay_ms"]) * RATE / 1000
        typed += int(row["polarity"]) * sounds.delayed(lane, samples, len(typed))
    scale = float(typed @ outcome.shifted / (typed @ typed))
    left = outcome.shifted - scale * typed
    assert 10 * np.log10(np.mean(left**2) / np.mean(outcome.shifted**2)) < -40.0


HERE = Places()
PLANTED: dict[Any, Places] = {
    a_far_microphone_is_about_a_millisecond_late: Places(far_inches=60.0),
    the_direct_line_is_earlier_than_the_closest_microphone: Places(direct_ms=1.5),
    lining_up_delays_the_early_ones_onto_the_latest: Places(direct_ms=5.0),
    a_millisecond_does_not_change_the_groove: Places(far_inches=120.0),
    lined_up_the_blend_has_more_high_end: Places(12.0, 12.0, travel_ms(12)),
    lined_up_the_blend_is_more_solid: Places(12.0, 12.0, travel_ms(12)),
    at_the_notch_one_lane_pushes_while_the_other_pulls: Places(far_sign=-1),
}


@pytest.fixture(scope="module")
def known() -> dict[Places, Outcome]:
    """Outcomes by places: each take is made and measured once."""
    return {}


def outcome_of(places: Places, known: dict[Places, Outcome], folder: Path, capsys: Any) -> Outcome:
    if places not in known:
        known[places] = outcome(folder, capsys, places)
    return known[places]


@pytest.mark.parametrize("fact", [*PLANTED, moved_or_typed_it_is_the_same], ids=lambda fact: fact.__name__)
def test_fact(
    fact: Any, known: dict[Places, Outcome], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fact(outcome_of(HERE, known, tmp_path, capsys))


@pytest.mark.parametrize("fact", PLANTED, ids=lambda fact: fact.__name__)
def test_fact_fails_where_its_quantity_is_wrong(
    fact: Any, known: dict[Places, Outcome], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    planted = outcome_of(PLANTED[fact], known, tmp_path, capsys)
    with pytest.raises(AssertionError):
        fact(planted)


def test_typed_wrong_it_is_not_the_same(
    known: dict[Places, Outcome], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    right = outcome_of(HERE, known, tmp_path, capsys)
    near = {**right.sheet["near"], "delay_ms": str(float(right.sheet["near"]["delay_ms"]) * 1.05)}
    with pytest.raises(AssertionError):
        moved_or_typed_it_is_the_same(right._replace(sheet={**right.sheet, "near": near}))
