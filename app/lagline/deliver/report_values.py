"""What a report says, as words and rows: between the session's values and the page."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime

from msgspec import Struct

from lagline import __version__
from lagline.analysis.sentences import is_air
from lagline.analysis.tone import ToneReport
from lagline.deliver.delivered import DeliveredFile
from lagline.deliver.evidence_plots import SHOWN_RUNNERS_UP, arrival_plot, match_plot, tone_plots
from lagline.deliver.sheet import delay_sheet
from lagline.deliver.sheet_text import BY_SOURCE, rates_table, rounding_table, sheet_table
from lagline.deliver.tables import Table
from lagline.media.health import Health, sentences, twin_sentences
from lagline.media.probe import RecordingInfo
from lagline.session.balance_words import balance_words, pan_words
from lagline.session.findings import Finding, trust_figure
from lagline.session.markers import marker_words
from lagline.session.ranking_words import place_words, ranking_sentence
from lagline.session.trial_words import trial_words, when_words
from lagline.session.values import ORIGINAL_ID, Lane, Ranking, Session, Trial, Version
from lagline.units import samples_to_metres, samples_to_ms

CAUTIONS = (
    "Lined up is not always better: distance is part of the sound of a take. Compare at equal loudness, "
    "blind if you can, and keep what serves the music.",
    "An arrival is measured from what two lanes share. Where trust is weak or none, listen and decide by "
    "ear; where a lane hears several sources, lining up one of them moves the others.",
    "A sum changes with every gain and pan: judge it in the mix it is meant for, and in mono.",
    "Start low when you listen. This tool cannot know the sound level at your ears. Long or loud listening "
    "can damage hearing; follow local rules and your workplace's limits.",
)


class Measured(Struct, frozen=True):
    """What a report can show beyond what the session holds. All of it may be missing."""

    health: Mapping[str, tuple[RecordingInfo, Health]] = {}  # by lane id
    loudness_lufs: Mapping[str, float] = {}  # of the blends, by version id
    match_db: Mapping[str, float] = {}  # gains that make them equally loud, by version id
    tone: ToneReport | None = None
    files: tuple[DeliveredFile, ...] = ()


class FindingWords(Struct, frozen=True):
    """What the report says of one lane's finding."""

    lane: str
    trust: str
    sentence: str
    plots: list[str]  # SVG
    details: list[str]


class RankingWords(Struct, frozen=True):
    """A blind run over several combinations."""

    heading: str
    sentence: str
    table: Table
    note: str


class ReportWords(Struct, frozen=True):
    """Everything the page shows, in its order."""

    title: str
    take: str
    made: str
    made_by: str
    anchor: str
    rate_hz: int
    temperature: str
    version: str
    notes: str
    versions: Table
    version_remarks: list[str]
    lanes: Table
    health: list[str]
    found: Table
    by_source_heading: str
    by_source: Table
    finding_remarks: list[str]
    findings: list[FindingWords]
    tone_plots: list[str]  # SVG
    tone_words: list[str]
    sheet: Table
    rates: Table
    roundings: Table
    sheet_remarks: list[str]
    markers: Table
    trials: Table
    rankings: list[RankingWords]
    files: Table
    cautions: list[str]


def report_words(session: Session, version: Version, measured: Measured) -> ReportWords:
    """All a report says, in the order of its page; parts that weren't measured are left out."""
    session = session.compared(version.id)
    anchor = next((lane.name for lane in session.lanes if lane.id == session.anchor_id), "")
    sheet = delay_sheet(session, version)
    tone = measured.tone
    findings = session.alignment.findings if session.alignment else ()
    return ReportWords(
        title=f"{session.name}: alignment report",
        take=session.name,
        made=datetime.now().astimezone().strftime("%Y-%m-%d %H:%M"),
        made_by=f"Lagline {__version__}",
        anchor=anchor,
        rate_hz=session.rate_hz,
        temperature=f"{session.temperature_c:g}",
        version=version.name,
        notes=session.notes,
        versions=Table(
            ["version", "lanes moved", "balance", "loudness", "gain to match", "note"],
            [_version_row(session, one, measured) for one in (session.original, *session.versions)],
        ),
        version_remarks=_loudness_remarks(version, measured),
        lanes=Table(
            ["lane", "file", "format", "length", "starts at", "gain", "pan", "state"],
            [_lane_row(session, version, lane) for lane in session.lanes],
        ),
        health=_health(session, measured),
        found=Table(
            ["lane", "arrival", "samples", "of air", "polarity", "trust", "first sound", "best fit", "drift"],
            [_finding_row(session, finding) for finding in findings],
        ),
        by_source_heading=BY_SOURCE,
        by_source=sheet.by_source,
        finding_remarks=_finding_remarks(session),
        findings=[
            _finding_words(session, finding, anchor)
            for finding in findings
            if finding.lane_id != session.anchor_id
        ],
        tone_plots=tone_plots(tone, version.id, version.name) if tone else [],
        tone_words=_tone_words(tone, version) if tone else [],
        sheet=sheet_table(sheet),
        rates=rates_table(sheet),
        roundings=rounding_table(sheet),
        sheet_remarks=list(sheet.remarks),
        markers=Table(
            ["marker", "where"],
            [[marker.name, marker_words(marker, session.rate_hz)] for marker in session.markers],
        ),
        trials=Table(
            ["when", "kind", "versions", "result", "probability", "note"],
            [_trial_row(session, trial) for trial in session.trials],
        ),
        rankings=[_ranking(ranking) for ranking in session.rankings],
        files=Table(["file", "format", "size", "SHA-256"], [_file_row(file) for file in measured.files]),
        cautions=list(CAUTIONS),
    )


def _version_row(session: Session, version: Version, measured: Measured) -> list[str]:
    moved = []
    for lane in session.lanes:
        move = version.move(lane.id)
        if move.shift_samples or move.polarity < 0 or move.rate_ppm:
            words = f"{lane.name} {samples_to_ms(move.shift_samples, session.rate_hz):+.3f} ms"
            words += ", flipped" if move.polarity < 0 else ""
            moved.append(words + (f", {move.rate_ppm:+.2f} ppm" if move.rate_ppm else ""))
    level = measured.loudness_lufs.get(version.id)
    loudness = "not measured" if level is None else _lufs(level)
    gain_db = measured.match_db.get(version.id)
    match = "" if gain_db is None else f"{round(gain_db, 1) + 0.0:.1f} dB"
    balance = "; ".join(
        f"{lane.name} {words}" for lane in session.lanes if (words := balance_words(version.balance(lane.id)))
    )
    return [version.name, "; ".join(moved) or "none", balance or "as recorded", loudness, match, version.note]


def _loudness_remarks(version: Version, measured: Measured) -> list[str]:
    before = measured.loudness_lufs.get(ORIGINAL_ID)
    after = measured.loudness_lufs.get(version.id)
    if before is None or after is None or not math.isfinite(before + after) or version.id == ORIGINAL_ID:
        return []
    if abs(after - before) < 0.05:
        return [f"{version.name} is as loud as the original."]
    louder = "louder" if after >= before else "quieter"
    return [
        f"{version.name} is {abs(after - before):.1f} LU {louder} than the original. Louder sounds better at "
        f"first, so compare them at equal loudness."
    ]


def _lane_row(session: Session, version: Version, lane: Lane) -> list[str]:
    source, balance = lane.source, version.balance(lane.id)
    state = [
        word for word, holds in (("muted", balance.mute), ("solo", lane.solo), ("linked", lane.link)) if holds
    ]
    return [
        lane.name,
        f"{source.path.name}, channel {source.channel + 1}",
        f"{source.rate_hz} Hz, {_depth(source.subtype)}",
        f"{source.frames / source.rate_hz:.2f} s",
        f"{lane.place_samples / session.rate_hz:.4f} s",
        f"{balance.gain_db:+.1f} dB",
        pan_words(balance.pan),
        ", ".join(state) or "heard",
    ]


def _depth(subtype: str) -> str:
    """libsndfile's name of a sample format in words."""
    if subtype in ("FLOAT", "DOUBLE"):
        return f"{32 if subtype == 'FLOAT' else 64}-bit float"
    bits = subtype.removeprefix("PCM_")
    return f"{bits}-bit" if bits.isdecimal() else subtype.replace("_", " ").lower()


def _health(session: Session, measured: Measured) -> list[str]:
    said: list[str] = []
    for lane in session.lanes:
        if lane.id in measured.health:
            said += sentences(lane.name, *measured.health[lane.id])
    names = {lane.name: measured.health[lane.id][1] for lane in session.lanes if lane.id in measured.health}
    said += twin_sentences(names)
    if names and not said:
        return ["Nothing wrong was found in the recordings."]
    return said


def _finding_row(session: Session, finding: Finding) -> list[str]:
    name = session.lane(finding.lane_id).name
    if finding.arrival_samples is None:
        return [name, "not found", "", "", "", finding.trust_word, "", "", ""]
    ms = samples_to_ms(finding.arrival_samples, session.rate_hz)
    within = "" if finding.uncertainty_samples is None else f" ± {finding.uncertainty_samples:.2f}"
    air = samples_to_metres(finding.arrival_samples, session.rate_hz, session.temperature_c)
    polarity = _polarity_word(finding)
    return [
        name,
        f"{ms:+.3f} ms",
        f"{finding.arrival_samples:+.2f}{within}",
        f"{air:+.2f} m" if is_air(finding.arrival_samples, session.rate_hz) else "",
        polarity,
        f"{finding.trust_word} ({trust_figure(finding.trust)})",
        _samples(finding.first_sound_samples),
        _samples(finding.best_fit_samples),
        f"{finding.drift_ppm:+.2f} ppm" if finding.drift_ppm else "none",
    ]


def _polarity_word(finding: Finding) -> str:
    sureness = finding.polarity_sureness
    if finding.polarity is None or sureness == "unclear":
        return "unclear"
    word = "inverted" if finding.polarity < 0 else "as anchor"
    return f"probably {word}" if sureness == "probable" else word


def _finding_remarks(session: Session) -> list[str]:
    if session.alignment is None:
        return []
    said = list(session.alignment.warnings)
    if session.alignment.pairs:
        said.append(
            f"Measured in pairs and solved together; what the pairs disagree by: "
            f"{session.alignment.closure_samples:.2f} samples (rms)."
        )
    return said


def _finding_words(session: Session, finding: Finding, anchor: str) -> FindingWords:
    name = session.lane(finding.lane_id).name
    plots = [
        match_plot(finding, name, anchor, session.rate_hz),
        arrival_plot(finding, name, anchor, session.rate_hz),
    ]
    evidence = finding.evidence
    details = []
    if evidence.band_high_hz > evidence.band_low_hz:
        details.append(f"Decided between {evidence.band_low_hz:.0f} and {evidence.band_high_hz:.0f} Hz.")
    if (
        finding.windows.used
        and f"{finding.windows.agreeing} of {finding.windows.used}" not in finding.sentence
    ):
        details.append(f"{finding.windows.agreeing} of {finding.windows.used} passages of the take agree.")
    for number, runner in enumerate(finding.runners_up[:SHOWN_RUNNERS_UP], start=1):
        if runner.source:
            continue  # in the table by instrument
        sign = "" if runner.polarity > 0 else ", inverted"
        ms = samples_to_ms(runner.arrival_samples, session.rate_hz)
        details.append(f"Runner-up {number}: {ms:+.3f} ms{sign}, evidence {runner.score:.2f}.")
    word = "no" if finding.trust_word == "none" else finding.trust_word
    trust = f"{word} trust ({trust_figure(finding.trust)})"
    return FindingWords(name, trust, finding.sentence, [plot for plot in plots if plot], details)


def _tone_words(tone: ToneReport, version: Version) -> list[str]:
    change = tone.band_change_db(ORIGINAL_ID, version.id)
    known = [
        (value, band.nominal_hz)
        for value, band in zip(change, tone.bands, strict=False)
        if math.isfinite(value)
    ]
    if not known:
        return []
    (most, most_hz), (least, least_hz) = max(known), min(known)
    said = [
        f"Above: the blend of the original dashed, of {version.name} solid. "
        f"Below: the change per third octave, gains filled, losses empty."
    ]
    if most >= 0.5:
        said.append(f"Gains most at {most_hz:g} Hz: {most:+.1f} dB.")
    if least <= -0.5:
        said.append(f"Loses most at {least_hz:g} Hz: {least:+.1f} dB.")
    return said


def _trial_row(session: Session, trial: Trial) -> list[str]:
    words = trial_words(session, trial)
    return [words.when, words.kind, words.versions, words.result, words.probability, trial.note]


def _ranking(ranking: Ranking) -> RankingWords:
    heading = f"{when_words(ranking.when)}: {ranking.planned} choices"
    rows = [
        [str(number), place.name, place_words(place, ranking.planned, len(ranking.places))]
        for number, place in enumerate(ranking.places, 1)
    ]
    table = Table(["place", "combination", "how often"], rows)
    return RankingWords(heading, ranking_sentence(ranking), table, ranking.note)


def _file_row(file: DeliveredFile) -> list[str]:
    kind = f"{file.rate_hz} Hz, {_depth(file.subtype)}" if file.rate_hz else file.kind
    return [file.name, kind, f"{file.size_bytes} bytes", file.sha256]


def _samples(value: float | None) -> str:
    return "" if value is None else f"{value:+.2f}"


def _lufs(level: float) -> str:
    return f"{level:.1f} LUFS" if math.isfinite(level) else "silent"
