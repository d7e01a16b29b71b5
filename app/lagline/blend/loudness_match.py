"""Level match: what each version is turned down by, to be as loud as the quietest of them.

One measurement for all who need it. What the listener hears, what a printed blend is turned down by and what
the report says come from here, over the passage of `compared_passage`, faded at its ends as it is heard, and
among all versions of the session, whichever of them are printed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from msgspec import Struct

from lagline.blend.loudness import GatedPowers, exact_match_gains, measured
from lagline.blend.mix import ClipLike
from lagline.blend.passage import compared_passage, compared_versions, fade_frames, rise
from lagline.session.values import Session, Version


class LevelMatch(Struct, frozen=True):
    """By version id.

    lufs : loudness before the match, -inf where nothing is to be heard.
    gains_db : none above 0; with them all versions are equally loud.
    """

    lufs: dict[str, float] = {}
    gains_db: dict[str, float] = {}


def matched_gains(
    session: Session, clips: Mapping[str, ClipLike], *, cancelled: Callable[[], bool] = lambda: False
) -> LevelMatch:
    """Measure and match every version of the session, the original included.

    Raises as `blend` does. What it gives after `cancelled` said so means nothing: the caller knows.
    """
    versions = compared_versions(session)
    found = compared_powers(session, versions, clips, cancelled=cancelled)
    return level_match({version.id: powers for version, powers in zip(versions, found, strict=True)})


def compared_powers(
    session: Session,
    versions: Sequence[Version],
    clips: Mapping[str, ClipLike],
    *,
    cancelled: Callable[[], bool] = lambda: False,
) -> list[GatedPowers]:
    """What the loudness of some versions is worked out from, over the passage all are compared over."""
    edge = rise(fade_frames(session.rate_hz))[1:]
    return measured(session, versions, clips, *compared_passage(session), edge=edge, cancelled=cancelled)


def level_match(powers: Mapping[str, GatedPowers]) -> LevelMatch:
    """From what was measured, by version id."""
    gains_db = exact_match_gains(list(powers.values()))
    return LevelMatch(
        {version_id: one.integrated_lufs() for version_id, one in powers.items()},
        dict(zip(powers, gains_db, strict=True)),
    )
