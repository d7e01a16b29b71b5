"""A delivery held against its list, anywhere and at any time later: what is changed, damaged or missing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import msgspec
import numpy as np
import soundfile
from msgspec import Struct

from lagline.deliver.certify import Compared, compared, header_problems, stamp_problems
from lagline.deliver.delivered import DeliveredFile, HeldLane
from lagline.deliver.loudness_fields import FileLoudness
from lagline.deliver.manifest import Manifest
from lagline.deliver.own import SCHEMA
from lagline.errors import MediaError, NotADelivery
from lagline.files import for_libsndfile, is_file
from lagline.media.clip import Clip
from lagline.media.write import sha256_of

WITHIN = 0.1  # dB or LU: levels measured again
_BLOCK_FRAMES = 1 << 16

Place = tuple[Path, int]  # a recording and its channel, from 0


class Verified(Struct, frozen=True):
    """One file of a delivery.

    problems : sentences; none where it is as it was delivered.
    compared : with its recording: "bit for bit", or what is left of it in dB; empty where it was not.
    """

    file: DeliveredFile
    path: Path
    problems: tuple[str, ...] = ()
    compared: str = ""


def read_manifest(path: Path) -> Manifest:
    """A delivery's list. Raises NotADelivery."""
    try:
        manifest = msgspec.json.decode(path.read_bytes(), type=Manifest)
    except (OSError, msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise NotADelivery(path, str(error)) from error
    if manifest.schema_name != SCHEMA:
        raise NotADelivery(path, f"its schema is {manifest.schema_name!r}")
    return manifest


def verified(
    folder: Path,
    manifest: Manifest,
    recordings: Mapping[str, Place],
    *,
    progress: Callable[[float], None] = lambda _: None,
) -> tuple[Verified, ...]:
    """Every file of a list. `recordings` : by fingerprint; lanes whose recording is not among them are not
    compared with it.
    """
    found = []
    for number, file in enumerate(manifest.files):
        found.append(_looked_at(folder / file.name, file, manifest, recordings))
        progress((number + 1) / len(manifest.files))
    return tuple(found)


def _looked_at(
    path: Path, file: DeliveredFile, manifest: Manifest, recordings: Mapping[str, Place]
) -> Verified:
    if not is_file(path):
        return Verified(file, path, ("it is missing",))
    try:
        problems = [] if sha256_of(path) == file.sha256 else ["its bytes have changed since it was delivered"]
        if file.kind not in ("lane", "blend"):
            return Verified(file, path, tuple(problems))
        problems += header_problems(file, path) or _sound_problems(path, file, manifest)
        places = [recordings.get(lane.fingerprint) if lane.fingerprint else None for lane in file.held]
        if not any(places) or problems[1:]:
            return Verified(file, path, tuple(problems))
        clips = [place and Clip(*place) for place in places]
        found = compared(file, path, clips, manifest.session_rate_hz)
    except (OSError, MediaError, soundfile.LibsndfileError) as error:
        return Verified(file, path, (f"it can't be read: {error}",))
    if changed := [one.problem for one in found if one.problem]:
        return Verified(file, path, (*problems, *changed))
    looked_at = [(lane, one) for lane, one, place in zip(file.held, found, places, strict=True) if place]
    return Verified(file, path, tuple(problems), _words(looked_at))


def _words(looked_at: Sequence[tuple[HeldLane, Compared]]) -> str:
    """How lanes are in their file, each way once; of those that leave something, the most."""
    words = ["bit for bit"] if any(lane.copied for lane, _ in looked_at) else []
    left = [one.left_db for lane, one in looked_at if not lane.copied]
    words += ["silent"] if None in left else []
    most = max((db for db in left if db is not None), default=None)
    return ", ".join(words if most is None else [*words, f"{most:.0f} dB left"])


def _sound_problems(path: Path, file: DeliveredFile, manifest: Manifest) -> list[str]:
    """Stamp, loudness and true peak, measured again."""
    problems = stamp_problems(path, manifest.time_reference)
    if file.loudness_lufs is None and file.true_peak_dbtp is None:
        return problems
    with soundfile.SoundFile(for_libsndfile(path)) as sound:
        loudness = FileLoudness(sound.samplerate, sound.channels, programme=file.has_loudness)
        for block in sound.blocks(_BLOCK_FRAMES, dtype="float32", always_2d=True):
            loudness.add(block.astype(np.float32, copy=False))
    fields = loudness.fields()
    for name, unit, then, now in (
        ("loudness", "LUFS", file.loudness_lufs, fields.loudness_lufs),
        ("true peak", "dBTP", file.true_peak_dbtp, fields.max_true_peak_dbtp),
    ):
        if (then is None) != (now is None) or (
            then is not None and now is not None and abs(then - now) > WITHIN
        ):
            problems.append(f"its {name} is {_level(now)} {unit}, not {_level(then)}")
    return problems


def _level(level: float | None) -> str:
    return "none" if level is None else f"{level:.1f}"
