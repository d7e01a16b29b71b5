"""Fit the judge of the analysis on takes whose truth is known, and say how it does on what was left out.

    python -m tests.benchmarks.fit_judge --work FOLDER [material:1-3 lab:1/rooms easy:1-8 demo real ...]
        [--jobs 1] [--write]

Each take is measured once and kept in FOLDER under a mark of the analysis' code; fitting itself takes a
minute. The tables tell of each take as the judge says that was fitted without it (five folds), without any
take of its family, and without any take of its maker. Odds are evened on the first two together: a take of
tomorrow is of a known kind or of another. `--ablate` tells what each witness is worth. `--write` fits on
everything and writes judge.json.
Reporting seeds are refused, as everywhere.
"""

from __future__ import annotations

import argparse
import itertools
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
from typing import Any

import msgspec
import numpy as np
import scipy.optimize
from msgspec.structs import replace
from numpy.typing import NDArray
from tests.benchmarks.estimator import cases, scoring
from tests.benchmarks.estimator.boosting import Growth, boosted
from tests.benchmarks.estimator_report import ANALYSIS, mark_of

from lagline.analysis import trust
from lagline.analysis.align import measure_take
from lagline.analysis.joint import JointAnswer
from lagline.analysis.options import AnalysisOptions
from lagline.analysis.pairs import PairAnswer, breadth
from lagline.analysis.verdict import judge as judging
from lagline.analysis.verdict.features import JOINT, Case, features, places
from lagline.analysis.verdict.judge import NO_DOUBT, chosen, is_held
from lagline.analysis.verdict.lane_case import case_of, joint, settled
from lagline.analysis.verdict.witnesses import Curve, FirstSounds, listen
from lagline.blend.clips import open_clips
from lagline.errors import LaglineError
from lagline.jobs.open_take import open_take

SETS = (
    "material:1-6",
    "material:7-12/kit,ensemble,far,single,extended,throat,voice0",
    "material:7-8/unrelated",
    "lab:1-3",
    "own:1",
    "own:2-5/trouble",
    "easy:1-8",
    "easy:9-60/mains",
    "demo",
    "real",
    "strangers:1-80",
)
FOLDS = 5
# What makers call by other names.
FAMILIES = {"session": "kit", "kits": "kit", "strangers": "unrelated", "nothing": "unrelated"}
SEED = 1
KEPT = Path(judging.__file__).with_name("judge.json")
# What is heard hangs on none of these.
NOT_HEARD = (KEPT.name, "judge.py", "ruling.py", "features.py", "by_source.py", "report.py", "sentences.py")
NOBODY = JointAnswer((), np.zeros(0), np.zeros(0), (), {}, {}, {})
Floats = NDArray[np.float64]


@dataclass
class Lane:
    """One lane against the anchor: its places, which of them are right, and the odds that a judge gave them.

    has_joint, stands, holds, moves, breadth : as in `lagline.analysis.verdict.ruling`. is_sure : the judge
    is not asked.
    """

    take: str
    group: str
    family: str
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


class Heard(msgspec.Struct):
    """What was measured of one lane, before it is judged: kept, so that a refit measures nothing.

    truth : as in cases.py. moving : arrival at the start and drift of a joint answer that moves.
    """

    take: str
    group: str
    family: str
    truth: dict[str, Any]
    case: Case
    moving: tuple[float, float] | None
    is_sure: bool

    def lane(self, silenced: Callable[[Case], Case] = lambda case: case) -> Lane | None:
        """Its places as the judge is asked about them, some witness silenced; None where there is none."""
        case = silenced(self.case)
        found = places(case)
        if not found:
            return None
        match = bool(self.truth["match"])
        right = [match and scoring.is_right(self.truth, place.arrival) for place in found]
        has_joint = found[0].kind == JOINT
        if has_joint and self.moving is not None:
            right[0] = match and scoring.is_right(self.truth, *self.moving)
        names, values = features(case, found)
        pair = self.case.pair
        return Lane(
            take=self.take,
            group=self.group,
            family=self.family,
            match=match,
            names=names,
            values=values,
            right=np.array(right),
            has_joint=has_joint,
            stands=has_joint and case.trust >= trust.AGREED,
            holds=is_held(case),
            moves=has_joint and self.moving is not None,
            is_sure=has_joint and self.is_sure,
            breadth=1.0 if pair is None or pair.match is None else breadth(pair.match),
        )


def heard_in(job: tuple[str, ...], work: Path) -> list[Heard]:
    """Measure one take."""
    folder = Path(tempfile.mkdtemp(prefix="take-"))
    try:
        case = cases.make(job, work, folder)
        return list(_heard(case, "/".join(job)))
    except LaglineError as error:
        print(f"{'/'.join(job)}: {error}")
        return []
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _heard(case: cases.Case, take: str) -> Iterator[Heard]:
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
        moving = None
        if agreed is not None and agreed.is_moving:
            moving = (agreed.answer.arrival + agreed.course.at_start, agreed.course.drift_ppm)
        yield Heard(
            take=take,
            group=case["set"],
            family=case["family"],
            truth={**truth, "frames": case["frames"]},
            case=slim(case_of(measured, stretch, anchor, one, agreed)),
            moving=moving,
            is_sure=agreed is not None and one.is_beyond_doubt and agreed.verdict.trust >= trust.SURE,
        )


def slim(case: Case) -> Case:
    """Without the arrays that no feature reads."""
    none = np.zeros(0)

    def thin(pair: PairAnswer | None) -> PairAnswer | None:
        if pair is None or pair.match is None:
            return pair
        bare = replace(pair.match, curve=none, weight=none, each=none, coherence=none, phase=none)
        return replace(pair, match=bare)

    answer = None if case.answer is None else replace(case.answer, family=NOBODY, pair=None)
    return replace(case, answer=answer, pair=thin(case.pair), wide=thin(case.wide))


def gathered(words: Sequence[str], work: Path, jobs: int) -> list[Heard]:
    """All lanes of the sets, each take measured once for this code."""
    listed = [job for word in words for job in cases.expand(*word.partition("/")[::2], False)]
    listed = [x for job in listed for x in (cases.lab_cases(work, *job[1:]) if job[0] == "lab" else [job])]
    kept = work / f"heard-{mark_of([ANALYSIS], but=NOT_HEARD)}"
    kept.mkdir(parents=True, exist_ok=True)
    at = {job: kept / ("_".join(job).replace(" ", "-") + ".pickle") for job in listed}
    with ProcessPoolExecutor(jobs) as pool:
        todo = [job for job in listed if not at[job].is_file()]
        for job, heard in zip(todo, pool.map(heard_in, todo, [work] * len(todo)), strict=True):
            part = at[job].with_suffix(".part")
            part.write_bytes(pickle.dumps(heard))
            part.replace(at[job])
    return [heard for job in listed for heard in pickle.loads(at[job].read_bytes())]


def lanes_of(heard: Sequence[Heard], silenced: Callable[[Case], Case] = lambda case: case) -> list[Lane]:
    return [lane for one in heard if (lane := one.lane(silenced)) is not None]


def _without(**parts: Any) -> Callable[[Case], Case]:
    return lambda case: replace(case, account=replace(case.account, **parts))


NO_CURVE = Curve(np.zeros(3, np.float32), 1, (), 0.0)
SILENCED: dict[str, Callable[[Case], Case]] = {
    "none": lambda case: case,
    "all lanes together": lambda case: replace(case, answer=None, trust=0.0, agreeing=0, used=0),
    "the pair": lambda case: replace(case, pair=None),
    "the first look": lambda case: replace(case, wide=None),
    "whole": _without(whole=NO_CURVE),
    "windowed": _without(windowed=NO_CURVE),
    "apart": _without(apart=NO_CURVE, owned=0.0, anchor_owned=0.0),
    "first sounds": _without(first=FirstSounds(np.nan, np.nan, 0, np.nan, np.nan)),
    "own strokes": _without(sources=()),
}


def ablation(heard: Sequence[Heard]) -> str:
    """How takes left out come off with each witness silenced, in fitting too."""
    out = []
    for name, silenced in SILENCED.items():
        lanes = lanes_of(heard, silenced)
        odds = left_out(lanes, by_take)
        for lane, mine in zip(lanes, odds, strict=True):
            lane.odds = mine
        last = table(lanes, evened(odds, lanes), by=lambda _: "").splitlines()
        out.append(f"{name:18} {last[-2].removeprefix('all').strip()}")
    return "\n".join(out)


def by_take(lane: Lane) -> int:
    return zlib.crc32(lane.take.encode()) % FOLDS


def fitted(lanes: Sequence[Lane], about: str = "", even: tuple[float, float] = (1.0, 0.0)) -> judging.Judge:
    values = np.concatenate([lane.values for lane in lanes])
    right = np.concatenate([lane.right for lane in lanes])
    trees = boosted(values, right, np.ones(len(right)), Growth(), SEED)
    return msgspec.convert(
        {"fitted_on": about, "names": lanes[0].names, "even": even, **trees}, type=judging.Judge
    )


def left_out(lanes: Sequence[Lane], part: Callable[[Lane], Any]) -> list[Floats]:
    """The odds of each lane's places, of a judge that was fitted without the lane's part of them all."""
    odds = [np.zeros(0)] * len(lanes)
    for name in dict.fromkeys(part(lane) for lane in lanes):
        judge = fitted([lane for lane in lanes if part(lane) != name])
        for k, lane in enumerate(lanes):
            if part(lane) == name:
                odds[k] = judge.log_odds(lane.values)
    return odds


def evened(odds: Sequence[Floats], lanes: Sequence[Lane]) -> tuple[float, float]:
    """Slope and offset that make the odds of the best places as sure as they were right (J. Platt,
    "Probabilistic outputs for support vector machines", 1999; from memory).

    Parameters
    ----------
    odds : of every lane's places; several of a lane, as judges fitted on different takes gave them, follow
        each other in rounds of all lanes.
    """
    every = list(zip(odds, itertools.cycle(lanes)))
    best = np.array([said.max() for said, _ in every])
    sign = np.array([1 if lane.right[int(np.argmax(said))] else -1 for said, lane in every])

    def loss(v: Floats) -> float:
        return float(np.logaddexp(0, -sign * (v[0] * best + v[1])).sum() + 0.5 * (v[0] - 1) ** 2)

    found = scipy.optimize.minimize(loss, [1.0, 0.0], method="Nelder-Mead").x
    return round(float(found[0]), 4), round(float(found[1]), 4)


def calibration_error(lanes: Sequence[Lane], even: tuple[float, float]) -> float:
    """Mean gap of trust and share right over tenths of trust, weighted by lanes (as in scoring.py)."""
    said = [lane.chosen(even) for lane in lanes]
    trusted = np.array([p for _, p in said])
    right = np.array([lane.right[k] for lane, (k, _) in zip(lanes, said, strict=True)], float)
    tenth = np.minimum((10 * trusted).astype(int), 9)
    asked = trusted >= trust.WEAK
    gaps = [
        np.sum(asked & (tenth == n)) * abs((trusted - right)[asked & (tenth == n)].mean())
        for n in set(tenth[asked])
    ]
    return float(sum(gaps) / max(asked.sum(), 1))


def table(lanes: Sequence[Lane], even: tuple[float, float], by: Callable[[Lane], str]) -> str:
    rows = []
    for group in [*dict.fromkeys(by(lane) for lane in lanes), ""]:
        mine = [lane for lane in lanes if group in ("", by(lane))]
        said = [(lane, *lane.chosen(even)) for lane in mine]
        right = [bool(lane.right[k]) and p >= trust.WEAK for lane, k, p in said if lane.match]
        none = [p < trust.WEAK for lane, _, p in said if not lane.match]
        line = f"{group or 'all':18} right {sum(right)} of {len(right)}, refused {sum(none)} of {len(none)}"
        for word in ("strong", "usable", "weak"):
            good = [bool(lane.right[k]) for lane, k, p in said if trust.word(p) == word]
            line += f", {word} {sum(good)} of {len(good)}"
        rows.append(line)
    return "\n".join(rows) + f"\ncalibration error {calibration_error(lanes, even):.3f}"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("sets", nargs="*", default=SETS)
    parser.add_argument("--work", type=Path, required=True, help="where measured takes are kept")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--ablate", action="store_true", help="silence one witness after the other instead")
    parser.add_argument("--write", action="store_true", help=f"write {KEPT.name}")
    a = parser.parse_args()
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    heard = gathered(a.sets, a.work, a.jobs)
    if a.ablate:
        print(ablation(heard))
        return
    lanes = lanes_of(heard)
    takes = len({lane.take for lane in lanes})
    places_ = sum(len(lane.right) for lane in lanes)
    print(f"{takes} takes, {len(lanes)} lanes, {places_} places, {len(lanes[0].names)} features")
    ways: dict[str, Callable[[Lane], Any]] = {
        "each take left out": by_take,
        "each family left out": lambda lane: (
            "real" if lane.group == "real" else FAMILIES.get(lane.family, lane.family)
        ),
        "each maker left out": lambda lane: lane.group,
    }
    odds = {words: left_out(lanes, way) for words, way in ways.items()}
    even = evened([*odds["each take left out"], *odds["each family left out"]], lanes)
    for words, said in odds.items():
        for lane, mine in zip(lanes, said, strict=True):
            lane.odds = mine
        print(f"\n{words}\n" + table(lanes, even, by=ways[words] if "family" in words else lambda x: x.group))
    if a.write:
        about = f"{takes} takes, {len(lanes)} lanes: {' '.join(a.sets)}"
        KEPT.write_text(json.dumps(msgspec.to_builtins(fitted(lanes, about, even))) + "\n", "utf-8")


if __name__ == "__main__":
    main()
