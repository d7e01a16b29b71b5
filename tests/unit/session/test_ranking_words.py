"""A kept ranking in words."""

from __future__ import annotations

from lagline.session.ranking_words import place_words, ranking_sentence
from lagline.session.values import Ranked, Ranking

FIRST = Ranked("a", "Near + Far, Shifted", 8, 0.9, 0.62, 0.98)
SECOND = Ranked("b", "Near, as recorded", 3, 0.45, 0.2, 0.7)
THIRD = Ranked("c", "Far, as recorded", 1, 0.15, 0.03, 0.5)


def test_who_comes_first_is_named_with_those_not_told_apart_from_it() -> None:
    clear = Ranking((FIRST, THIRD), 12, 0.0021, "now")
    assert ranking_sentence(clear) == (
        "Near + Far, Shifted comes first. Chance alone spreads the choices as far in 0.21 % of such runs."
    )
    close = Ranking((FIRST, SECOND, THIRD), 12, 0.00001, "now")
    assert ranking_sentence(close).startswith(
        "Near + Far, Shifted comes first, not told apart from Near, as recorded. "
    )
    assert "less than 0.01 %" in ranking_sentence(close)


def test_no_real_preference_is_said_so() -> None:
    assert ranking_sentence(Ranking((FIRST, SECOND), 4, 0.38, "now")) == (
        "No real preference: chance alone spreads the choices as far in 38 % of such runs."
    )


def test_a_place_says_how_often_and_how_sure() -> None:
    assert place_words(FIRST, 12, 3) == (
        "8 of 8 choices; preferred to an average one 90 % of the time (62 to 98 %)"
    )
