"""Everything that reads what others wrote, as functions of bytes: `TARGETS` by name.

A target returns what became of the input in one word ("read", or the name of one of our errors) and lets
any other exception out: that is a defect.
"""

from __future__ import annotations

from tests.robustness.mutation import damaged_bytes, damaged_json
from tests.robustness.target import Target
from tests.robustness.target_command_lines import WORDS, command_seeds, damaged_command, run_command
from tests.robustness.target_documents import (
    damaged_lines,
    journal_seeds,
    plan_seeds,
    read_batch_journal,
    read_plan,
    read_session,
    read_setup,
    session_seeds,
    setup_seeds,
)  # fmt: skip
from tests.robustness.target_media import (
    audio_seeds,
    bext_seeds,
    cue_seeds,
    damaged_overview,
    ixml_seeds,
    overview_seeds,
    read_audio,
    read_bext,
    read_cue,
    read_ixml,
    read_overview,
)  # fmt: skip

TARGETS = {
    target.name: target
    for target in (
        Target("audio files", audio_seeds, read_audio, damaged_bytes),
        Target("bext chunks", bext_seeds, read_bext, damaged_bytes),
        Target("cue chunks", cue_seeds, read_cue, damaged_bytes),
        Target("iXML chunks", ixml_seeds, read_ixml, damaged_bytes),
        Target("session files", session_seeds, read_session, damaged_json),
        Target("setup files", setup_seeds, read_setup, damaged_json),
        Target("plan files", plan_seeds, read_plan, damaged_json),
        Target("batch journals", journal_seeds, read_batch_journal, damaged_lines),
        Target("overview cache files", overview_seeds, read_overview, damaged_overview),
        Target("command lines", command_seeds, run_command, damaged_command, WORDS),
    )
}
