"""Measures the loudness of versions in a process of its own: neither window nor sound waits for it."""

from __future__ import annotations

import math
import os
import signal
from collections.abc import Callable, Hashable, Mapping
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
TRY_AGAIN_S = 3.0  # after a recording could not be read


class LevelsWanted(Struct, frozen=True):
    """Measure and match every version of this session. A later request replaces an earlier one."""

    token: int
    session: Session


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
        missing = self._missing(session)
        is_soon = stop - start < _LONG_S * session.rate_hz and len(missing) <= _FEW
        if is_soon or not missing:
            return None
        lufs = rough_lufs(session, self._clips.of(session))
        known = {
            version.id: one.powers.integrated_lufs()
            for version in compared_versions(session)
            if (one := self._known.get(_key(session, version))) is not None
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
        missing = self._missing(session)
        known = {
            version.id: self._known.get(_key(session, version)) for version in compared_versions(session)
        }
        if missing:
            stopped = False

            def stop() -> bool:
                nonlocal stopped
                stopped = stopped or cancelled()
                return stopped

            clips, failures = self._clips.of(session), self._clips.failures
            powers = compared_powers(session, missing, clips, cancelled=stop)
            start, end = compared_passage(session)
            later = leads(session, missing, clips, start, end, cancelled=stop)
            if stopped:
                return None
            found = [_Known(*one) for one in zip(powers, later, strict=True)]
            known.update(zip((version.id for version in missing), found, strict=True))
            self.is_incomplete = self._clips.failures > failures
            if not self.is_incomplete:  # silence for want of a file is nothing to remember
                self._keep(session, list(zip(missing, found, strict=True)))
        there = {key: one for key, one in known.items() if one is not None}
        match = level_match({key: one.powers for key, one in there.items()})
        later_by_id = {key: one.lead for key, one in there.items()}
        return LevelsFound(request.token, match.lufs, match.gains_db, later_by_id, match.ungated)

    def _missing(self, session: Session) -> list[Version]:
        """Versions of which nothing is known."""
        return [
            version for version in compared_versions(session) if _key(session, version) not in self._known
        ]

    def is_readable_again(self) -> bool:
        """Whether a recording that could not be read can be."""
        return self._clips.is_readable_again()

    def _keep(self, session: Session, found: list[tuple[Version, _Known]]) -> None:
        if len(self._known) > _MOST_KEPT:
            in_use = {_key(session, version) for version in compared_versions(session)}
            self._known = {key: one for key, one in self._known.items() if key in in_use}
        self._known.update({_key(session, version): one for version, one in found})


class _Known(NamedTuple):
    """What was measured of a version."""

    powers: GatedPowers
    lead: int


def _key(session: Session, version: Version) -> Hashable:
    """Everything the loudness depends on."""
    lanes = tuple(
        (_heard(lane), version.move(lane.id), version.balance(lane.id))
        for lane in session.audible_lanes(version)
    )
    return session.rate_hz, compared_passage(session), lanes


def _heard(lane: Lane) -> Hashable:
    source = lane.source
    return source.path, source.channel, source.size_bytes, lane.place_samples
