"""A file of a delivery, opened again: is it what the list says, and does it hold its recording as moved?"""

from __future__ import annotations

from pathlib import Path

import soundfile
from msgspec.structs import replace

from lagline.deliver.delivered import DeliveredFile
from lagline.deliver.null import LEFT_DB, Made, is_copy, left_db
from lagline.errors import CannotWrite
from lagline.files import for_libsndfile
from lagline.media.clip import Clip
from lagline.media.write import BITS


def certified(file: DeliveredFile, path: Path, recording: Clip, session_rate_hz: int) -> DeliveredFile:
    """The file with what is left of it when its recording is taken away, read back from `path`.

    Raises CannotWrite when it is not as it was meant to be.
    """
    try:
        problems = [*header_problems(file, path)]
        left, problem = compared(file, path, recording, session_rate_hz)
    except (OSError, soundfile.LibsndfileError) as error:
        raise CannotWrite(path, "it can't be read back") from error
    problems += [problem] if problem else []
    if problems:
        raise CannotWrite(path, "; ".join(problems))
    return replace(file, left_db=left)


def header_problems(file: DeliveredFile, path: Path) -> tuple[str, ...]:
    """What differs in length, rate and sample format, as libsndfile reads it; soundfile's errors as words."""
    try:
        info = soundfile.info(for_libsndfile(path))
    except soundfile.LibsndfileError as error:
        return (f"it can't be read: {error.error_string}",)
    said = (file.frames, file.rate_hz, file.subtype)
    found = (info.frames, info.samplerate, info.subtype)
    names = ("length", "rate", "sample format")
    return tuple(
        f"its {name} is {now}, not {then}"
        for name, then, now in zip(names, said, found, strict=True)
        if then != now
    )


def compared(
    file: DeliveredFile, path: Path, recording: Clip, session_rate_hz: int
) -> tuple[float | None, str | None]:
    """What is left (dB, see `null`; None for a copy, bit for bit, and where there is nothing to compare), and
    a sentence where that is too much. Samples held at full scale differ on purpose.
    """
    made = Made(file.begins_samples, file.polarity, file.drift_ppm, _noise(file), session_rate_hz)
    if file.copied:
        return None, None if is_copy(path, recording, made) else "it is no longer a copy of its recording"
    left = left_db(path, recording, made)
    if left is None or left <= LEFT_DB or file.clipped_samples:
        return left, None
    return left, f"it does not hold its recording as moved: {left:.0f} dB are left of it"


def _noise(file: DeliveredFile) -> float:
    """Power that triangular dither and rounding add to a sample."""
    bits = BITS.get(file.subtype)
    return 0.0 if bits is None or file.subtype == "FLOAT" else 0.25 * 4.0 ** (1 - bits)
