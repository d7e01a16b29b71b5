"""A kept blind trial in words, the same in the report and on the desk."""

from __future__ import annotations

from datetime import datetime

from msgspec import Struct

from lagline.session.values import ORIGINAL, Session, Trial


class TrialWords(Struct, frozen=True):
    """One kept trial, ready to be shown: each field is a piece of a sentence."""

    when: str
    kind: str
    versions: str
    result: str
    probability: str

    @property
    def line(self) -> str:
        """All of it in one line, the time first, the probability of so many right by guessing last."""
        head = f"{self.when}, {self.versions}, {self.kind}"
        return f"{head}: {self.result}, probability {self.probability}"


def trial_words(session: Session, trial: Trial) -> TrialWords:
    """The session knows the names of the versions; one that is gone is named by its id."""
    names = [
        next((one.name for one in (ORIGINAL, *session.versions) if one.id == version_id), version_id)
        for version_id in trial.version_ids
    ]
    chosen = sum(trial.answers)
    told_apart = {"abx": "told apart (ABX)", "odd": "told apart (odd one of three)"}
    if trial.mode in told_apart:
        kind, result = told_apart[trial.mode], f"{chosen} of {len(trial.answers)} right"
    else:
        kind, result = "preferred", f"{names[1]} {chosen} of {len(trial.answers)} times"
    if len(trial.answers) < trial.planned:
        result += f" ({trial.planned} were planned)"
    if trial.discarded:
        runs = "run" if trial.discarded == 1 else "runs"
        result += f" ({trial.discarded} {runs} before it discarded)"
    return TrialWords(
        when_words(trial.when), kind, f"{names[0]} / {names[1]}", result, f"{trial.probability:.4f}"
    )


def when_words(stamp: str) -> str:
    """Date and time of an ISO 8601 stamp as people read it; other text as it is."""
    try:
        return datetime.fromisoformat(stamp).strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return stamp
