"""Measures the loudness of versions in a process of its own: neither window nor sound waits for it."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Hashable, Mapping
from multiprocessing.connection import Connection

from msgspec import Struct

from lagline.blend.clips import open_clips
from lagline.blend.loudness import GatedPowers
from lagline.blend.loudness_match import compared_powers, level_match
from lagline.blend.mix import ClipLike
from lagline.blend.passage import compared_passage, compared_versions
from lagline.playback.helper import last_words, words_of
from lagline.playback.protocol import Failed
from lagline.playback.steady import SteadyClips
from lagline.session.values import Lane, Session, Version

_MOST_KEPT = 64  # passages of an hour take 0.3 MB each
TRY_AGAIN_S = 3.0  # after a recording could not be read


class LevelsWanted(Struct, frozen=True):
    """Measure and match every version of this session. A later request replaces an earlier one."""

    token: int
    session: Session


class LevelsFound(Struct, frozen=True):
    """The answer to the request of that token, as `LevelMatch`. Comes again when it has to be corrected."""

    token: int
    lufs: dict[str, float]
    match_db: dict[str, float]


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
        self._known: dict[Hashable, GatedPowers] = {}
        self.is_incomplete = False  # a recording could not be read: the last answer took it for silent

    def measure(self, request: LevelsWanted, *, cancelled: Callable[[], bool]) -> LevelsFound | None:
        """None when `cancelled` said so on the way."""
        session = request.session
        versions = compared_versions(session)
        keys = {version.id: _key(session, version) for version in versions}
        missing = [version for version in versions if keys[version.id] not in self._known]
        powers = {version_id: self._known.get(key) for version_id, key in keys.items()}
        self.is_incomplete = False
        if missing:
            stopped = False

            def stop() -> bool:
                nonlocal stopped
                stopped = stopped or cancelled()
                return stopped

            clips, failures = self._clips.of(session), self._clips.failures
            found = compared_powers(session, missing, clips, cancelled=stop)
            if stopped:
                return None
            powers.update(zip((version.id for version in missing), found, strict=True))
            self.is_incomplete = self._clips.failures > failures
            if not self.is_incomplete:  # silence for want of a file is nothing to remember
                self._keep({keys[version.id]: powers[version.id] for version in missing}, set(keys.values()))
        match = level_match({key: one for key, one in powers.items() if one is not None})
        return LevelsFound(request.token, match.lufs, match.gains_db)

    def is_readable_again(self) -> bool:
        """Whether a recording that could not be read can be."""
        return self._clips.is_readable_again()

    def _keep(self, found: Mapping[Hashable, GatedPowers | None], in_use: set[Hashable]) -> None:
        if len(self._known) > _MOST_KEPT:
            self._known = {key: powers for key, powers in self._known.items() if key in in_use}
        self._known.update({key: powers for key, powers in found.items() if powers is not None})


def _key(session: Session, version: Version) -> Hashable:
    """Everything the loudness depends on."""
    lanes = tuple((_heard(lane), version.move(lane.id)) for lane in session.audible_lanes())
    return session.rate_hz, compared_passage(session), lanes


def _heard(lane: Lane) -> Hashable:
    source = lane.source
    return source.path, source.channel, source.size_bytes, lane.place_samples, lane.gain_db, lane.pan
