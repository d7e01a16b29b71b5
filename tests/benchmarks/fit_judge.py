"""Fit the judge of the analysis on takes whose truth is known, and say how it does on what was left out.

    python -m tests.benchmarks.fit_judge --work FOLDER [material:1-3 lab:1/rooms easy:1-8 demo real ...]
        [--jobs 1] [--write]

Each take is measured once and kept in FOLDER under a mark of the analysis' code; fitting itself takes a
minute. The table tells of each take as the judge says that was fitted without it (five folds); `real` is
told as well by a judge that heard no real take. `--write` fits on everything and writes judge.json.
Reporting seeds are refused, as everywhere.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import shutil
import tempfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import msgspec
import numpy as np
import scipy.optimize
from numpy.typing import NDArray
from tests.benchmarks.estimator import cases, scoring
from tests.benchmarks.estimator.boosting import Growth, boosted
from tests.benchmarks.estimator_report import ANALYSIS, mark_of

from lagline.analysis import trust
from lagline.analysis.align import measure_take
from lagline.analysis.options import AnalysisOptions
from lagline.analysis.pairs import breadth
from lagline.analysis.verdict import judge as judging
from lagline.analysis.verdict.features import JOINT, features, places
from lagline.analysis.verdict.ruling import NO_DOUBT, case_of, chosen, is_held, joint, settled
from lagline.analysis.verdict.witnesses import listen
from lagline.blend.clips import open_clips
from lagline.errors import LaglineError
from lagline.jobs.open_take import open_take

SETS = (
    "material:1-3",
    "material:4-8/unrelated",
    "lab:1-2",
    "own:1",
    "own:2-5/trouble",
    "easy:1-8",
    "easy:9-60/mains",
    "demo",
    "real",
)
FOLDS = 5
SEED = 1
KEPT = Path(judging.__file__).with_name("judge.json")
Floats = NDArray[np.float64]


@dataclass
class Lane:
    """One lane against the anchor: its places, which of them are right, and the odds that a judge gave them.

    has_joint, stands, holds, moves, breadth : as in `lagline.analysis.verdict.ruling`. is_sure : the judge
    is not asked.
    """

    take: str
    group: str
    match: bool
    names: list[str]
    values: Floats
    right: NDArray[np.bool_]
    has_joint: bool
    stands: bool
    holds: bool
    moves: bool
    is_sure: bool
    breadth: float
    odds: Floats = field(default_factory=lambda: np.zeros(0))

    def chosen(self, even: tuple[float, float]) -> tuple[int, float]:
        """The place that is answered, and its trust."""
        if self.is_sure:
            return 0, NO_DOUBT
        chances = self.breadth / (1 + np.exp(-(even[0] * self.odds + even[1])))
        return chosen(
            chances, has_joint=self.has_joint, stands=self.stands, holds=self.holds, moves=self.moves
        )


def lanes_of(job: tuple[str, ...], work: Path) -> list[Lane]:
    """Measure one take."""
    folder = Path(tempfile.mkdtemp(prefix="take-"))
    try:
        case = cases.make(job, work, folder)
        return list(_lanes(case, "/".join(job)))
    except LaglineError as error:
        print(f"{'/'.join(job)}: {error}")
        return []
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _lanes(case: cases.Case, take: str) -> Iterator[Lane]:
    opened = open_take([Path(lane["file"]) for lane in case["lanes"]]).session
    files = [lane.source.path.name for lane in opened.lanes]
    anchor = files.index(Path(case["lanes"][0]["file"]).name)
    options = AnalysisOptions(anchor=opened.lanes[anchor].id)
    clips = open_clips(opened)
    measured = measure_take(opened, clips, options, progress=lambda _: None, cancelled=lambda: False)
    if measured.lanes.silent[anchor]:
        return
    stretch = listen(measured.lanes, measured.cuts, measured.passage)
    for truth in case["lanes"][1:]:
        k = files.index(Path(truth["file"]).name)
        if truth["match"] is None or measured.lanes.silent[k]:
            continue
        one = joint(measured, anchor, k)
        agreed = settled(measured, anchor, one)
        heard = case_of(measured, stretch, anchor, one, agreed)
        found = places(heard)
        if not found:
            continue
        row = {**truth, "frames": case["frames"]}
        right = [bool(truth["match"]) and scoring.is_right(row, place.arrival) for place in found]
        has_joint = agreed is not None and found[0].kind == JOINT
        if agreed is not None and has_joint and agreed.is_moving:
            arrival = agreed.answer.arrival + agreed.course.at_start
            right[0] = bool(truth["match"]) and scoring.is_right(row, arrival, agreed.course.drift_ppm)
        names, values = features(heard, found)
        yield Lane(
            take=take,
            group=case["set"],
            match=bool(truth["match"]),
            names=names,
            values=values,
            right=np.array(right),
            has_joint=has_joint,
            stands=agreed is not None and agreed.verdict.trust >= trust.AGREED,
            holds=is_held(heard),
            moves=agreed is not None and agreed.is_moving,
            is_sure=agreed is not None and one.is_beyond_doubt and agreed.verdict.trust >= trust.SURE,
            breadth=1.0 if one.pair is None or one.pair.match is None else breadth(one.pair.match),
        )


def gathered(words: Sequence[str], work: Path, jobs: int) -> list[Lane]:
    """All lanes of the sets, each take measured once for this code."""
    listed = [job for word in words for job in cases.expand(*word.partition("/")[::2], False)]
    listed = [x for job in listed for x in (cases.lab_cases(work, *job[1:]) if job[0] == "lab" else [job])]
    kept = work / f"lanes-{mark_of([ANALYSIS], but=(KEPT.name,))}"
    kept.mkdir(parents=True, exist_ok=True)
    at = {job: kept / ("_".join(job).replace(" ", "-") + ".pickle") for job in listed}
    with ProcessPoolExecutor(jobs) as pool:
        todo = [job for job in listed if not at[job].is_file()]
        for job, lanes in zip(todo, pool.map(lanes_of, todo, [work] * len(todo)), strict=True):
            part = at[job].with_suffix(".part")
            part.write_bytes(pickle.dumps(lanes))
            part.replace(at[job])
    return [lane for job in listed for lane in pickle.loads(at[job].read_bytes())]


def fitted(lanes: Sequence[Lane], about: str = "", even: tuple[float, float] = (1.0, 0.0)) -> judging.Judge:
    values = np.concatenate([lane.values for lane in lanes])
    right = np.concatenate([lane.right for lane in lanes])
    trees = boosted(values, right, np.ones(len(right)), Growth(), SEED)
    return msgspec.convert(
        {"fitted_on": about, "names": lanes[0].names, "even": even, **trees}, type=judging.Judge
    )


def left_out(lanes: Sequence[Lane], fold: Callable[[Lane], int], told: Sequence[int]) -> None:
    """Give the lanes of some folds the odds of a judge that was fitted without them."""
    for number in told:
        judge = fitted([lane for lane in lanes if fold(lane) != number])
        for lane in lanes:
            if fold(lane) == number:
                lane.odds = judge.log_odds(lane.values)


def evened(lanes: Sequence[Lane]) -> tuple[float, float]:
    """Slope and offset that make the odds of the best places as sure as they were right (J. Platt,
    "Probabilistic outputs for support vector machines", 1999; from memory)."""
    odds = np.array([lane.odds.max() for lane in lanes])
    sign = np.array([1 if lane.right[int(np.argmax(lane.odds))] else -1 for lane in lanes])

    def loss(v: Floats) -> float:
        return float(np.logaddexp(0, -sign * (v[0] * odds + v[1])).sum() + 0.5 * (v[0] - 1) ** 2)

    found = scipy.optimize.minimize(loss, [1.0, 0.0], method="Nelder-Mead").x
    return round(float(found[0]), 4), round(float(found[1]), 4)


def table(lanes: Sequence[Lane], even: tuple[float, float]) -> str:
    rows = []
    for group in [*dict.fromkeys(lane.group for lane in lanes), ""]:
        mine = [lane for lane in lanes if group in ("", lane.group)]
        said = [(lane, *lane.chosen(even)) for lane in mine]
        right = [bool(lane.right[k]) and p >= trust.WEAK for lane, k, p in said if lane.match]
        none = [p < trust.WEAK for lane, _, p in said if not lane.match]
        line = f"{group or 'all':10} right {sum(right)} of {len(right)}, refused {sum(none)} of {len(none)}"
        for word in ("strong", "usable", "weak"):
            good = [bool(lane.right[k]) for lane, k, p in said if trust.word(p) == word]
            line += f", {word} {sum(good)} of {len(good)}"
        rows.append(line)
    return "\n".join(rows)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("sets", nargs="*", default=SETS)
    parser.add_argument("--work", type=Path, required=True, help="where measured takes are kept")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--write", action="store_true", help=f"write {KEPT.name}")
    a = parser.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    lanes = gathered(a.sets, a.work, a.jobs)
    takes = len({lane.take for lane in lanes})
    places_ = sum(len(lane.right) for lane in lanes)
    print(f"{takes} takes, {len(lanes)} lanes, {places_} places, {len(lanes[0].names)} features")
    left_out(lanes, lambda lane: zlib.crc32(lane.take.encode()) % FOLDS, range(FOLDS))
    even = evened(lanes)
    print("\neach take left out\n" + table(lanes, even))
    if a.write:
        about = f"{takes} takes, {len(lanes)} lanes: {' '.join(a.sets)}"
        KEPT.write_text(json.dumps(msgspec.to_builtins(fitted(lanes, about, even))) + "\n", "utf-8")
    if any(lane.group == "real" for lane in lanes):
        left_out(lanes, lambda lane: int(lane.group == "real"), [1])
        print("\nall real takes left out\n" + table([x for x in lanes if x.group == "real"], even))


if __name__ == "__main__":
    main()
