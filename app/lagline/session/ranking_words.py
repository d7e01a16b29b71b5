"""A kept ranking in words, the same in the report and on the desk."""

from __future__ import annotations

from lagline.session.values import Ranked, Ranking

LIMIT = 0.05  # the usual limit of chance


def has_preference(ranking: Ranking) -> bool:
    """Whether chance is an unlikely reason for how the choices fell."""
    return ranking.probability < LIMIT


def ranking_sentence(ranking: Ranking) -> str:
    """`Near + Far, Shifted comes first (5 of 6 choices). Chance ...`, or that there is no real preference."""
    percent = f"{100 * ranking.probability:.2g} %" if ranking.probability >= 0.0001 else "less than 0.01 %"
    if not has_preference(ranking):
        return f"No real preference: chance alone spreads the choices as far in {percent} of such runs."
    first, *others = ranking.places
    level = [other.name for other in others if other.high >= first.low]
    tied = f", not told apart from {', '.join(level)}" if level else ""
    return (
        f"{first.name} comes first{tied}. Chance alone spreads the choices as far in {percent} of such runs."
    )


def place_words(place: Ranked, planned: int, places: int) -> str:
    """`5 of 6 choices; preferred to an average one 81 % of the time (52 to 94 %)`."""
    heard = 2 * planned // places
    low, share, high = (f"{100 * value:.0f}" for value in (place.low, place.share, place.high))
    often = f"preferred to an average one {share} % of the time ({low} to {high} %)"
    return f"{place.wins} of {heard} choices; {often}"
