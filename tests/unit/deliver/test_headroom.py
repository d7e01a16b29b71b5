"""Blends leave with headroom: alike, never turned up, never clipped unless asked for by name."""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np
import pytest
import soundfile
from hypothesis import example, given
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.support.takes import lane_on_disk, noise_take

from lagline.blend.clips import open_clips
from lagline.deliver.delivered import DeliveredFile, Delivery
from lagline.deliver.hand_over import Order, hand_over
from lagline.deliver.headroom import headroom_db
from lagline.deliver.manifest import MANIFEST_NAME, Manifest
from lagline.deliver.options import DeliveryOptions
from lagline.media.probe import probe
from lagline.session.edits import with_balances
from lagline.session.values import Balance, Move, Session, Version

SHIFTED = Version("v1", "Shifted", {"near": Move(3.5), "far": Move(-30.0, -1)})
BOTH = ("original", "v1")


def loud_take(folder: Path, *, gain_db: float = 9.0, subtype: str = "PCM_24") -> Session:
    session = noise_take(folder, frames=48_000, subtype=subtype)
    return with_balances(
        replace(session, versions=(SHIFTED,)), {lane.id: Balance(gain_db) for lane in session.lanes}
    )


def delivered(session: Session, folder: Path, options: DeliveryOptions, *, match: bool = False) -> Delivery:
    order = Order(blends_of=BOTH, sheets_of=("v1",), level_matched=match, options=options)
    return hand_over(session, open_clips(session), folder, order)


def blends(delivery: Delivery) -> list[DeliveredFile]:
    return [file for file in delivery.files if file.kind == "blend"]


@pytest.mark.parametrize("match", [False, True])
@pytest.mark.parametrize(
    "options",
    [
        DeliveryOptions(),
        DeliveryOptions(depth="16"),
        DeliveryOptions(depth="float", peak_dbtp=-3.0),
        DeliveryOptions(file_format="FLAC", mono_blend=True),
        DeliveryOptions(rate_hz=44_100),
    ],
)
def test_loud_blends_are_turned_down_alike_to_the_target(
    tmp_path: Path, options: DeliveryOptions, match: bool
) -> None:
    delivery = delivered(loud_take(tmp_path / "in"), tmp_path / "out", options, match=match)
    first, second = blends(delivery)
    target = options.peak_dbtp
    assert target is not None
    peaks = [file.true_peak_dbtp or 0.0 for file in (first, second)]
    assert target - 0.02 < max(peaks) <= target
    assert first.headroom_db == second.headroom_db < 0.0
    assert match or first.gain_db == second.gain_db == first.headroom_db
    assert first.clipped_samples == second.clipped_samples == 0
    said = next(warning for warning in delivery.warnings if "turned down by" in warning)
    assert f"{-first.headroom_db:.2f} dB" in said and f"{target:g} dBTP" in said
    for suffix in (".txt", ".html"):
        sheet = next(path for path in delivery if path.suffix == suffix)
        assert f"turned down by {-first.headroom_db:.2f} dB" in sheet.read_text("utf-8")
    listed = msgspec.json.decode((tmp_path / "out" / MANIFEST_NAME).read_bytes(), type=Manifest)
    assert [one.headroom_db for one in listed.files if one.kind == "blend"] == [first.headroom_db] * 2
    assert said in listed.warnings


def test_the_louder_channel_counts(tmp_path: Path) -> None:
    session = loud_take(tmp_path / "in")
    left = {lane.id: Balance(pan=-1.0) for lane in session.lanes}
    versions = tuple(replace(version, balances=left) for version in session.versions)
    aside = replace(session, versions=versions)
    peaks = [
        file.true_peak_dbtp or 0.0 for file in blends(delivered(aside, tmp_path / "out", DeliveryOptions()))
    ]
    assert -1.02 < max(peaks) <= -1.0


def test_quiet_blends_are_never_turned_up(tmp_path: Path) -> None:
    session = loud_take(tmp_path / "in", gain_db=-20.0)
    with_room = delivered(session, tmp_path / "room", DeliveryOptions())
    as_mixed = delivered(session, tmp_path / "mixed", DeliveryOptions(peak_dbtp=None))
    assert [file.gain_db for file in blends(with_room)] == [0.0, 0.0]
    assert not any("turned down" in warning for warning in with_room.warnings)
    assert [one.sha256 for one in blends(with_room)] != []
    for a, b in zip(with_room.paths[:2], as_mixed.paths[:2], strict=True):
        assert np.array_equal(soundfile.read(a, dtype="int32")[0], soundfile.read(b, dtype="int32")[0])


def test_as_mixed_may_clip_and_says_so(tmp_path: Path) -> None:
    session = loud_take(tmp_path / "in", gain_db=15.0)
    delivery = delivered(session, tmp_path / "out", DeliveryOptions(peak_dbtp=None))
    assert all(file.clipped_samples for file in blends(delivery))
    assert any("did not fit" in warning for warning in delivery.warnings)


def test_stamps_are_measured_on_what_was_written(tmp_path: Path) -> None:
    """Held at full scale, the samples are others than those that were to be written."""
    session = loud_take(tmp_path / "in", gain_db=20.0)
    clipped = delivered(session, tmp_path / "out", DeliveryOptions(peak_dbtp=None))
    whole = delivered(session, tmp_path / "float", DeliveryOptions(peak_dbtp=None, depth="float"))
    for file, path, other in zip(blends(clipped), clipped.paths, blends(whole), strict=False):
        bext = probe(path).bext
        assert bext is not None and bext.loudness_lufs is not None and other.loudness_lufs is not None
        assert bext.loudness_lufs == pytest.approx(file.loudness_lufs, abs=0.006)
        assert bext.max_true_peak_dbtp == pytest.approx(file.true_peak_dbtp, abs=0.006)
        assert bext.loudness_lufs < other.loudness_lufs - 3.0


def test_a_blend_of_floats_is_float(tmp_path: Path) -> None:
    session = loud_take(tmp_path / "in", subtype="PCM_24")
    one_float = lane_on_disk(tmp_path / "Extra.wav", np.zeros(48_000, np.float32), subtype="FLOAT")
    mixed = replace(session, lanes=(*session.lanes, one_float))
    for take, wanted in ((session, "PCM_24"), (mixed, "FLOAT")):
        out = tmp_path / wanted
        assert {probe(path).subtype for path in delivered(take, out, DeliveryOptions()).paths[:2]} == {wanted}
    told = delivered(mixed, tmp_path / "told", DeliveryOptions(depth="16"))
    assert {probe(path).subtype for path in told.paths[:2]} == {"PCM_16"}


@example([-0.5], -1.0)  # over by less than one
@example([-1.0], -1.0)
@given(st.lists(st.floats(-90.0, 60.0) | st.just(-np.inf), max_size=5), st.floats(-60.0, 0.0))
def test_the_gain_makes_room_and_no_more(peaks: list[float], highest: float) -> None:
    gain = headroom_db(peaks, highest)
    assert gain <= 0.0
    loudest = max(peaks, default=-np.inf)
    assert loudest + gain <= highest + 1e-9
    assert gain == 0.0 or loudest + gain > highest - 0.0121
