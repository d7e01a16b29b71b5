"""What may be accepted together, and what is said of the rest."""

from __future__ import annotations

from msgspec.structs import replace
from tests.support.invented_session import session

from lagline.desk.panels.accepting import SOUND, STRONG, left_text, to_accept
from lagline.session.edits import accepted, with_shift


def test_the_anchor_comes_first_and_weak_ones_stay() -> None:
    assert to_accept(session(), STRONG) == ["room", "near"]
    assert to_accept(session(), SOUND) == ["room", "near", "pick"]
    assert to_accept(session(measured=False), SOUND) == []
    assert to_accept(None, SOUND) == []


def test_without_a_sound_finding_not_even_the_anchor_is_put_back() -> None:
    now = session()
    weak = tuple(replace(f, trust_word="weak") for f in now.alignment.findings)
    assert to_accept(replace(now, alignment=replace(now.alignment, findings=weak)), SOUND) == []


def test_what_is_left_is_named_with_its_reason() -> None:
    ids = to_accept(session(), SOUND)
    said = left_text(accepted(session(), ids), ids)
    assert said == (
        "Left for you to decide: Balcony (weak: 36 of 40 passages agree), "
        "Talkback (nothing in common was found)."
    )


def test_a_lane_placed_by_hand_is_not_left() -> None:
    ids = to_accept(session(), SOUND)
    now = with_shift(accepted(session(), ids), "far", 40.0)
    assert "Balcony" not in left_text(now, ids)
