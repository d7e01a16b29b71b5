"""What may be accepted together, and what is said of the rest."""

from __future__ import annotations

from msgspec.structs import replace
from tests.support.invented_session import session

from lagline.desk.panels.accepting import SOUND, STRONG, guesses_text, left_text, to_accept
from lagline.session.edits import accepted, with_polarity, with_shift
from lagline.session.values import Version


def test_weak_ones_and_the_anchor_stay() -> None:
    assert to_accept(session(), STRONG) == ["near"]
    assert to_accept(session(), SOUND) == ["near", "pick"]
    assert to_accept(session(measured=False), SOUND) == []
    assert to_accept(None, SOUND) == []


def test_without_a_sound_finding_not_even_the_anchor_is_put_back() -> None:
    now = session()
    weak = tuple(replace(f, trust_word="weak") for f in now.alignment.findings)
    assert to_accept(replace(now, alignment=replace(now.alignment, findings=weak)), SOUND) == []


def test_what_is_left_is_named_with_its_reason() -> None:
    ids = to_accept(session(), SOUND)
    said = left_text(accepted(session(), ids), ids)
    assert said == ("Left for you to decide: Balcony (weak: 36 of 40 agree), Talkback (nothing is proposed).")


def test_a_flip_that_is_only_probable_is_left_and_named() -> None:
    now = session()
    probable = replace(now.alignment.findings[0], polarity_trust=0.5)
    found = (probable, *now.alignment.findings[1:])
    now = replace(now, versions=(Version("v1", "Shifted"),), alignment=replace(now.alignment, findings=found))
    assert to_accept(now, SOUND) == ["pick"]
    assert "Near left (strong, its polarity only probable: listen)" in left_text(now, ["pick"])
    assert guesses_text(now, ["near", "pick"]) == "turns Near left over on a polarity that is only probable"
    turned = with_polarity(now, "near", -1)
    assert to_accept(turned, SOUND) == ["near", "pick"], "it is turned over already: nothing is guessed"


def test_an_unclear_polarity_is_never_taken_over() -> None:
    now = session()
    unclear = replace(now.alignment.findings[0], polarity_trust=0.2)
    now = replace(now, alignment=replace(now.alignment, findings=(unclear, *now.alignment.findings[1:])))
    assert accepted(with_polarity(now, "near", 1), ["near"]).current_version.move("near").polarity == 1


def test_a_lane_placed_by_hand_is_not_left() -> None:
    ids = to_accept(session(), SOUND)
    now = with_shift(accepted(session(), ids), "far", 40.0)
    assert "Balcony" not in left_text(now, ids)
