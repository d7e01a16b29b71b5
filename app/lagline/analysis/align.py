"""Measure a take: from lanes to one joint answer with its evidence."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping

import numpy as np
from msgspec.structs import replace

from lagline.analysis import drift, joint, mirrored, report
from lagline.analysis.measure import Courses, Lanes, all_pairs, attack_times, cut_all, measure_pairs
from lagline.analysis.measured import Measured
from lagline.analysis.options import FIRST, LATEST, AnalysisOptions
from lagline.analysis.pairs import PairAnswer
from lagline.analysis.plain import plain
from lagline.analysis.scan import Readable, scan
from lagline.analysis.starts import FINE_MS, far_starts
from lagline.analysis.windows import around, choose
from lagline.errors import Cancelled, NothingToHear, TooFewLanes
from lagline.session.findings import Alignment
from lagline.session.values import Session

DEFAULTS = AnalysisOptions()
NEAR_MS = 50.0
NEAR_S = 0.0002  # candidates within this mean the same place
CLOSE_MS = 14.0
MOST_WINDOWS = 480  # of a pair of lanes
SHARED_WINDOWS = 640  # which more lanes share
FEWEST_WINDOWS = 48
WIDE_WINDOWS = 96  # for the first look
# Scan; far starts; first cutting, drift, pairs; second cutting, drift, pairs; findings.
SHARES_OF_TIME = (0.25, 0.3, 0.42, 0.48, 0.6, 0.72, 0.78, 0.95, 1.0)


def align(
    session: Session,
    clips: Mapping[str, Readable],
    options: AnalysisOptions = DEFAULTS,
    *,
    progress: Callable[[float], None] = lambda _: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> Alignment:
    """Arrival, polarity and trust of every lane against the anchor.

    Parameters
    ----------
    session : the take; `lane.place_samples` is honoured: arrivals are on the session's timeline.
    clips : audio by lane id, at the session's rate.
    options : anchor, search range, passage.
    progress : called with 0..1, never backwards. cancelled : asked many times a second.

    Returns
    -------
    Alignment
        One finding a lane, in the session's order, the anchor's own with arrival 0.

    Raises
    ------
    TooFewLanes, NothingToHear, Cancelled, NotInSession
    """
    if len(session.lanes) < 2:
        raise TooFewLanes(lane.name for lane in session.lanes)
    if options.anchor not in (LATEST, FIRST):
        session.lane(options.anchor)
    measured = measure_take(session, clips, options, progress=progress, cancelled=cancelled)
    return plain(
        report.alignment(session, options, measured, progress=_Stages(progress).part(8), cancelled=cancelled)
    )


def measure_take(
    session: Session,
    clips: Mapping[str, Readable],
    options: AnalysisOptions,
    *,
    progress: Callable[[float], None],
    cancelled: Callable[[], bool],
) -> Measured:
    """Everything that does not depend on which lane is the anchor."""
    rate_hz = session.rate_hz
    stages = _Stages(progress)
    start, stop = _passage(session, options)
    readers = tuple(clips[lane.id] for lane in session.lanes)
    places = tuple(lane.place_samples for lane in session.lanes)
    levels = scan(
        list(readers), list(places), start, stop, rate_hz, progress=stages.part(0), cancelled=cancelled
    )
    silent = tuple(level.is_silent for level in levels)
    if all(silent):
        raise NothingToHear
    lanes = Lanes(clips=readers, places=places, silent=silent, rate_hz=rate_hz)
    reach = _reach(options, rate_hz)
    offsets = far_starts(
        lanes, levels, options.search_ms, reach, start, progress=stages.part(1), cancelled=cancelled
    )
    close = min(round(CLOSE_MS * rate_hz / 1000), reach)
    most = max(min(MOST_WINDOWS, SHARED_WINDOWS // len(readers)), FEWEST_WINDOWS)
    wanted = all_pairs(lanes)
    near = max(NEAR_S * rate_hz, 4.0)
    none = (0.0,) * len(readers)

    # A first, wide look: which lanes belong together, and where about.
    courses = Courses(tuple(float(v) for v in offsets), none, none, start)
    windows = choose(levels, offsets, rate_hz, most=min(most, WIDE_WINDOWS), cancelled=cancelled)
    stages.part(2)(0.0)
    cuts = cut_all(lanes, windows, courses, reach, progress=stages.part(2), cancelled=cancelled)
    in_drift = stages.part(3)
    drifting = drift.first_courses(
        lanes, cuts, progress=lambda done: in_drift(0.4 * done), cancelled=cancelled
    )
    if drifting is not None:
        courses = drifting
        cuts = cut_all(lanes, windows, courses, reach, progress=in_drift, cancelled=cancelled)
    is_alone = silent.count(False) <= 2
    wide = measure_pairs(
        lanes, cuts, wanted, offsets, is_alone=is_alone, progress=stages.part(4), cancelled=cancelled
    )

    # A second, close one: every lane cut where it lies.
    courses = _settled(courses, _solve(len(readers), wide, near))
    whole = [round(v) for v in courses.start]
    if cuts.attacks.count:
        windows = around(attack_times(cuts, courses), windows, levels, whole, most=most)
    else:
        windows = choose(levels, whole, rate_hz, most=most, cancelled=cancelled)
    del cuts  # the first look's spectra make room for the second's
    cuts = cut_all(lanes, windows, courses, close, progress=stages.part(5), cancelled=cancelled)
    if drifting is not None:
        courses = drift.closer_courses(lanes, cuts, cancelled=cancelled)
        cuts = cut_all(lanes, windows, courses, close, progress=stages.part(6), cancelled=cancelled)
    looks = [pair.match for pair in wide]
    pairs = measure_pairs(
        lanes,
        cuts,
        wanted,
        offsets,
        looks,
        is_alone=is_alone,
        progress=stages.part(7),
        cancelled=cancelled,
    )
    pairs = [_kept(narrow, before) for narrow, before in zip(pairs, wide, strict=True)]
    families = [mirrored.placed(f, pairs, rate_hz) for f in _solve(len(readers), pairs, near)]
    if cancelled():
        raise Cancelled
    return Measured(lanes=lanes, families=families, pairs=pairs, wide=wide, cuts=cuts, passage=(start, stop))


def _settled(courses: Courses, families: list[joint.JointAnswer]) -> Courses:
    """The courses moved to where the joint answers put the lanes, in whole samples."""
    start = list(courses.start)
    for family in families:
        # Arrivals of a family count from its first lane, which stays where it is.
        for lane, at in zip(family.lanes, family.arrival, strict=True):
            start[lane] = float(np.round(at + courses.start[family.lanes[0]]))
    return replace(courses, start=tuple(start))


def _kept(narrow: PairAnswer, wide: PairAnswer) -> PairAnswer:
    """The second look at a pair, with the kinship of the better of both and runners-up of the wide one."""
    if not narrow.candidates:
        return replace(wide, kinship=0.0)
    return narrow


def _solve(count: int, pairs: list[PairAnswer], near: float) -> list[joint.JointAnswer]:
    return [joint.solve(family, pairs, near) for family in joint.families(count, pairs)]


def _passage(session: Session, options: AnalysisOptions) -> tuple[int, int]:
    first, last = session.span()
    start = first if options.start is None else max(options.start, first)
    stop = last if options.stop is None else min(options.stop, last)
    return start, max(stop, start + 1)


def _reach(options: AnalysisOptions, rate_hz: int) -> int:
    wanted = NEAR_MS if options.search_ms is None else min(options.search_ms, FINE_MS)
    return max(round(wanted * rate_hz / 1000), 32)


class _Stages:
    """Progress of stages of different length as one number that never goes back; any thread may tell it."""

    def __init__(self, progress: Callable[[float], None]) -> None:
        self._progress = progress
        self._said = -1.0
        self._lock = threading.Lock()

    def part(self, number: int) -> Callable[[float], None]:
        low = 0.0 if number == 0 else SHARES_OF_TIME[number - 1]
        high = SHARES_OF_TIME[number]

        def say(done: float) -> None:
            value = low + (high - low) * min(max(done, 0.0), 1.0)
            with self._lock:
                if value > self._said:
                    self._said = value
                    self._progress(value)

        return say
