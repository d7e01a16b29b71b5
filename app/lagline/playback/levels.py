"""Measures the loudness of versions in a process of its own: neither window nor sound waits for it."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Hashable, Mapping
from multiprocessing.connection import Connection

from msgspec import Struct

from lagline.blend.clips import open_clips
from lagline.blend.loudness import GatedPowers, exact_match_gains, measured
from lagline.blend.mix import ClipLike
from lagline.playback.fades import fade_frames, rise
from lagline.playback.steady import SteadyClips
from lagline.session.values import ORIGINAL_ID, Lane, Session

_MOST_KEPT = 64  # passages of an hour take 0.3 MB each


class LevelsWanted(Struct, frozen=True):
    """Measure these versions over a passage, in session samples. A later request replaces an earlier one."""

    token: int
    session: Session
    version_ids: tuple[str, ...]
    start: int
    stop: int


class LevelsFound(Struct, frozen=True):
    """The answer to the request of that token, by version id.

    lufs : -inf where nothing is to be heard. match_db : gains that make the versions equally loud, none
    above 0.
    """

    token: int
    lufs: dict[str, float]
    match_db: dict[str, float]


def levels_main(connection: Connection) -> None:
    """Entry point of the process: answers until the other end of the pipe is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(10)  # sound and window come first
    meter = LevelMeter(open_clips)
    try:
        while True:
            request: LevelsWanted = connection.recv()
            while connection.poll():
                request = connection.recv()
            found = meter.measure(request, cancelled=connection.poll)
            if found is not None:
                connection.send(found)
    except (EOFError, BrokenPipeError, ConnectionResetError):
        pass  # the desk is gone
    finally:
        connection.close()


class LevelMeter:
    """Answers requests, remembering what it measured: an edit of one version costs only that version."""

    def __init__(self, opener: Callable[[Session], Mapping[str, ClipLike]]) -> None:
        self._clips = SteadyClips(opener, report=lambda _: None)  # the engine says which lane is silent
        self._known: dict[Hashable, GatedPowers] = {}

    def measure(self, request: LevelsWanted, *, cancelled: Callable[[], bool]) -> LevelsFound | None:
        """None when `cancelled` said so on the way."""
        session = request.session
        keys = {version_id: _key(request, version_id) for version_id in request.version_ids}
        missing = {key: version_id for version_id, key in keys.items() if key not in self._known}
        if missing:
            stopped = False

            def stop() -> bool:
                nonlocal stopped
                stopped = stopped or cancelled()
                return stopped

            found = measured(
                session,
                [session.version(version_id) for version_id in missing.values()],
                self._clips.of(session),
                request.start,
                request.stop,
                edge=rise(fade_frames(session.rate_hz))[1:],  # starts, stops and seams of a loop fade
                cancelled=stop,
            )
            if stopped:
                return None
            if len(self._known) > _MOST_KEPT:
                self._known = {key: powers for key, powers in self._known.items() if key in keys.values()}
            self._known.update(zip(missing, found, strict=True))
        powers = [self._known[key] for key in keys.values()]
        lufs = [one.integrated_lufs() for one in powers]
        return LevelsFound(
            request.token,
            dict(zip(keys, lufs, strict=True)),
            dict(zip(keys, exact_match_gains(powers), strict=True)),
        )


def passage(session: Session) -> tuple[int, int]:
    """What is being auditioned, in session samples: the loop, or the whole take as recorded."""
    return session.loop or session.span()


def _key(request: LevelsWanted, version_id: str) -> Hashable:
    """Everything the loudness depends on."""
    version = request.session.version(version_id)
    lanes = tuple(
        (_heard(lane), version.move(lane.id) if version_id != ORIGINAL_ID else None)
        for lane in request.session.audible_lanes()
    )
    return request.session.rate_hz, request.start, request.stop, lanes


def _heard(lane: Lane) -> Hashable:
    source = lane.source
    return source.path, source.channel, source.size_bytes, lane.place_samples, lane.gain_db, lane.pan
