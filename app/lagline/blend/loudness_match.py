"""Level match: what each version is turned down by, to be as loud as the quietest of them.

One measurement for all who need it. What the listener hears, what a printed blend is turned down by and what
the report says come from here, over the passage of `compared_passage`, faded at its ends as it is heard, and
among all versions of the session, whichever of them are printed.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from msgspec import Struct

from lagline.blend.loudness import (
    SILENT_LUFS,
    GatedPowers,
    audible_lufs,
    exact_match_gains,
    k_response,
    lufs_of,
    measured,
    needs_no_gates,
)
from lagline.blend.mix import ClipLike, render_versions
from lagline.blend.passage import compared_passage, compared_versions, fade_frames, rise, spread_places
from lagline.blend.signals import Signals, measured_pairs, pair_places, pair_weights, signals_of
from lagline.session.values import Session, Version
from lagline.units import SILENCE_DB

ROUGH_WITHIN_S = 0.15
_FEW_VERSIONS = 4
_STRETCH_S, _MOST_STRETCHES, _FEWEST_STRETCHES = 0.1, 16, 3


class LevelMatch(Struct, frozen=True):
    """By version id.

    lufs : loudness before the match, -inf where nothing is to be heard.
    gains_db : none above 0; with them all versions are equally loud.
    ungated : it is the K-weighted mean without the gates of BS.1770, which would have left nothing of some
        version: the passage is shorter than 0.4 s, or quieter than -70 LUFS.
    """

    lufs: dict[str, float] = {}
    gains_db: dict[str, float] = {}
    ungated: bool = False


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
    passage = compared_passage(session)
    signals = _shared_signals(session, versions)
    if signals is not None:
        meter = measured_pairs(signals, clips, *passage, edge=edge, cancelled=cancelled)
        return list(meter.powers(pair_weights(signals.weights).sum(axis=1)))
    return measured(session, versions, clips, *passage, edge=edge, cancelled=cancelled)


def _shared_signals(session: Session, versions: Sequence[Version]) -> Signals | None:
    """Their signals, where there are less of them than sides of the versions: cheaper then."""
    if len(versions) <= _FEW_VERSIONS:
        return None
    signals = signals_of(session, versions)
    return signals if len(signals.sources) < 2 * len(versions) else None


def level_match(powers: Mapping[str, GatedPowers]) -> LevelMatch:
    """From what was measured, by version id."""
    all_powers = list(powers.values())
    ungated = needs_no_gates(all_powers)
    lufs = [audible_lufs(one) if ungated else one.integrated_lufs() for one in all_powers]
    return LevelMatch(
        dict(zip(powers, lufs, strict=True)),
        dict(zip(powers, exact_match_gains(all_powers), strict=True)),
        ungated,
    )


def rough_lufs(
    session: Session, clips: Mapping[str, ClipLike], *, within_s: float = ROUGH_WITHIN_S
) -> dict[str, float]:
    """A first estimate of the loudness of every version, by id: without gates, -inf for silence.

    From short stretches of the passage, as many as time allows. Raises as `blend` does.
    """
    versions = compared_versions(session)
    start, stop = compared_passage(session)
    frames = min(round(_STRETCH_S * session.rate_hz), max(stop - start, 1))
    weight = np.abs(k_response(session.rate_hz, frames)) ** 2
    powers = np.zeros(len(versions))
    began = time.perf_counter()
    signals = _shared_signals(session, versions)
    pairs = None if signals is None else pair_weights(signals.weights).sum(axis=1)
    for number, place in enumerate(spread_places(start, stop - frames, _MOST_STRETCHES)):
        if number >= _FEWEST_STRETCHES and time.perf_counter() - began > within_s:
            break
        if signals is not None and pairs is not None:
            weighted = np.fft.rfft(signals.read(clips, place, frames)) * np.sqrt(weight)
            gram = (weighted @ weighted.conj().T).real
            powers += pairs @ gram[pair_places(len(gram))]
            continue
        blocks = render_versions(session, versions, clips, place, frames)
        for at, block in enumerate(blocks):
            spectrum = np.abs(np.fft.rfft(block, axis=0)) ** 2
            powers[at] += float(weight @ spectrum.sum(axis=1))
    scale = 2.0 / frames**2 / (number + 1)
    lufs = [lufs_of(float(power) * scale) for power in powers]
    return {
        version.id: one if one >= SILENT_LUFS else SILENCE_DB
        for version, one in zip(versions, lufs, strict=True)
    }
