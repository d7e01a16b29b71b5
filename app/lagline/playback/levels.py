"""Measures the loudness of versions in a process of its own: neither window nor sound waits for it."""

from __future__ import annotations

import math
import os
import signal
from collections.abc import Callable, Hashable, Mapping, Sequence
from multiprocessing.connection import Connection
from typing import NamedTuple

from msgspec import Struct

from lagline.blend.clips import open_clips
from lagline.blend.loudness import GatedPowers, match_gains
from lagline.blend.loudness_match import compared_powers, level_match, rough_lufs
from lagline.blend.mix import ClipLike
from lagline.blend.passage import compared_passage, compared_versions
from lagline.blend.same_moment import leads
from lagline.playback.helper import last_words, words_of
from lagline.playback.protocol import Failed
from lagline.playback.steady import SteadyClips
from lagline.session.values import Lane, Session, Version

_MOST_KEPT = 64  # passages of an hour take 0.3 MB each
_LONG_S = 5.0  # a passage that takes longer to measure than to estimate ...
_FEW = 4  # ... and as many versions as do
_LEADS_AT_ONCE = 24
TRY_AGAIN_S = 3.0  # after a recording could not be read


class LevelsWanted(Struct, frozen=True):
    """Measure and match every version of this session. A later request replaces an earlier one.

    with_leads : whether switching keeps the moment: of hundreds of versions leads cost more than loudness.
    """

    token: int
    session: Session
    with_leads: bool = True


class LevelsFound(Struct, frozen=True):
    """The answer to the request of that token, as `LevelMatch`. Comes again when it has to be corrected.

    leads : by version id, samples by which it comes later than as recorded (`blend.same_moment`).
    is_rough : a first estimate from short stretches, without leads; the answer proper follows.
    """

    token: int
    lufs: dict[str, float]
    match_db: dict[str, float]
    leads: dict[str, int] = {}
    ungated: bool = False
    is_rough: bool = False


class LevelsFailed(Struct, frozen=True):
    """There is no answer to the request of that token."""

    token: int
    failed: Failed


def levels_main(connection: Connection) -> None:
    """Entry point of the process: answers until the other end of the pipe is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(10)  # sound and window come first
    try:
        with last_words(connection.send):
            serve(connection, LevelMeter(open_clips))
    except (EOFError, BrokenPipeError, ConnectionResetError):
        pass  # the desk is gone
    finally:
        connection.close()


def serve(connection: Connection, meter: LevelMeter, try_again_s: float = TRY_AGAIN_S) -> None:
    """Answer requests. Raises EOFError when there will be no more."""
    request: LevelsWanted | None = None
    while True:
        waits = try_again_s if request is not None and meter.is_incomplete else None
        if connection.poll(waits):
            request = connection.recv()
            while connection.poll():
                request = connection.recv()
        elif not meter.is_readable_again():
            continue
        assert request is not None
        try:
            rough = meter.estimate(request)
            if rough is not None:
                connection.send(rough)
            found = meter.measure(request, cancelled=connection.poll)
        except EOFError:
            raise
        except Exception as error:  # noqa: BLE001 (told to the desk; the next request may go well)
            connection.send(LevelsFailed(request.token, words_of(error)))
            continue
        if found is not None:
            connection.send(found)


class LevelMeter:
    """Answers requests, remembering what it measured: an edit of one version costs only that version."""

    def __init__(self, opener: Callable[[Session], Mapping[str, ClipLike]]) -> None:
        self._clips = SteadyClips(opener, report=lambda _: None)  # the engine says which lane is silent
        self._known: dict[Hashable, _Known] = {}
        self.is_incomplete = False  # a recording could not be read: the last answer took it for silent

    def estimate(self, request: LevelsWanted) -> LevelsFound | None:
        """A first answer, at once; None where the answer proper is there as soon."""
        session = request.session
        start, stop = compared_passage(session)
        keys = _keys(session)
        missing = self._missing(request, keys)
        is_soon = stop - start < _LONG_S * session.rate_hz and len(missing) <= _FEW
        if is_soon or not missing:
            return None
        lufs = rough_lufs(session, self._clips.of(session))
        known = {
            version_id: one.powers.integrated_lufs()
            for version_id, key in keys.items()
            if (one := self._known.get(key)) is not None
        }
        # Against what is known only the difference was estimated.
        off_db = next((known[key] - lufs[key] for key in known if math.isfinite(known[key] - lufs[key])), 0.0)
        lufs = {key: known.get(key, value + off_db) for key, value in lufs.items()}
        gains_db = dict(zip(lufs, match_gains(list(lufs.values())), strict=True))
        return LevelsFound(request.token, lufs, gains_db, is_rough=True)

    def measure(self, request: LevelsWanted, *, cancelled: Callable[[], bool]) -> LevelsFound | None:
        """None when `cancelled` said so on the way."""
        session = request.session
        self.is_incomplete = False
        keys = _keys(session)
        missing = self._missing(request, keys)
        known = {version_id: self._known.get(key) for version_id, key in keys.items()}
        if missing:
            stopped = False

            def stop() -> bool:
                nonlocal stopped
                stopped = stopped or cancelled()
                return stopped

            clips, failures = self._clips.of(session), self._clips.failures
            powers = compared_powers(session, missing, clips, cancelled=stop)
            later = _leads(session, missing, clips, stop) if request.with_leads else [None] * len(missing)
            if stopped:
                return None
            found = [_Known(*one) for one in zip(powers, later, strict=True)]
            known.update(zip((version.id for version in missing), found, strict=True))
            self.is_incomplete = self._clips.failures > failures
            if not self.is_incomplete:  # silence for want of a file is nothing to remember
                self._keep(keys, {version.id: one for version, one in zip(missing, found, strict=True)})
        there = {key: one for key, one in known.items() if one is not None}
        match = level_match({key: one.powers for key, one in there.items()})
        later_by_id = {key: one.lead or 0 for key, one in there.items()}
        return LevelsFound(request.token, match.lufs, match.gains_db, later_by_id, match.ungated)

    def _missing(self, request: LevelsWanted, keys: Mapping[str, Hashable]) -> list[Version]:
        """Versions of which something that is asked is not known."""

        def is_known(version: Version) -> bool:
            one = self._known.get(keys[version.id])
            return one is not None and (one.lead is not None or not request.with_leads)

        return [version for version in compared_versions(request.session) if not is_known(version)]

    def is_readable_again(self) -> bool:
        """Whether a recording that could not be read can be."""
        return self._clips.is_readable_again()

    def _keep(self, keys: Mapping[str, Hashable], found: Mapping[str, _Known]) -> None:
        if len(self._known) > _MOST_KEPT:
            in_use = set(keys.values())
            self._known = {key: one for key, one in self._known.items() if key in in_use}
        self._known.update({keys[version_id]: one for version_id, one in found.items()})


class _Known(NamedTuple):
    """What was measured of a version; `lead` None where nobody asked for it."""

    powers: GatedPowers
    lead: int | None


def _leads(
    session: Session,
    versions: Sequence[Version],
    clips: Mapping[str, ClipLike],
    cancelled: Callable[[], bool],
) -> list[int]:
    """`leads`, some versions at a time: spectra of hundreds would fill the memory."""
    start, stop = compared_passage(session)
    found: list[int] = []
    for at in range(0, len(versions), _LEADS_AT_ONCE):
        some = versions[at : at + _LEADS_AT_ONCE]
        found += leads(session, some, clips, start, stop, cancelled=cancelled)
    return found


def _keys(session: Session) -> dict[str, Hashable]:
    """By version id, everything the loudness depends on."""
    passage = compared_passage(session)
    heard = {lane.id: _heard(lane) for lane in session.lanes}
    return {
        version.id: (
            session.rate_hz,
            passage,
            tuple(
                (heard[lane.id], version.move(lane.id), version.balance(lane.id))
                for lane in session.audible_lanes(version)
            ),
        )
        for version in compared_versions(session)
    }


def _heard(lane: Lane) -> Hashable:
    source = lane.source
    return source.path, source.channel, source.size_bytes, lane.place_samples
