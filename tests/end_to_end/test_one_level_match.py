"""Equal loudness is one thing: what is heard, printed and reported is turned down by the same gains."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from msgspec.structs import replace
from tests.support.short_take import take

from lagline.blend.clips import open_clips
from lagline.deliver.hand_over import Order, hand_over
from lagline.deliver.options import DeliveryOptions
from lagline.deliver.report_parts import measured_for_report
from lagline.deliver.report_values import report_words
from lagline.playback.player import Player
from lagline.session import edits
from lagline.session.values import Move, Session, Version

# Quieter than the others, later than the take, so that passages and versions taken otherwise would show.
THIRD = Version(
    id="v2", name="Third", moves={"a": Move(4_000.5, -1), "b": Move(-3_000.0), "c": Move(0.0, -1)}
)


def heard(session: Session) -> tuple[dict[str, float], dict[str, float]]:
    """Loudness and gains as the player has them."""
    with Player() as player:
        player.load(session)
        deadline = time.monotonic() + 60
        while player.state().measuring or not player.state().match_db:
            assert time.monotonic() < deadline
            time.sleep(0.01)
        return player.state().loudness_lufs, player.state().match_db


@pytest.mark.parametrize("loop", [None, (20_000, 55_000), (30_000, 30_500)])
def test_heard_printed_and_reported_gains_are_equal(tmp_path: Path, loop: tuple[int, int] | None):
    session = take(tmp_path)  # with one recording behind every lane, so that shifts change the loudness
    lanes = tuple(replace(lane, source=session.lanes[0].source) for lane in session.lanes)
    session = replace(session, lanes=lanes)
    session = edits.with_loop(replace(session, versions=(*session.versions, THIRD)), loop)
    clips = open_clips(session)
    lufs, gains_db = heard(session)
    assert min(gains_db.values()) < -0.2 and max(gains_db.values()) == 0.0

    ids = ("original", "v1", "v2")
    for blends in (ids, ids[:2]):  # what else is printed makes no difference
        order = Order(blends_of=blends, level_matched=True, options=DeliveryOptions(depth="float"))
        printed = hand_over(session, clips, tmp_path / f"{len(blends)}", order)
        assert [file.gain_db for file in printed.files if file.kind == "blend"] == [
            gains_db[key] for key in blends
        ]

    report = measured_for_report(session, session.version("v1"), clips)
    assert report.loudness_lufs == lufs and report.match_db == gains_db
    rows = report_words(session, session.version("v1"), report).versions.rows
    for key, row in zip(ids, rows, strict=True):
        assert float(row[3].removesuffix(" dB")) == pytest.approx(gains_db[key], abs=0.051)
