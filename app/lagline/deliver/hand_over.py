"""A whole delivery: aligned files, blends, delay sheet, further files and a manifest, all of them or none."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from msgspec import Struct

from lagline.blend.loudness_match import matched_gains
from lagline.blend.mix import ClipLike
from lagline.deliver.blends import stage_blend
from lagline.deliver.delivered import Cancelled, DeliveredFile, Delivery, Kind, Progress
from lagline.deliver.edit import (
    BUNDLE_SUFFIX,
    EDIT_SUFFIXES,
    bundled_urls,
    edit_table,
    edit_timeline,
    edited_lanes,
    urls_from,
    write_bundle,
)
from lagline.deliver.headroom import blend_peak_dbtp, headroom_db, headroom_note
from lagline.deliver.layout import file_lanes
from lagline.deliver.manifest import stage_bytes, stage_file, stage_lists
from lagline.deliver.names import file_stem, unique
from lagline.deliver.options import DEFAULTS, DeliveryOptions
from lagline.deliver.placement import Placement, as_written, placement
from lagline.deliver.read_documents import read_back
from lagline.deliver.sheet import delay_sheet
from lagline.deliver.sheet_text import sheet_csv, sheet_figure, sheet_html, sheet_text
from lagline.deliver.staging import Staging, staged
from lagline.deliver.stems import lane_file_names, session_sources, stage_stems
from lagline.deliver.timeline import SUFFIX as TIMELINE_SUFFIX
from lagline.deliver.timeline import timeline
from lagline.errors import Cancelled as CancelledError
from lagline.media.write import SUFFIXES, keep_off
from lagline.session.values import Session, Version

_SHEET_FORMS = {".csv": sheet_csv, ".txt": sheet_text, ".html": sheet_html}


class Order(Struct, frozen=True):
    """What is to be delivered. Versions by id; the original is "original"."""

    lanes_of: tuple[str, ...] = ()  # versions whose lanes are written as aligned files
    blends_of: tuple[str, ...] = ()  # versions whose blend is printed
    level_matched: bool = False  # blends turned down as they are heard (`_gains`), a single one not at all
    sheets_of: tuple[str, ...] = ()
    timelines: bool = False  # one for each version of `lanes_of`
    edits_of: tuple[str, ...] = ()  # over the recordings as they are
    bundled: bool = False  # edits with the recordings in them
    options: DeliveryOptions = DEFAULTS


class ExtraFile(Struct, frozen=True):
    """A further file to put in: a report, a timeline."""

    kind: Kind
    name: str
    data: bytes


def hand_over(
    session: Session,
    clips: Mapping[str, ClipLike],
    folder: Path,
    order: Order,
    *,
    extras: Sequence[ExtraFile] = (),
    progress: Progress = lambda _: None,
    cancelled: Cancelled = lambda: False,
) -> Delivery:
    """Deliver into `folder`; every audio file of the delivery shares one start, length and time stamp.

    Raises
    ------
    NotInSession
        A version that is not there.
    WouldOverwrite, CannotWrite, BadNameTemplate, MediaError, Cancelled
        Nothing of the delivery is left then.
    """
    check_free(session, folder, order, extras)
    with staged(folder, session_sources(session), overwrite=order.options.overwrite) as staging:
        delivery = stage_order(
            session, clips, staging, order, extras=extras, progress=progress, cancelled=cancelled
        )
    progress(1.0)
    return delivery


def stage_order(
    session: Session,
    clips: Mapping[str, ClipLike],
    staging: Staging,
    order: Order,
    *,
    extras: Sequence[ExtraFile] = (),
    before: Sequence[DeliveredFile] | None = (),
    progress: Progress = lambda _: None,
    cancelled: Cancelled = lambda: False,
) -> Delivery:
    """`hand_over` into a staging folder; what it gives tells of the files as they will be when moved.

    before : files of another folder that stand on the certificate too; None for no certificate here.
    """
    options = order.options
    lanes_of = [session.version(version_id) for version_id in order.lanes_of]
    blends_of = [session.version(version_id) for version_id in order.blends_of]
    sheets_of = [session.version(version_id) for version_id in order.sheets_of]
    edits_of = [session.version(version_id) for version_id in order.edits_of]
    written = [as_written(version, options) for version in (*lanes_of, *blends_of, *edits_of)]
    where = placement(session, written, options.rate_hz)
    looks = len(blends_of) if options.peak_dbtp is not None else 0
    steps = _Steps(len(lanes_of) * len(session.lanes) + len(blends_of) + looks, progress)
    warnings = [*where.warnings, *_tried(session, (*lanes_of, *blends_of, *edits_of, *sheets_of))]
    files: list[DeliveredFile] = []
    names = iter(planned_names(session, order))
    lane_files = len(file_lanes(session, options))
    for version in lanes_of:
        made, said = stage_stems(
            session, version, clips, staging, options, where,
            names=[next(names) for _ in range(lane_files)],
            progress=steps.part(len(session.lanes)), cancelled=cancelled,
        )  # fmt: skip
        files += made
        warnings += said
    blends, said, room_note = _stage_blends(
        session, blends_of, clips, staging, names, where, order, steps, cancelled
    )
    files += blends
    warnings += said
    files += _stage_documents(session, staging, order, names, where, tuple(files), extras, room_note)
    delivery = Delivery(staging.folder, tuple(files), tuple(dict.fromkeys(warnings)))
    certified = None if before is None else (*before, *files)
    lists = stage_lists(session, delivery, where, staging, certified)
    return Delivery(staging.folder, (*delivery.files, *lists), delivery.warnings)


def _stage_documents(
    session: Session,
    staging: Staging,
    order: Order,
    names: Iterator[str],
    where: Placement,
    audio: Sequence[DeliveredFile],
    extras: Sequence[ExtraFile],
    room_note: str | None,
) -> Iterator[DeliveredFile]:
    """Everything that is no audio, each read back."""
    lanes: list[tuple[str, ...]] = [(lane.name,) for lane in session.lanes]

    def checked(file: DeliveredFile, told: Iterable[tuple[str, ...]] = lanes) -> DeliveredFile:
        return read_back(file, staging.scratch / file.name, told)

    for version_id in order.lanes_of if order.timelines else ():
        version = session.version(version_id)
        text = timeline(session, version, audio, where)
        yield checked(stage_bytes(staging, next(names), text, "timeline", version.name))
    for version_id in order.edits_of:
        for file in _stage_edit(session, session.version(version_id), where, staging, order, names):
            yield checked(file)
    for version_id in order.sheets_of:
        version = session.version(version_id)
        sheet = delay_sheet(session, version, [room_note] if room_note else [])
        figures = [(row.lane, sheet_figure(row)) for row in sheet.rows]
        for form in _SHEET_FORMS.values():
            data = form(sheet).encode("utf-8")
            yield checked(stage_bytes(staging, next(names), data, "sheet", version.name), figures)
    for extra in extras:
        told = lanes if extra.kind == "report" else []
        yield checked(stage_bytes(staging, extra.name, extra.data, extra.kind), told)


def _tried(session: Session, versions: Iterable[Version]) -> list[str]:
    """A sentence for each version with lanes in places that nobody has decided on yet."""
    said = []
    for version in {version.id: version for version in versions}.values():
        names = [lane.name for lane in session.lanes if lane.id in version.trying]
        if names:
            said.append(
                f"{', '.join(names)}: only tried in {version.name} so far, and delivered as tried. "
                f"Accept the place or put it back to decide."
            )
    return said


def _stage_blends(
    session: Session,
    versions: list[Version],
    clips: Mapping[str, ClipLike],
    staging: Staging,
    names: Iterator[str],
    where: Placement,
    order: Order,
    steps: _Steps,
    cancelled: Cancelled,
) -> tuple[list[DeliveredFile], list[str], str | None]:
    """The blends, turned down alike to make room; what there is to say, and what to say of that room."""
    options, peak_dbtp = order.options, order.options.peak_dbtp
    match_db, room_db = _gains(session, versions, clips, order, cancelled), 0.0
    if peak_dbtp is not None:
        peaks = [
            gain_db
            + blend_peak_dbtp(
                session, version, clips, where, options, progress=steps.part(1), cancelled=cancelled
            )
            for version, gain_db in zip(versions, match_db, strict=True)
        ]
        room_db = headroom_db(peaks, peak_dbtp)
    files: list[DeliveredFile] = []
    warnings: list[str] = []
    for version, gain_db in zip(versions, match_db, strict=True):
        made, said = stage_blend(
            session, version, clips, staging, next(names), options, where, gain_db + room_db,
            headroom_db=room_db, progress=steps.part(1), cancelled=cancelled,
        )  # fmt: skip
        files.append(made)
        warnings += said
    if session.loop is not None and any(match_db):
        start_s, stop_s = (end / session.rate_hz for end in session.loop)
        warnings.append(f"Blends matched in loudness over the loop only, {start_s:.2f} s to {stop_s:.2f} s.")
    note = headroom_note(room_db, peak_dbtp)
    return files, [*warnings, note] if note else warnings, note


def _stage_edit(
    session: Session,
    version: Version,
    where: Placement,
    staging: Staging,
    order: Order,
    names: Iterator[str],
) -> Iterator[DeliveredFile]:
    """The edit over the recordings: as a timeline, with them in it if so wished, and as a table."""
    rows = edited_lanes(session, as_written(version, order.options), where)
    urls = bundled_urls(rows) if order.bundled else urls_from(staging.folder, rows)
    text = edit_timeline(session, version, rows, where, urls)
    if order.bundled:
        yield stage_file(
            staging, next(names), lambda file: write_bundle(file, text, urls), "edit", version.name
        )
    else:
        yield stage_bytes(staging, next(names), text, "edit", version.name)
    table = edit_table(rows, session.rate_hz, staging.folder)
    yield stage_bytes(staging, next(names), table, "edit", version.name)


def _edit_suffixes(order: Order) -> tuple[str, ...]:
    return (BUNDLE_SUFFIX, EDIT_SUFFIXES[1]) if order.bundled else EDIT_SUFFIXES


def planned_names(session: Session, order: Order) -> tuple[str, ...]:
    """The names of all files of an order but the extras and the two lists, in the order of writing.

    Raises NotInSession, BadNameTemplate, TooManyChannels.
    """
    names: list[str] = []
    for version_id in order.lanes_of:
        names += lane_file_names(session, session.version(version_id), order.options, names)
    blend_suffix = SUFFIXES[order.options.file_format]
    wanted = [(version_id, "blend", blend_suffix) for version_id in order.blends_of]
    if order.timelines:
        wanted += [(version_id, "timeline", TIMELINE_SUFFIX) for version_id in order.lanes_of]
    wanted += [
        (version_id, "edit", suffix) for version_id in order.edits_of for suffix in _edit_suffixes(order)
    ]
    wanted += [
        (version_id, "delay sheet", suffix) for version_id in order.sheets_of for suffix in _SHEET_FORMS
    ]
    for version_id, what, suffix in wanted:
        names.append(_free_name(session, session.version(version_id), what, suffix, names))
    return tuple(names)


def check_free(session: Session, folder: Path, order: Order, extras: Iterable[ExtraFile] = ()) -> None:
    """Say beforehand, not after an hour of writing, that a file of the order is there already.

    Raises WouldOverwrite, NotInSession, BadNameTemplate.
    """
    sources = session_sources(session)
    for name in (*planned_names(session, order), *(extra.name for extra in extras)):
        keep_off(folder / name, sources, order.options.overwrite)


def _gains(
    session: Session,
    versions: list[Version],
    clips: Mapping[str, ClipLike],
    order: Order,
    cancelled: Cancelled,
) -> tuple[float, ...]:
    """What each blend is turned down by: as it is when they are compared by ear, a single one by nothing.

    Raises Cancelled: gains measured half mean nothing.
    """
    if not order.level_matched or len(versions) < 2:
        return (0.0,) * len(versions)
    gains_db = matched_gains(session, clips, cancelled=cancelled).gains_db
    if cancelled():
        raise CancelledError
    return tuple(gains_db[version.id] for version in versions)


def _free_name(session: Session, version: Version, what: str, suffix: str, names: list[str]) -> str:
    values = {"take": session.name, "lane": what, "version": version.name}
    taken = [name.removesuffix(suffix) for name in names if name.endswith(suffix)]
    return unique([*taken, file_stem("{take} - {lane} - {version}", values)])[-1] + suffix


class _Steps:
    """Progress over parts of known weight."""

    def __init__(self, total: int, progress: Progress) -> None:
        self._total = max(1, total)
        self._done = 0
        self._progress = progress

    def part(self, weight: int) -> Progress:
        before = self._done
        self._done += weight
        return lambda fraction: self._progress((before + fraction * weight) / self._total)
