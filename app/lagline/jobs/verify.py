"""Hold a delivery against its list, with the recordings where they can be found."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable
from pathlib import Path

from lagline.deliver.own import manifests_in
from lagline.deliver.verify import Place, Verified, read_manifest, verified
from lagline.errors import MediaError, NotADelivery
from lagline.jobs.hand_over import ALIGNED_FOLDER
from lagline.jobs.line_up import no_progress
from lagline.jobs.open_take import recordings_in
from lagline.media.fingerprint import fingerprints
from lagline.media.probe import probe


def verify_delivery(
    folder: Path, recordings: Iterable[Path] = (), *, progress: Callable[[float], None] = no_progress
) -> tuple[Verified, ...]:
    """Every file of every list in a folder and in its folder of aligned files.

    `recordings` : files and folders; lanes are compared with those of them that they were made of.

    Raises NotADelivery, NoRecordings.
    """
    lists = [path for place in (folder, folder / ALIGNED_FOLDER) for path in manifests_in(place)]
    if not lists:
        raise NotADelivery(folder, "it holds no list of one")
    places = _by_fingerprint(recordings_in(recordings)) if recordings else {}
    found: list[Verified] = []
    for number, path in enumerate(lists):
        found += verified(
            path.parent,
            read_manifest(path),
            places,
            progress=lambda done, before=number: progress((before + done) / len(lists)),  # type: ignore[misc]
        )
    return tuple(found)


def _by_fingerprint(paths: Iterable[Path]) -> dict[str, Place]:
    """What can't be read is not among them: the lanes made of it are then not compared, which is said."""
    places: dict[str, Place] = {}
    for path in paths:
        with contextlib.suppress(OSError, MediaError):
            for channel, fingerprint in enumerate(fingerprints(probe(path))):
                places.setdefault(fingerprint, (path, channel))
    return places
