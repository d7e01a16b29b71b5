"""What a blind trial says beforehand and afterwards, with exact probabilities. No Qt.

One-sided binomial with p = 1/2 for ABX and 1/3 for the odd one out of three (ISO 4120), two-sided for
preference; intervals as `lagline.playback.trial.confidence`. "Not shown" is never "not there".
"""

from __future__ import annotations

from lagline.desk.amounts import time_text
from lagline.playback.state import PlayState
from lagline.playback.trial import (
    GUESSING,
    Mode,
    confidence,
    guessing_probability,
    indifference_probability,
    least_right,
)
from lagline.session.values import Session, Trial

USUAL_TRIALS = 16
KEYS_TEXT = (
    "Every choice plays from the beginning of the loop, at the same moment of the music, and levels stay as "
    "they are; meters and names are hidden. Keys: 1, 2, 3 choose what you hear, Left and Right (Down for the "
    "middle of three) the answer, Enter gives it, Space plays and stops, Esc leaves."
)
LIMIT = 0.05  # the usual limit of chance
KEEN, DULL = 0.9, 0.7  # how often a listener is truly right, for what a trial can find


def percent_text(probability: float) -> str:
    """`3.84 %`, `below 0.01 %`."""
    if probability < 0.0001:
        return "below 0.01 %"
    percent = 100 * probability
    return f"{percent:.3g} %" if percent < 99.95 else f"{min(percent, 100):.4g} %"


def passage_text(session: Session, told: PlayState) -> str:
    """What will be heard, again and again. `session` with the loop of the trial."""
    what = "the whole take"
    if session.loop is not None:
        start, stop = (time_text(end, session.rate_hz) for end in session.loop)
        what = f"the loop from {start} to {stop}"
    return f"You will hear {what}{', in mono' if told.mono else ''}."


def levels_text(told: PlayState, version_ids: tuple[str, str]) -> str:
    """Whether both are equally loud, and what to do if not."""
    if told.measuring:
        return "Measuring the loudness of the versions, to make them equal …"
    if not told.levels_known or not all(version_id in told.match_db for version_id in version_ids):
        return "The loudness is not known, so the louder one would give itself away. Any edit measures again."
    gates = " (measured without gates: the loop is short or very quiet)" if told.ungated else ""
    return f"Both are made equally loud{gates}."


def discarded_text(count: int) -> str:
    """What is said of runs that were begun and not kept; empty for none."""
    if not count:
        return ""
    runs = "1 run" if count == 1 else f"{count} runs"
    were = "was" if count == 1 else "were"
    return f"{runs} of this trial before this one {were} discarded; the result says so."


def before_text(mode: Mode, trials: int) -> str:
    """What the chosen number of trials can show, before it begins."""
    if mode == "preference":
        fewest = next(
            (n for n in range(trials // 2, trials + 1) if indifference_probability(n, trials) < LIMIT), None
        )
        if fewest is None:
            return "So few trials cannot tell a preference from chance. Choose more."
        shown = 100 * guessing_probability(fewest, trials, DULL)
        return (
            f"If {fewest} or more of {trials} choices fall on one version, chance is an unlikely reason. Who "
            f"truly prefers one 7 times in 10 shows it in {shown:.0f} % of such runs."
        )
    chance = GUESSING[mode]
    fewest = least_right(trials, LIMIT, chance)
    if fewest is None:
        return "So few trials cannot tell hearing from guessing. Choose more."
    dull, keen = (100 * guessing_probability(fewest, trials, rate) for rate in (DULL, KEEN))
    return (
        f"{fewest} or more of {trials} right is unlikely by guessing (below 5 %). Who is truly right 7 times "
        f"in 10 gets there in {dull:.0f} % of such runs, who is right 9 times in 10 in {keen:.0f} %."
    )


def result_text(trial: Trial, first_name: str, second_name: str) -> str:
    """The count, its exact probability and the share behind it."""
    count, total = sum(trial.answers), len(trial.answers)
    low, high = (round(100 * end) for end in confidence(count, total))
    if trial.mode == "preference":
        return (
            f"{second_name} was chosen {count} times, {first_name} {total - count} times, of {total}. "
            f"Without any preference a split at least as uneven comes up with a probability of "
            f"{percent_text(trial.probability)}. The share of choices for {second_name} lies between "
            f"{low} and {high} % (95 % confidence)."
        )
    return (
        f"{count} of {total} right. Guessing alone gets at least that many with a probability of "
        f"{percent_text(trial.probability)}. The true share of right answers lies between {low} and {high} % "
        f"(95 % confidence; guessing: {100 * GUESSING[mode_of(trial)]:.0f} %)."
    )


def mode_of(trial: Trial) -> Mode:
    """Its kind; ABX where a later version of the program knew another."""
    return "odd" if trial.mode == "odd" else "preference" if trial.mode == "preference" else "abx"


def meaning_text(trial: Trial) -> str:
    """What the result means, and what it does not."""
    total = len(trial.answers)
    here = "for you, in this passage, at this level, through this output"
    if trial.mode == "preference":
        if trial.probability < LIMIT:
            return (
                f"It means: you most likely do prefer one of them, {here}. It does not mean that others "
                f"would, nor that it is the right choice for the music."
            )
        return (
            "It means: no preference was shown. It does not mean that there is none: with few choices only a "
            "strong one shows."
        )
    if trial.probability < LIMIT:
        return (
            f"It means: most likely there is a difference that can be heard, {here}. It does not mean that "
            f"it is large, nor which version is better."
        )
    fewest = least_right(total, LIMIT, GUESSING[mode_of(trial)])
    missed = "" if fewest is None else f" {100 * (1 - guessing_probability(fewest, total, DULL)):.0f} %"
    return (
        "It means: a difference was not shown. It does not mean that there is none: a listener who is right "
        f"7 times in 10 would miss the mark in{missed or ' most'} of runs of {total}."
    )
