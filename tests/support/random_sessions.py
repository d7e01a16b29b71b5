"""Random sessions for hypothesis: any value that a session may hold, in every field."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

from hypothesis import strategies as st

from lagline.session.findings import Alignment, Evidence, Finding, PairFinding, RunnerUp, WindowCount
from lagline.session.values import (
    ORIGINAL_ID,
    Balance,
    Before,
    Lane,
    Mark,
    Move,
    Origin,
    OriginWord,
    Ranked,
    Ranking,
    Session,
    Source,
    Trial,
    Version,
)

FOLDER = Path("recordings").absolute()
counts = st.floats(-1e9, 1e9)
parts = st.floats(0, 1)
signs = st.sampled_from((1, -1))
names = st.text(min_size=1, max_size=20)
stamps = st.none() | st.integers(0, 2**63 - 1)
# What a later version of the format may have put beside the fields we know.
unknown = st.dictionaries(
    names.map("x-{}".format),
    st.integers(-9, 9) | st.text() | st.lists(st.booleans() | st.none(), max_size=3),
    max_size=2,
)
balances = st.builds(Balance, st.floats(-60, 12), st.floats(-1, 1), st.booleans())
moves = st.builds(Move, counts, signs, st.floats(-200, 200))
origins = st.builds(Origin, st.sampled_from(get_args(OriginWord)), moves, st.integers(0, 9))
ranked = st.builds(Ranked, names, names, st.integers(0, 99), parts, parts, parts)
rankings = st.builds(
    Ranking, st.lists(ranked, max_size=3).map(tuple), st.integers(0, 99), parts, st.text(), st.text()
)
befores = st.builds(Before, moves, st.none() | origins)
runners_up = st.builds(RunnerUp, counts, signs, parts)


def series(values: st.SearchStrategy[float], size: int) -> st.SearchStrategy[tuple[float, ...]]:
    return st.lists(values, min_size=size, max_size=size).map(tuple)


@st.composite
def evidence(draw: st.DrawFn) -> Evidence:
    windows, bins = draw(st.integers(0, 4)), draw(st.integers(0, 4))
    return Evidence(
        curve_start_samples=draw(counts),
        curve_step_samples=draw(st.floats(1e-3, 10)),
        curve=draw(st.lists(st.floats(-1, 1), max_size=5).map(tuple)),
        window_time_s=draw(series(counts, windows)),
        window_arrival_samples=draw(series(counts, windows)),
        window_weight=draw(series(parts, windows)),
        window_polarity=draw(st.lists(signs, min_size=windows, max_size=windows).map(tuple)),
        band_low_hz=draw(st.floats(0, 1e5)),
        band_high_hz=draw(st.floats(0, 1e5)),
        coherence_hz=draw(series(counts, bins)),
        coherence=draw(series(parts, bins)),
        phase_rad=draw(series(st.floats(-4, 4), bins)),
    )


def findings(ids: list[str]) -> st.SearchStrategy[Finding]:
    return st.builds(
        Finding,
        lane_id=st.sampled_from(ids),
        arrival_samples=st.none() | counts,
        uncertainty_samples=st.none() | counts,
        polarity=st.sampled_from((None, 1, -1)),
        trust=parts,
        trust_word=st.sampled_from(("strong", "usable", "weak", "none")),
        sentence=st.text(),
        polarity_trust=parts,
        first_sound_samples=st.none() | counts,
        best_fit_samples=st.none() | counts,
        drift_ppm=st.floats(-500, 500),
        drift_uncertainty_ppm=st.none() | st.floats(0, 500),
        movement_ms=st.floats(0, 1e3),
        runners_up=st.lists(runners_up, max_size=3).map(tuple),
        windows=st.builds(WindowCount, st.integers(0, 99), st.integers(0, 99)),
        evidence=evidence(),
    )


def alignments(ids: list[str]) -> st.SearchStrategy[Alignment]:
    one = st.sampled_from(ids)
    return st.builds(
        Alignment,
        anchor_id=one,
        rate_hz=st.sampled_from((44_100, 48_000)),
        findings=st.lists(findings(ids), max_size=3).map(tuple),
        pairs=st.lists(st.builds(PairFinding, one, one, counts, parts, counts, signs), max_size=2).map(tuple),
        closure_samples=counts,
        warnings=st.lists(st.text(), max_size=2).map(tuple),
    )


def trials(version_ids: list[str]) -> st.SearchStrategy[Trial]:
    one = st.sampled_from([ORIGINAL_ID, *version_ids])
    return st.builds(
        Trial,
        mode=st.sampled_from(("abx", "preference")),
        version_ids=st.tuples(one, one),
        planned=st.integers(0, 25),
        answers=st.lists(st.booleans(), max_size=25).map(tuple),
        probability=parts,
        when=st.datetimes().map(lambda when: f"{when.isoformat()}+00:00"),
        note=st.text(),
    )


@st.composite
def lanes(draw: st.DrawFn, number: int, name: str) -> Lane:
    return Lane(
        id=f"lane-{number}",
        name=name,
        source=Source(
            path=FOLDER / draw(st.sampled_from(("near.wav", "deep/er/far.flac", "a b é.aiff"))),
            channel=draw(st.integers(0, 31)),
            rate_hz=draw(st.sampled_from((44_100, 48_000, 96_000))),
            frames=draw(st.integers(0, 10**9)),
            size_bytes=draw(st.integers(0, 2**40)),
            subtype=draw(st.sampled_from(("PCM_16", "PCM_24", "FLOAT"))),
            time_reference=draw(stamps),
            fingerprint=draw(st.sampled_from(("", "1-0123456789abcdef0123456789abcdef"))),
        ),
        place_samples=draw(st.integers(0, 10**9)),
        solo=draw(st.booleans()),
        link=draw(st.none() | names),
        extra=draw(unknown),
    )


@st.composite
def sessions(draw: st.DrawFn) -> Session:
    """A session with one to five lanes; its recordings need not be there."""
    lane_names = draw(st.lists(names, min_size=1, max_size=5, unique_by=str.casefold))
    made = tuple(draw(lanes(number, name)) for number, name in enumerate(lane_names))
    ids = [lane.id for lane in made]
    versions = tuple(
        Version(
            id=f"v{number}",
            name=draw(names),
            moves=draw(st.dictionaries(st.sampled_from(ids), moves)),
            balances=draw(st.dictionaries(st.sampled_from(ids), balances)),
            note=draw(st.text()),
            origins=draw(st.dictionaries(st.sampled_from(ids), origins, max_size=2)),
            trying=draw(st.dictionaries(st.sampled_from(ids), befores, max_size=2)),
            extra=draw(unknown),
        )
        for number in range(1, draw(st.integers(2, 4)))
    )
    version_ids = [version.id for version in versions]
    start = draw(st.integers(-(10**6), 10**9))
    return Session(
        rate_hz=draw(st.sampled_from((44_100, 48_000))),
        lanes=made,
        name=draw(names),
        versions=versions,
        current_version_id=draw(st.sampled_from(version_ids)),
        anchor_id=draw(st.none() | st.sampled_from(ids)),
        alignment=draw(st.none() | alignments(ids)),
        temperature_c=draw(st.floats(-40, 50)),
        time_reference=draw(stamps),
        loop=draw(st.none() | st.integers(1, 10**6).map(lambda length: (start, start + length))),
        level_match=draw(st.booleans()),
        trials=draw(st.lists(trials(version_ids), max_size=2).map(tuple)),
        marks=draw(st.dictionaries(names, st.builds(Mark, st.integers(0, 5), st.booleans()), max_size=2)),
        rankings=draw(st.lists(rankings, max_size=2).map(tuple)),
        notes=draw(st.text()),
        extra=draw(unknown),
    )
