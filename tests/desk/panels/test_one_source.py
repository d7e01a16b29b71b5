"""Words, figures and plots of a finding never contradict one another: over every real take there is."""

from __future__ import annotations

import re

import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot
from tests.support import invented_session, real_takes

from lagline.analysis.options import AnalysisOptions
from lagline.analysis.trust import word
from lagline.desk.panels.accepting import SOUND, to_accept
from lagline.desk.panels.figures import NOTHING, signed
from lagline.desk.panels.finding_texts import candidates, finding_line
from lagline.desk.panels.findings_table import action_text
from lagline.desk.panels.match_plot import MatchPlot
from lagline.desk.panels.time_plot import TimePlot
from lagline.jobs.decide import measured_and_accepted
from lagline.jobs.open_take import open_take
from lagline.session.edits import accepted, with_version
from lagline.session.findings import Finding
from lagline.session.values import Session, Version

TAKES = sorted(folder.name for folder in real_takes.ROOT.glob("*/")) or ["no real takes"]
SAID_OF_NONE = ("nothing is proposed", "nothing to measure", "nothing can be measured")


@pytest.mark.slow
@pytest.mark.real_takes
@pytest.mark.parametrize("name", TAKES)
def test_over_real_takes(name: str, qtbot: QtBot) -> None:
    recordings = real_takes.take(name)
    if len(recordings) < 2:
        pytest.skip(f"{name} has one recording only")
    session = measured_and_accepted(open_take(recordings).session, AnalysisOptions()).session
    tell_alike(with_version(session, Version("v1", "Shifted")), qtbot)


def test_over_an_invented_take(qtbot: QtBot) -> None:
    session = with_version(invented_session.session(), Version("v1", "Shifted"))
    assert session.alignment is not None
    said = {"near": "Near left is inverted against Room.", "far": "Its polarity is unclear; try both."}
    said["talk"] = "So nothing is proposed."
    found = tuple(
        replace(one, sentence=f"{one.sentence} {said.get(one.lane_id, '')}")
        for one in session.alignment.findings
    )
    tell_alike(replace(session, alignment=replace(session.alignment, findings=found)), qtbot)


def tell_alike(session: Session, qtbot: QtBot) -> None:
    """Every finding of a take in which nothing was moved yet."""
    assert session.alignment is not None
    match, over_time = MatchPlot(), TimePlot()
    for plot in (match, over_time):
        qtbot.addWidget(plot)
        plot.resize(400, 240)
        plot.show()
    for finding in session.alignment.findings:
        if finding.lane_id == session.alignment.anchor_id:
            continue
        match.show_finding(session, finding)
        over_time.show_finding(session, finding)
        line = finding_line(session, session.lane(finding.lane_id))
        assert word(float(line.trust_text.split()[0])) == line.trust_text.split()[1] == finding.trust_word
        if over_time.has_plot and (counts := re.search(r"\d+ of \d+", finding.sentence)):
            assert counts.group() in over_time.said, finding.sentence
        if finding.arrival_samples is None:
            assert (line.arrival, line.can_accept, candidates(finding)) == (NOTHING, False, ())
            assert action_text(line) == "" and any(said in finding.sentence for said in SAID_OF_NONE)
            assert not match.has_plot or match.said.startswith("No arrival proposed")
        else:
            arrivals_alike(finding, finding.arrival_samples, line.full, match)
            polarities_alike(session, finding, line.polarity, match)


def arrivals_alike(finding: Finding, arrival: float, full: str, match: MatchPlot) -> None:
    assert finding.lane_id is not None
    if "together" not in finding.sentence:
        assert f"{abs(arrival):.1f} samples" in finding.sentence
        when = "after" if arrival > 0 else "before"
        assert f" {when} " in finding.sentence
        assert ("later" if arrival > 0 else "earlier") in full or "at the same time" in full
    if match.has_plot:
        assert f"Finding at {signed(arrival, 2)} samples" in match.said


def polarities_alike(session: Session, finding: Finding, words: str, match: MatchPlot) -> None:
    told = {
        "polarity unclear": ("unclear", "yes-or-no"),
        "inverted": (" is inverted",),
        "probably inverted": ("probably inverted",),
    }.get(words)
    if told is None:
        assert "inverted" not in finding.sentence
    else:
        assert any(one in finding.sentence for one in told), (words, finding.sentence)
    now = accepted(session, [finding.lane_id]).current_version.move(finding.lane_id).polarity
    assert now == {"polarity unclear": 1}.get(words, finding.polarity)
    if words.startswith("probably inverted"):
        assert finding.lane_id not in to_accept(session, SOUND)
    if match.has_plot and finding.arrival_samples is not None and words != "polarity unclear":
        match.put_cursor(finding.arrival_samples)
        assert ("fits as it is" if finding.polarity == -1 else "fits flipped") not in match.said
