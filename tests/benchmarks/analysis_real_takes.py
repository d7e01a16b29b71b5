"""Real recordings: every row of the table from every anchor, halves, made-up shifts, refusals.

Run from the repository: python -m tests.benchmarks.analysis_real_takes [-v]
"""

from __future__ import annotations

import itertools
import sys
import time
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from tests.support.fake_clips import fake_take, shifted
from tests.support.real_truth import TABLE, Row, lanes_of, manifest_rows, with_manifest

from lagline.analysis import report
from lagline.analysis.align import measure_take
from lagline.analysis.options import AnalysisOptions
from lagline.session.findings import Alignment

Take = dict[str, NDArray[np.float64]]
VERBOSE = "-v" in sys.argv


def from_every_anchor(take: Take, rate_hz: int, anchors: Sequence[str] | None = None) -> dict[str, Alignment]:
    session, clips = fake_take(take, rate_hz)
    measured = measure_take(
        session, clips, AnalysisOptions(), progress=lambda _: None, cancelled=lambda: False
    )
    return {
        anchor: report.alignment(session, AnalysisOptions(anchor=anchor), measured)
        for anchor in (anchors or take)
    }


def verdict(row: Row, answer: Alignment, slack: float = 0.0) -> str:
    """'' when right, else what is wrong."""
    one, other = answer.finding(row.first), answer.finding(row.second)
    assert one is not None and other is not None
    if one.arrival_samples is None or other.arrival_samples is None:
        return "refused"
    value = other.arrival_samples - one.arrival_samples
    words = [f.trust_word for f in (one, other) if f.lane_id != answer.anchor_id]
    sure = "STRONG " if words and all(word == "strong" for word in words) else ""
    if not row.low - slack <= value <= row.high + slack:
        return f"{sure}{value:.1f} not in {row.low}..{row.high}"
    if row.polarity and (one.polarity or 0) * (other.polarity or 0) != row.polarity:
        return f"{sure}polarity"
    return ""


def check(
    name: str, take: Take, rate_hz: int, rows: Sequence[Row], slack: float = 0.0
) -> tuple[int, int, int, int]:
    """Rows wrong and rows tried, over all anchors; and with only the row's own lanes as anchors."""
    answers = from_every_anchor(take, rate_hz)
    if VERBOSE:
        show(answers[rows[0].first])
    wrong = tried = direct_wrong = direct = 0
    for row in rows:
        bad = {anchor: verdict(row, answer, slack) for anchor, answer in answers.items()}
        wrong += sum(bool(v) for v in bad.values())
        tried += len(bad)
        own = [v for anchor, v in bad.items() if anchor in (row.first, row.second)]
        direct_wrong += sum(bool(v) for v in own)
        direct += len(own)
        said = sorted({v for v in bad.values() if v})
        if said:
            count = sum(bool(v) for v in bad.values())
            print(
                f"  {name}: {row.first} > {row.second}: {count} of {len(bad)} anchors: {said[:4]}; own: {own}"
            )
    return wrong, tried, direct_wrong, direct


def show(answer: Alignment) -> None:
    for f in answer.findings:
        if f.arrival_samples is None or f.uncertainty_samples is None:
            print(f"    {f.lane_id:14} none {f.trust:.2f}")
            continue
        print(
            f"    {f.lane_id:14} {f.arrival_samples:9.2f} +- {f.uncertainty_samples:.2f} "
            f"{f.polarity:+d} ({f.polarity_trust:.2f}) {f.trust_word} {f.trust:.2f} "
            f"first {f.first_sound_samples} best {f.best_fit_samples} {f.windows.agreeing}/{f.windows.used}"
        )


def halves(take: Take) -> list[Take]:
    middle = min(len(x) for x in take.values()) // 2
    return [{k: x[:middle] for k, x in take.items()}, {k: x[middle:] for k, x in take.items()}]


def shifts(name: str, take: Take, rate_hz: int) -> tuple[int, int]:
    """Extra shifts and flips of one lane at a time, recovered against the untouched take."""
    anchor = TABLE[name][0].first
    others = [lane for lane in take if lane != anchor]
    before = from_every_anchor(take, rate_hz, [anchor])[anchor]
    rng = np.random.default_rng(5)
    wrong = tried = 0
    for lane in others:
        by = float(np.round(rng.uniform(-300, 300), 2 if rng.random() < 0.5 else 0))
        sign = -1 if rng.random() < 0.5 else 1
        moved = {k: sign * shifted(x, by) if k == lane else x for k, x in take.items()}
        after = from_every_anchor(moved, rate_hz, [anchor])[anchor]
        for other in others:
            one, two = before.finding(other), after.finding(other)
            assert one is not None and two is not None
            tried += 1
            extra, flip = (by, sign) if other == lane else (0.0, 1)
            if one.arrival_samples is None or two.arrival_samples is None:
                if one.arrival_samples is not two.arrival_samples:
                    wrong += 1
                    print(f"  {name}: {lane} by {by}: {other} {one.trust_word} -> {two.trust_word}")
                continue
            off = two.arrival_samples - one.arrival_samples - extra
            if abs(off) > 0.1 or two.polarity != (one.polarity or 0) * flip:
                wrong += 1
                print(
                    f"  {name}: {lane} by {by:+} x {sign}: {other} off by {off:.2f}, "
                    f"polarity {one.polarity} -> {two.polarity} ({one.trust_word}, {two.trust_word})"
                )
    return wrong, tried


def refusals() -> tuple[int, int]:
    """Lanes of takes without a common source, two by two."""
    takes = {name: lanes_of(name) for name in [*TABLE, *with_manifest()]}
    wrong = tried = 0
    for one, other in itertools.combinations(takes, 2):
        if {one, other} == {"snare", "groove"} or {one, other} == {"kick", "groove"}:
            continue  # the same strokes
        if "snare" in (one, other) and any(name.endswith("_snare_8mics") for name in (one, other)):
            continue
        (a, rate_a), (b, rate_b) = takes[one], takes[other]
        if rate_a != rate_b:
            continue
        for x, y in itertools.islice(itertools.product(a, b), 0, None, 3):
            session, clips = fake_take({f"{one}/{x}": a[x], f"{other}/{y}": b[y]}, rate_a)
            measured = measure_take(
                session, clips, AnalysisOptions(), progress=lambda _: None, cancelled=lambda: False
            )
            answer = report.alignment(session, AnalysisOptions(anchor=f"{one}/{x}"), measured)
            found = answer.finding(f"{other}/{y}")
            assert found is not None
            tried += 1
            if found.trust_word != "none":
                wrong += 1
                print(f"  {one}/{x} against {other}/{y}: {found.trust_word} {found.trust:.2f}")
    return wrong, tried


def main() -> None:
    began = time.perf_counter()
    wanted = [a for a in sys.argv[1:] if not a.startswith("-")] or [
        "table",
        "manifest",
        "halves",
        "shifts",
        "refusals",
    ]
    if "table" in wanted:
        for name, rows in TABLE.items():
            print(name, check(name, *lanes_of(name), rows))
    if "manifest" in wanted:
        for name in with_manifest():
            print(name, check(name, *lanes_of(name), manifest_rows(name)))
    if "halves" in wanted:
        for name, rows in TABLE.items():
            take, rate_hz = lanes_of(name)
            for part, half in enumerate(halves(take)):
                print(
                    name, "half", part + 1, check(f"{name} half {part + 1}", half, rate_hz, rows, slack=3.0)
                )
    if "shifts" in wanted:
        for name in TABLE:
            print(name, "shifts", shifts(name, *lanes_of(name)))
    if "refusals" in wanted:
        print("refusals", refusals())
    print(f"{time.perf_counter() - began:.1f} s")


if __name__ == "__main__":
    main()
