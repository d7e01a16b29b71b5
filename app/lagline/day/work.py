"""Work on many takes at once: what is asked, done to one take in a worker process, run over all of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from msgspec.structs import replace

from lagline.analysis.options import AnalysisOptions
from lagline.day.asking import (
    Accept,
    Asked,
    Decide,
    Deliver,
    Measure,
    Outcome,
    decided_version,
    session_of,
)
from lagline.day.facts import facts_of, picture_of
from lagline.day.pace import Pace
from lagline.day.values import DayTake, Delivered
from lagline.deliver.hand_over import ExtraFile
from lagline.errors import Cancelled, LaglineError, NotMeasured
from lagline.files import readable
from lagline.jobs.apply_setup import decided, options_for
from lagline.jobs.check import check_recordings
from lagline.jobs.hand_over import hand_over_take
from lagline.jobs.line_up import line_up
from lagline.jobs.many import stop_asked, worked
from lagline.jobs.write_report import report_file, report_page
from lagline.session import edits
from lagline.session.setup import Setup, applied, matched_lanes
from lagline.session.storage import save
from lagline.session.values import ORIGINAL, Session, Version


def work_on(
    asked: Sequence[Asked],
    *,
    workers: int,
    told: Callable[[Outcome], None],
    progress: Callable[[Pace], None],
    cancelled: Callable[[], bool],
    pace: Pace | None = None,
) -> None:
    """Do what is asked, several takes at a time, each in a worker process. Nothing stops the rest.

    `told` of each take when it is on the disk; `progress` before the first and after each. After `cancelled`
    what is under way is given up and untouched.
    """
    pace = pace or Pace(len(asked))
    progress(pace)
    for outcome in worked(done, asked, _died, workers=workers, cancelled=cancelled):
        pace.step()
        told(outcome)
        progress(pace)


def done(asked: Asked) -> Outcome:
    """Do what is asked of one take. Whatever goes wrong becomes the take's error. Raises Cancelled alone."""
    try:
        return _done(asked)
    except Cancelled:
        raise
    except (LaglineError, OSError) as error:
        return Outcome(replace(asked.take, error=readable(str(error))))
    except Exception as error:  # noqa: BLE001 - a fault of ours in one take must not cost the others
        sentence = f"something went wrong inside Lagline ({type(error).__name__}: {error})"
        return Outcome(replace(asked.take, error=readable(sentence)))


def _died(asked: Asked) -> Outcome:
    sentence = "working on it ended the worker process; its files are untouched"
    return Outcome(replace(asked.take, error=sentence))


def _done(asked: Asked) -> Outcome:
    session, known = (asked.session, None) if asked.session is not None else session_of(asked.take)
    take = replace(asked.take, error="")
    if isinstance(asked.what, Deliver):
        return Outcome(_delivered(take, session, asked.what, known))
    if isinstance(asked.what, Measure):
        session = _measured(session, asked.what)
        take = _looked_at(take, session)
    elif isinstance(asked.what, Accept):
        session = _accepted(session, asked.what.setup, asked.moved)
    else:
        session, own_timing = _with_decided(session, take, asked.what)
        take = replace(take, decided=asked.what.name, own_timing=own_timing)
    if not isinstance(asked.what, Decide):
        take = replace(take, picture=picture_of(session, cancelled=stop_asked))
    if asked.session is not None:
        return Outcome(
            replace(take, facts=facts_of(session, take.facts.stamp if take.facts else "")), session
        )
    take.session.parent.mkdir(parents=True, exist_ok=True)
    saved = save(session, take.session, known=known)
    return Outcome(replace(take, facts=facts_of(session, saved)))


def _measured(session: Session, what: Measure) -> Session:
    options = AnalysisOptions(search_ms=what.search_ms)
    if what.setup is not None:
        options = options_for(what.setup, matched_lanes(what.setup, session), search_ms=what.search_ms)
    return edits.with_alignment(session, line_up(session, options, cancelled=stop_asked))


def _looked_at(take: DayTake, session: Session) -> DayTake:
    paths = list(dict.fromkeys((*take.paths, *(lane.source.path for lane in session.lanes))))
    checks = check_recordings(paths, cancelled=stop_asked)
    return replace(
        take,
        is_checked=True,
        faults=tuple(readable(problem) for check in checks for problem in check.problems),
        notes=tuple(readable(note) for check in checks for note in check.notes),
    )


def _accepted(session: Session, setup: Setup | None, moved: frozenset[str]) -> Session:
    if session.alignment is None:
        raise NotMeasured(session.name)
    if setup is None:
        return edits.all_accepted(session)
    matches = matched_lanes(setup, session)
    new = [lane.id for lane in session.lanes if lane.name in moved]
    return decided(setup, session, session.alignment, matches, new)


def _own_timing(session: Session, take: DayTake) -> Version:
    """The version with the take's own timing: the one worked in, unless that was decided with another's."""
    current = session.current_version
    if current.name != take.decided:
        return current
    return next((version for version in session.versions if version.id == take.own_timing), current)


def _with_decided(session: Session, take: DayTake, what: Decide) -> tuple[Session, str]:
    """With a version of that name, which is made over where there is one already; and the id of the version
    that keeps the take's own timing where this one does not.
    """
    base = _own_timing(session, take)
    old = next((version for version in session.versions if version.name == what.name), None)
    if old is None:
        session = edits.with_new_version(session, what.name, copy_of=base.id)
        old = session.current_version
    session = edits.with_current_version(session, old.id)
    others = [version.id for version in session.versions if version.origins and version.id != old.id]
    kept = "" if what.timing == "own" else base.id
    if kept == old.id:  # made over: what is left of it is where the take was lined up first
        kept = others[0] if others else ""
    if what.timing == "recorded":
        fresh = replace(old, moves={}, origins={}, trying={}, balances=base.balances)
    else:
        fresh = replace(
            old, moves=base.moves, origins=base.origins, trying=base.trying, balances=base.balances
        )
    session = edits.with_version(session, replace(fresh, note=what.model.notes or fresh.note))
    matches = matched_lanes(what.model, session)
    if what.timing == "model":
        return applied(what.model, session, matches), kept
    balances = {lane_id: known.balance for lane_id, known in matches.items() if known.balance is not None}
    return edits.with_balances(session, balances), kept


def _delivered(take: DayTake, session: Session, what: Deliver, known: str | None) -> DayTake:
    version = session.version(decided_version(session, take))
    folder = what.place_of(take)
    extras: list[ExtraFile] = []
    if what.report:
        page = report_page(session.compared(version.id), version, cancelled=stop_asked)
        extras.append(report_file(session, version, page))
    hand_over_take(
        session, folder, version.id, what.options,
        level_matched=True, edit=what.edit, extras=extras, cancelled=stop_asked,
    )  # fmt: skip
    name = ORIGINAL.name if version.id == ORIGINAL.id else version.name
    stamp_now = known or (take.facts.stamp if take.facts else "")
    facts = facts_of(session, stamp_now)
    return replace(take, facts=facts, delivered=Delivered(folder, name, stamp_now))
