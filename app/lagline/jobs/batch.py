"""Line up many takes, in parallel processes, one bad take never stopping the rest."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path

import msgspec
from msgspec import Struct
from msgspec.structs import replace

from lagline.analysis.options import AnalysisOptions
from lagline.deliver.options import DeliveryOptions
from lagline.errors import LaglineError
from lagline.jobs.apply_setup import LaneComparison, compared
from lagline.jobs.check import check_recordings
from lagline.jobs.cluster import worked_on_cluster
from lagline.jobs.find_takes import FoundTake, opened
from lagline.jobs.hand_over import hand_over_take
from lagline.jobs.journal import Journal, LaneResult, TakeResult, read_journal
from lagline.jobs.line_up import line_up, never
from lagline.jobs.many import worked
from lagline.session import edits
from lagline.session.findings import Alignment
from lagline.session.setup import Setup, applied, matched_lanes
from lagline.session.storage import SUFFIX, save, stamp_of
from lagline.session.values import Session
from lagline.units import DEFAULT_TEMPERATURE_C

DELIVERY_FOLDER = "delivery"  # in the folder of a take's session


class BatchOptions(Struct, frozen=True):
    """The same for every take."""

    takes_from: str = ""  # which takes, in words
    anchor: str = "latest"  # "latest", "first" or a lane's name
    search_ms: float | None = None
    rate_hz: int | None = None
    temperature_c: float = DEFAULT_TEMPERATURE_C
    rounding: edits.Rounding = "none"
    setup: Setup | None = None  # its shifts are kept, and each take is compared with it
    delivers: bool = False  # each take's aligned files, blends and sheet, beside its session

    def said(self) -> str:
        """What was asked for, in words, to tell whether a batch that was begun can be gone on with."""
        anchors = {"latest": "the lane that hears the source last", "first": "the first lane"}
        roundings = {
            "none": "",
            "all": "shifts in whole samples",
            "within": "whole samples where they may be",
        }
        said = [
            self.takes_from or "takes",
            f"lined up on {anchors.get(self.anchor, self.anchor)}",
            "" if self.search_ms is None else f"searched within {self.search_ms:g} ms",
            "" if self.rate_hz is None else f"at {self.rate_hz} Hz",
            f"air at {self.temperature_c:g} degrees C",
            roundings[self.rounding],
            "" if self.setup is None else f"kept to the setup {self.setup.name} ({_known_by(self.setup)})",
            "delivered" if self.delivers else "",
        ]
        return "; ".join(part for part in said if part)


def _known_by(setup: Setup) -> str:
    """A few letters that another setup of the same name does not share."""
    return stamp_of(msgspec.json.encode(setup))[:8]


Work = Callable[..., TakeResult]  # called as `one_take`


def one_take(take: FoundTake, results: Path, options: BatchOptions) -> TakeResult:
    """Measure one take and save its session as `results/TAKE/NAME.lagline`.

    Whatever goes wrong becomes a failed result with a sentence: one bad take never stops the rest.
    """
    try:
        return _measured(take, results, options)
    except (LaglineError, OSError) as error:
        return TakeResult(take.name, "failed", error=str(error))
    except Exception as error:  # noqa: BLE001 - a fault of ours in one take must not cost the others
        sentence = f"something went wrong inside Lagline ({type(error).__name__}: {error})"
        return TakeResult(take.name, "failed", error=sentence)


def run_batch(
    takes: Iterable[FoundTake],
    results: Path,
    options: BatchOptions,
    *,
    workers: int,
    cluster: str = "",
    progress: Callable[[float], None],
    finished: Callable[[TakeResult], None] = lambda _: None,
    cancelled: Callable[[], bool] = never,
    work: Work = one_take,
) -> tuple[TakeResult, ...]:
    """Measure every take, save a session for each into `results`, and note it in the journal there.

    Takes that the journal names as done are not done again; those that failed are tried once more, since
    their files may have been mended. What comes back, sorted by take, does not depend on the number of
    workers or on interruptions. `finished` is told of each take when it is on the disk.

    cluster : the address of a scheduler whose workers do it instead of processes here (`worked_on_cluster`);
    they find the takes and `results` under the same paths.

    Raises
    ------
    JournalMismatch
        `results` holds a batch asked for something else.
    CannotWrite
        The journal can't be kept; nothing is worth doing then.
    ClusterUnusable
    """
    before = read_journal(results, options.said())
    done = {result.take: result for result in before if result.state == "done"}
    todo = [_anywhere(take) for take in takes if take.name not in done]
    total = len(done) + len(todo)
    journal = Journal(results, options.said())
    try:
        one = partial(work, results=results.absolute(), options=options)
        made = (
            worked_on_cluster(one, todo, _died, address=cluster, cancelled=cancelled)
            if cluster
            else worked(one, todo, _died, workers=workers, cancelled=cancelled)
        )
        for result in made:
            journal.add(result)
            done[result.take] = result
            finished(result)
            progress(len(done) / total)
    finally:
        journal.close()
    return tuple(sorted(done.values(), key=lambda result: result.take))


def _anywhere(take: FoundTake) -> FoundTake:
    """Whatever folder a worker was started in."""
    return replace(take, paths=tuple(path.absolute() for path in take.paths))


def _measured(take: FoundTake, results: Path, options: BatchOptions) -> TakeResult:
    found = opened(take, rate_hz=options.rate_hz, temperature_c=options.temperature_c)
    session = found.to_line_up()
    anchor = options.anchor
    if anchor not in ("latest", "first"):
        anchor = session.lane_named(anchor).id
    alignment = line_up(session, AnalysisOptions(anchor=anchor, search_ms=options.search_ms))
    session = edits.with_alignment(session, alignment)
    comparisons: tuple[LaneComparison, ...] = ()
    if options.setup is None:
        session = edits.all_accepted(session, rounding=options.rounding)
    else:
        matches = matched_lanes(options.setup, session)
        comparisons = compared(session, alignment, matches, options.setup.rate_hz)
        session = applied(options.setup, session, matches)
    folder = results / take.name
    folder.mkdir(parents=True, exist_ok=True)
    warnings = [*alignment.warnings]
    if options.delivers:
        # What an interrupted batch wrote of this take is its own: it is written again.
        writes = DeliveryOptions(whole_samples=options.rounding == "all", overwrite=True)
        warnings += hand_over_take(
            session, folder / DELIVERY_FOLDER, session.current_version_id, writes
        ).warnings
    checks = check_recordings(list(dict.fromkeys(lane.source.path for lane in session.lanes)))
    faults = [*found.problems, *(problem for check in checks for problem in check.problems)]
    warnings += [note for check in checks for note in check.notes]
    # Last: a take that failed before is tried again, and must not find a session that a person worked on.
    save(session, folder / f"{Path(take.name).name or session.name}{SUFFIX}")
    return _done(take, session, alignment, comparisons, warnings, faults)


def _done(
    take: FoundTake,
    session: Session,
    alignment: Alignment,
    comparisons: tuple[LaneComparison, ...],
    warnings: Iterable[str],
    faults: Iterable[str],
) -> TakeResult:
    against = {comparison.lane_id: comparison for comparison in comparisons}
    lanes = []
    for lane in session.lanes:
        finding = alignment.finding(lane.id)
        if finding is None:
            continue
        comparison = against.get(lane.id)
        lanes.append(
            LaneResult(
                name=lane.name,
                trust_word=finding.trust_word,
                arrival_samples=finding.arrival_samples,
                polarity=finding.polarity,
                shift_samples=session.current_version.move(lane.id).shift_samples,
                against_setup=comparison.word if comparison else "",
                difference_samples=comparison.difference_samples if comparison else None,
            )
        )
    return TakeResult(
        take.name,
        "done",
        rate_hz=session.rate_hz,
        anchor=session.lane(alignment.anchor_id).name,
        lanes=tuple(lanes),
        warnings=tuple(warnings),
        faults=tuple(faults),
    )


def _died(take: FoundTake) -> TakeResult:
    sentence = "measuring it ended the worker process; the take was left out, its files are untouched"
    return TakeResult(take.name, "failed", error=sentence)
