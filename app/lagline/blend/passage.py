"""What is compared by ear, and how its ends sound: the same wherever versions are heard, measured or printed.

The raised-cosine fade is the one every switch, seek, start, stop and loop seam goes through. ITU-R BS.1534-3
section 5.3 asks for 5 ms out, then 5 ms in, and for no cross-fade between two systems at any time: two
alignments heard at once would comb.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from lagline.session.values import Session, Version

FADE_S = 0.005
SHORTEST_LOOP_S = 0.05
_STEP_S = 0.01


def fade_frames(rate_hz: int) -> int:
    """Length of a fade in frames."""
    return max(1, round(FADE_S * rate_hz))


@lru_cache(maxsize=8)
def rise(frames: int) -> npt.NDArray[np.float32]:
    """Gain after k frames of fading in, k = 0 .. frames: 0.0 at first and exactly 1.0 at last.

    float32, shape (frames + 1, 1), to be multiplied with (frames, channels).
    """
    steps = np.arange(frames + 1) / frames
    curve: npt.NDArray[np.float32] = (0.5 - 0.5 * np.cos(np.pi * steps)).astype(np.float32)[:, np.newaxis]
    curve.flags.writeable = False
    return curve


def loop_allowed(loop: tuple[int, int] | None, rate_hz: int) -> tuple[int, int] | None:
    """The loop, lengthened where it is too short for its fades."""
    if loop is None:
        return None
    return loop[0], max(loop[1], loop[0] + round(SHORTEST_LOOP_S * rate_hz))


def spread_places(start: int, stop: int, most: int) -> Iterator[int]:
    """Up to `most` places from `start` to `stop`, each far from those before: good wherever one stops.

    The van der Corput sequence in base 2. Only `start` where there is no room for more.
    """
    for number in range(most if stop > start else 1):
        part, digit, rest = 0.0, 0.5, number + 1 if stop > start else 0
        while rest:
            part, digit, rest = part + digit * (rest & 1), digit / 2, rest >> 1
        yield start + round(part * max(stop - start, 0))


def compared_versions(session: Session) -> tuple[Version, ...]:
    """Every version there is to choose from, the original first."""
    return (session.original, *session.versions)


def compared_passage(session: Session) -> tuple[int, int]:
    """Start and stop, in session samples, of what versions are compared over.

    The loop if there is one; else the take as recorded and whatever of a version lies before or after it, in
    steps of 10 ms: a version moved by a few samples is compared over the passage that the others were
    measured over already.
    """
    loop = loop_allowed(session.loop, session.rate_hz)
    if loop is not None:
        return loop
    first, last = session.span()
    start, stop = session.span(*compared_versions(session))
    step = max(1, round(_STEP_S * session.rate_hz))
    return first - -(-(first - start) // step) * step, last + -(-(stop - last) // step) * step
