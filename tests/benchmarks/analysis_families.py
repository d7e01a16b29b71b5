"""Right and wrong on made-up takes of known truth, family by family, with textbook methods beside it.

Run from the repository:
    python -m tests.benchmarks.analysis_families [--count 24] [--families rooms,kits] [--tuning] [-v]

Two sets with reporting seeds by default; `--tuning` uses the seeds the estimator was tuned on. Prints a row a
family, the peers' shares, and the calibration of the trust (how near the delay bound is: analysis_bound.py).
Peers, all on whole files of the same lanes in the same run: scipy.signal.correlate, argmax of the magnitude;
the same with a parabola; the phase transform in one frame; obspy's correlate and xcorr_max.
"""

from __future__ import annotations

import argparse
import os
import warnings
from collections import Counter, defaultdict
from collections.abc import Callable
from multiprocessing import get_context

import numpy as np
import scipy.signal
from msgspec import Struct
from numpy.typing import NDArray
from tests.support.fake_clips import fake_take
from tests.support.scenarios import FAMILIES, RATE, REPORTING_SEEDS, TUNING_SEED, Truth, scenario

from lagline.analysis.align import align
from lagline.analysis.options import AnalysisOptions
from lagline.session.findings import Finding

Lane = NDArray[np.float64]
WITHIN = 1.0  # samples


class Outcome(Struct, frozen=True):
    """One lane of one take: what is true, what was said, and what the peers said (arrival, polarity)."""

    family: str
    name: str
    expects: bool
    error: float | None  # samples; None: no answer
    polarity_asked: int
    polarity: int | None
    is_listed: bool  # right, or right among the runners-up
    word: str
    trust: float
    drift_error: float | None
    curve_errors: tuple[float, ...]  # of each stretch of a moving source's take, samples
    peers: dict[str, tuple[float, int]]


def error_of(truth: Truth, arrival: float) -> float:
    """Distance from the nearest right answer."""
    if truth.path is not None:
        low, high = truth.path
        return min(max(arrival - high, 0.0) + min(arrival - low, 0.0), 1e9, key=abs)
    assert truth.arrivals is not None
    return min((arrival - value for value in truth.arrivals), key=abs)


def curve_errors(truth: Truth, found: Finding, rate_hz: int) -> tuple[float, ...]:
    """How far the arrival of each stretch of the take lies from where the source was in its middle."""
    evidence = found.evidence
    if truth.course is None or evidence is None:
        return ()
    at = np.clip(np.round(np.array(evidence.window_time_s) * rate_hz), 0, len(truth.course) - 1)
    return tuple(np.array(evidence.window_arrival_samples) - truth.course[at.astype(int)])


def run(job: tuple[str, int, int, bool]) -> list[Outcome]:
    family, number, seed, with_peers = job
    take = scenario(family, number, seed)
    session, clips = fake_take(take.lanes, take.rate_hz)
    answer = align(session, clips, AnalysisOptions(anchor=take.anchor))
    out = []
    for lane, truth in take.truth.items():
        found = answer.finding(lane)
        assert found is not None
        expects = truth.arrivals is not None
        error = None
        listed = not expects and found.arrival_samples is None
        if expects and found.arrival_samples is not None:
            error = error_of(truth, found.arrival_samples)
        elif found.arrival_samples is not None:
            error = 1e9
        if expects:
            offers = [r.arrival_samples for r in found.runners_up]
            listed = any(abs(error_of(truth, o)) <= WITHIN for o in offers) or (
                error is not None and abs(error) <= WITHIN
            )
        peers = {}
        if with_peers:
            for name, peer in PEERS.items():
                lag, sign = peer(take.lanes[take.anchor], take.lanes[lane])
                peers[name] = (error_of(truth, lag) if expects else 1e9, sign)
        out.append(
            Outcome(
                family=family,
                name=f"{take.name} {lane}",
                expects=expects,
                error=error,
                polarity_asked=truth.polarity,
                polarity=found.polarity,
                is_listed=listed,
                word=found.trust_word,
                trust=found.trust,
                drift_error=None if truth.drift_ppm is None else found.drift_ppm - truth.drift_ppm,
                curve_errors=curve_errors(truth, found, take.rate_hz),
                peers=peers,
            )
        )
    return out


def _spot(curve: Lane, zero: int, *, parabola: bool = False) -> tuple[float, int]:
    at = int(np.argmax(np.abs(curve)))
    shift = 0.0
    if parabola and 0 < at < len(curve) - 1:
        low, mid, high = np.abs(curve[at - 1 : at + 2])
        bend = low - 2 * mid + high
        shift = 0.0 if bend == 0 else 0.5 * (low - high) / bend
    return at + shift - zero, 1 if curve[at] >= 0 else -1


def plain_peer(a: Lane, b: Lane) -> tuple[float, int]:
    return _spot(scipy.signal.correlate(b, a, mode="full", method="fft"), len(a) - 1)


def parabola_peer(a: Lane, b: Lane) -> tuple[float, int]:
    return _spot(scipy.signal.correlate(b, a, mode="full", method="fft"), len(a) - 1, parabola=True)


def phase_peer(a: Lane, b: Lane) -> tuple[float, int]:
    size = 1 << (len(a) + len(b)).bit_length()
    cross = np.conj(np.fft.rfft(a, size)) * np.fft.rfft(b, size)
    curve = np.fft.irfft(cross / np.maximum(np.abs(cross), 1e-15), size)
    return _spot(np.roll(curve, size // 2), size // 2, parabola=True)


def obspy_peer(a: Lane, b: Lane) -> tuple[float, int]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from obspy.signal.cross_correlation import correlate, xcorr_max
    count = max(len(a), len(b))
    one, two = (np.pad(x, (0, count - len(x))) for x in (a, b))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of silence, which has no correlation
        lag, value = xcorr_max(correlate(two, one, count - 1))
    return float(lag), 1 if value >= 0 else -1


PEERS: dict[str, Callable[[Lane, Lane], tuple[float, int]]] = {
    "whole-file correlation": plain_peer,
    "with a parabola": parabola_peer,
    "phase transform": phase_peer,
    "obspy": obspy_peer,
}


def is_right(outcome: Outcome) -> bool:
    if not outcome.expects:
        return outcome.error is None
    return outcome.error is not None and abs(outcome.error) <= WITHIN


def show(outcomes: list[Outcome], verbose: bool) -> None:
    by_family: dict[str, list[Outcome]] = defaultdict(list)
    for outcome in outcomes:
        by_family[outcome.family].append(outcome)
    print(
        "| family | lanes | right | right or listed | rms of right | polarity "
        "| strong, right of them | words |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for family, rows in by_family.items():
        right = [o for o in rows if is_right(o)]
        errors = [o.error for o in right if o.error is not None]
        asked = [o for o in right if o.polarity_asked]
        polar = [o for o in asked if o.polarity == (None if o.polarity_asked == 2 else o.polarity_asked)]
        strong = [o for o in rows if o.word == "strong"]
        rms = f"{np.sqrt(np.mean(np.square(errors))):.3f}" if errors else ""
        words = Counter(o.word for o in rows)
        print(
            f"| {family} | {len(rows)} | {100 * len(right) / len(rows):.1f} % "
            f"| {100 * sum(o.is_listed for o in rows) / len(rows):.1f} % | {rms} "
            f"| {len(polar)} of {len(asked)} | {sum(map(is_right, strong))} of {len(strong)} "
            f"| {', '.join(f'{n} {w}' for w, n in words.most_common())} |"
        )
        drifts = [abs(o.drift_error) for o in right if o.drift_error is not None]
        if drifts:
            print(f"\ndrift error: median {np.median(drifts):.3f} ppm, worst {np.max(drifts):.3f} ppm\n")
        curve = 1e3 / RATE * np.abs([e for o in right for e in o.curve_errors])
        if len(curve):
            print(
                f"\ncurve of movement, {len(curve)} stretches: median {np.median(curve):.4f} ms, "
                f"within 0.1 ms {100 * np.mean(curve <= 0.1):.1f} %, worst {curve.max():.3f} ms\n"
            )
        if verbose:
            for o in rows:
                if not is_right(o):
                    print(f"    {o.name}: off by {o.error}, {o.word} {o.trust:.2f}, listed {o.is_listed}")
    wrong = sum(o.error is not None and not is_right(o) for o in outcomes)
    print(f"\nwrong answers: {wrong} of {len(outcomes)}; refused though there is an answer: ", end="")
    print(sum(o.expects and o.error is None for o in outcomes))
    if any(o.peers for o in outcomes):
        print(f"\n| right, of each family | ours | {' | '.join(PEERS)} |\n|---|---|{'---|' * len(PEERS)}")
        for family, rows in by_family.items():
            shares = [sum(map(is_right, rows)) / len(rows)]
            shares += [sum(abs(o.peers[name][0]) <= WITHIN for o in rows) / len(rows) for name in PEERS]
            print(f"| {family} | {' | '.join(f'{100 * share:.1f} %' for share in shares)} |")
        bad = [sum(abs(o.peers[name][0]) > WITHIN for o in outcomes) for name in PEERS]
        print(f"| wrong answers in all | {wrong} | {' | '.join(map(str, bad))} |")
    print("\n| trust | lanes | right |\n|---|---|---|")
    answered = [o for o in outcomes if o.error is not None]
    for low, high in ((0.3, 0.45), (0.45, 0.6), (0.6, 0.75), (0.75, 0.9), (0.9, 0.97), (0.97, 1.01)):
        inside = [o for o in answered if low <= o.trust < high]
        if inside:
            share = 100 * sum(map(is_right, inside)) / len(inside)
            print(f"| {low:.2f} to {min(high, 1):.2f} | {len(inside)} | {share:.1f} % |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--families", default=",".join(FAMILIES))
    parser.add_argument("--tuning", action="store_true")
    parser.add_argument("--no-peers", action="store_true")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("-v", "--verbose", action="store_true")
    options = parser.parse_args()
    seeds = (TUNING_SEED,) if options.tuning else REPORTING_SEEDS
    jobs = [
        (family, number, seed, not options.no_peers)
        for family in options.families.split(",")
        for seed in seeds
        for number in range(options.count)
    ]
    with get_context("spawn").Pool(options.processes) as pool:
        outcomes = [outcome for part in pool.imap(run, jobs) for outcome in part]
    show(outcomes, options.verbose)


if __name__ == "__main__":
    main()
