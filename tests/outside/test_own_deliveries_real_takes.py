"""Real recordings are never taken for Lagline's own deliveries, and what it makes of them always is."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.support import real_takes

from lagline.deliver.options import DeliveryOptions
from lagline.deliver.own import own_deliveries
from lagline.errors import NoTakes, OwnDelivery
from lagline.jobs.find_takes import find_takes
from lagline.jobs.hand_over import hand_over_take
from lagline.jobs.open_take import open_take

NAMES = sorted(path.name for path in real_takes.ROOT.glob("*") if len(list(path.glob("*.flac"))) > 1) or [""]


@pytest.mark.parametrize("name", NAMES)
def test_of_a_real_take_delivered_into_its_folder_only_the_recordings_come_back(
    name: str, tmp_path: Path
) -> None:
    recordings = real_takes.take(name)
    take = tmp_path / "take"
    take.mkdir()
    for path in recordings:
        shutil.copy(path, take)
    session = open_take([take]).session
    lanes = [lane.source.path for lane in session.lanes]
    delivered: list[Path] = []
    for folder, file_format in ((take, "WAV"), (take / "delivery", "FLAC")):
        options = DeliveryOptions(file_format=file_format, measure_loudness=False)  # type: ignore[arg-type]
        done = hand_over_take(session, folder, "v1", options)
        delivered += [path for path in done.paths if path.suffix in (".wav", ".flac")]
    assert set(own_deliveries(delivered)) == set(delivered)
    assert [lane.source.path for lane in open_take([take]).session.lanes] == lanes
    (found,) = find_takes(tmp_path).takes
    assert set(found.paths) == set(lanes)
    with pytest.raises(OwnDelivery):
        open_take([take / "delivery"])
    with pytest.raises(NoTakes):
        find_takes(take / "delivery")
