"""What a blind trial says beforehand and afterwards, with exact probabilities. No Qt.

One-sided binomial with p = 1/2 for ABX, two-sided for preference. "Not shown" is never "not there".
"""

from __future__ import annotations

from math import comb

from lagline.desk.amounts import time_text
from lagline.playback.state import PlayState
from lagline.playback.trial import indifference_probability, least_right
from lagline.session.values import Session, Trial

USUAL_TRIALS = 16
KEYS_TEXT = (
    "Levels stay as they are until the end; meters and names are hidden. Keys: 1, 2, 3 choose what you hear, "
    "Left and Right the answer, Enter gives it, Space plays and stops."
)
LIMIT = 0.05  # the usual limit of chance
KEEN, DULL = 0.9, 0.7  # how often a listener is truly right, for what a trial can find


def at_least(right: int, trials: int, chance: float) -> float:
    """Probability that a listener who is right with `chance` in each trial gets `right` or more of them."""
    return sum(comb(trials, k) * chance**k * (1 - chance) ** (trials - k) for k in range(right, trials + 1))


def percent_text(probability: float) -> str:
    """`3.84 %`, `below 0.01 %`."""
    if probability < 0.0001:
        return "below 0.01 %"
    percent = 100 * probability
    return f"{percent:.3g} %" if percent < 99.95 else f"{min(percent, 100):.4g} %"


def passage_text(session: Session, told: PlayState) -> str:
    """What will be heard. `session` as it is heard: without its loop while looping is off."""
    if session.loop is not None:
        start, stop = (time_text(end, session.rate_hz) for end in session.loop)
        what = f"the loop from {start} to {stop}"
    else:
        here = time_text(told.position, session.rate_hz)
        what = f"the take from {here} to its end, then from the top; a loop of a few seconds tells more (L)"
    return f"You will hear {what}{', in mono' if told.mono else ''}."


def levels_text(told: PlayState, version_ids: tuple[str, str]) -> str:
    """Whether both are equally loud, and what to do if not."""
    if not told.matching:
        return "Equal loudness is off: the louder one may give itself away. Close this and switch it on (E)."
    if told.measuring:
        return "Measuring the loudness of the versions, to make them equal …"
    if not all(version_id in told.match_db for version_id in version_ids):
        return "The loudness is not known, so the louder one may give itself away. Any edit measures again."
    return "Both are equally loud."


def before_text(mode: str, trials: int) -> str:
    """What the chosen number of trials can show, before it begins."""
    if mode == "preference":
        fewest = next(
            (n for n in range(trials // 2, trials + 1) if indifference_probability(n, trials) < LIMIT), None
        )
        if fewest is None:
            return "So few trials cannot tell a preference from chance. Choose more."
        return f"If {fewest} or more of {trials} choices fall on one version, chance is an unlikely reason."
    fewest = least_right(trials)
    if fewest is None:
        return "So few trials cannot tell hearing from guessing. Choose more."
    dull, keen = (100 * at_least(fewest, trials, chance) for chance in (DULL, KEEN))
    return (
        f"{fewest} or more of {trials} right is unlikely by guessing (below 5 %). Who is truly right 7 times "
        f"in 10 gets there in {dull:.0f} % of such runs, who is right 9 times in 10 in {keen:.0f} %."
    )


def result_text(trial: Trial, first_name: str, second_name: str) -> str:
    """The count and its exact probability."""
    count, total = sum(trial.answers), len(trial.answers)
    if trial.mode == "preference":
        return (
            f"{second_name} was chosen {count} times, {first_name} {total - count} times, of {total}. "
            f"Without any preference a split at least as uneven comes up with a probability of "
            f"{percent_text(trial.probability)}."
        )
    return (
        f"{count} of {total} right. Guessing alone gets at least that many with a probability of "
        f"{percent_text(trial.probability)}."
    )


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
    fewest = least_right(total)
    missed = "" if fewest is None else f" {100 * (1 - at_least(fewest, total, DULL)):.0f} %"
    return (
        "It means: a difference was not shown. It does not mean that there is none: a listener who is right "
        f"7 times in 10 would miss the mark in{missed or ' most'} of runs of {total}."
    )
